package trim

import "math"

// world is at which moves and readings quantities are asked for.
type world struct {
	moves []move
	batch int // jumps up to it count
}

func (b *Bench) here() world { return world{b.moves, math.MaxInt} }

// point is all quantities at one set of unknowns, with their slopes.
type point struct {
	y []float64
	g [][]float64 // by variable, d y / d z
}

// eval computes all quantities at unknowns z. Slopes run forward through the arrows.
func (b *Bench) eval(z []float64, w world, slopes bool) point {
	m, n := b.m, len(z)
	p := point{y: make([]float64, len(m.vars))}
	if slopes {
		flat := make([]float64, len(m.vars)*n)
		p.g = make([][]float64, len(m.vars))
		for i := range p.g {
			p.g[i] = flat[i*n : (i+1)*n]
		}
	}
	travel := make([][]int, len(m.trims))
	for k, mv := range w.moves {
		travel[mv.trim] = append(travel[mv.trim], k)
	}
	influence := 0
	for v := range m.vars {
		y := b.params[v].mean + b.params[v].sd*z[v]
		var g []float64
		if slopes {
			g = p.g[v]
			g[v] = b.params[v].sd
		}
		for k, in := range m.vars[v].Moved {
			gain, c := b.at.gain[influence], in.Gain
			if gain >= 0 {
				c += in.GainSD * z[gain]
			}
			influence++
			j := m.from[v][k]
			f, slope := in.Form.At(p.y[j])
			y += c * f
			if slopes {
				if gain >= 0 {
					g[gain] += in.GainSD * f
				}
				if cs := c * slope; cs != 0 {
					for i, x := range p.g[j] {
						g[i] += cs * x
					}
				}
			}
		}
		for _, t := range m.setBy[v] {
			if len(travel[t]) > 0 {
				y = b.turned(y, z, t, w.moves, travel[t], g)
			}
		}
		for _, jp := range b.jumps {
			if jp.v == v && jp.batch <= w.batch {
				y += b.params[jp.param].sd * z[jp.param]
				if slopes {
					g[jp.param] += b.params[jp.param].sd
				}
			}
		}
		p.y[v] = y
	}
	return p
}

// turned adds what the moves of a trim did to y and to its slopes g (nil: none).
func (b *Bench) turned(y float64, z []float64, t int, moves []move, ks []int, g []float64) float64 {
	m := b.m
	d := 0.0
	for _, k := range ks {
		mv := moves[k]
		d += mv.factor * (mv.By + b.params[mv.param].mean + b.params[mv.param].sd*z[mv.param])
	}
	f := m.family[t]
	fam, own := b.at.family+f, b.at.own+t
	scale := b.sign[f] * math.Exp(b.params[fam].sd*z[fam]+b.params[own].sd*z[own])
	start, place := b.at.start[t], 0.0
	if start >= 0 {
		place = b.params[start].mean + b.params[start].sd*z[start]
	}
	effect, slope, atStart := shape(m.trims[t], place, d, b.sign[f])
	effect, slope, atStart = effect*scale, slope*scale, atStart*scale
	ratio := m.trims[t].Law == Logarithmic && m.vars[m.varAt[m.trims[t].Sets]].Unit != "dB"
	factor := 1.0
	if ratio {
		factor = math.Exp(effect)
		for i := range g {
			g[i] *= factor
		}
		factor *= y // of the slopes below
	}
	if g != nil {
		g[fam] += factor * b.params[fam].sd * effect
		g[own] += factor * b.params[own].sd * effect
		if start >= 0 {
			g[start] += factor * b.params[start].sd * atStart
		}
		for _, k := range ks {
			g[moves[k].param] += factor * slope * moves[k].factor * b.params[moves[k].param].sd
		}
	}
	if ratio {
		return y * math.Exp(effect)
	}
	return y + effect
}

// shape is the effect of a travel d from the start (a share of the travel) at the prior
// median sensitivity and sign +1 applied by the caller, its slope over d and over start.
func shape(t Trim, start, d, sign float64) (effect, slope, atStart float64) {
	if t.Law != Divider {
		s := t.Sensitivity()
		return s * d, s, 0
	}
	// A divider whose clockwise end is the low one is the mirror of one that rises.
	if sign < 0 {
		e, s, a := shape(t, 1-start, -d, 1)
		return -e, s, a
	}
	least := math.Pow(10, -t.Range/20)
	amp := func(x float64) (float64, float64) {
		if x <= 0 {
			return least, 0
		}
		if x >= 1 {
			return 1, 0
		}
		return least + (1-least)*x, 1 - least
	}
	a0, s0 := amp(start)
	a1, s1 := amp(start + d/t.Travel)
	k := 20 / math.Ln10
	return k * math.Log(a1/a0), k * s1 / a1 / t.Travel, k * (s1/a1 - s0/a0)
}
