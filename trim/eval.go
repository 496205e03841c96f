package trim

import "math"

// world is at which moves and readings quantities are asked for.
type world struct {
	moves []move
	batch int // jumps up to it count
}

func (b *Bench) here() world { return world{b.moves, math.MaxInt} }

// slopes is d y / d z of one quantity: few unknowns bear on each.
type slopes struct {
	at []int
	x  []float64
}

func (s slopes) of(param int) float64 {
	for k, i := range s.at {
		if i == param {
			return s.x[k]
		}
	}
	return 0
}

// dot is the product with a list of all unknowns.
func (s slopes) dot(z []float64) float64 {
	sum := 0.0
	for k, i := range s.at {
		sum += s.x[k] * z[i]
	}
	return sum
}

// point is quantities at one set of unknowns, with their slopes.
type point struct {
	y []float64
	g []slopes // by variable
}

// gather adds up slopes.
type gather struct {
	dense []float64
	at    []int
	mark  []bool
}

func (a *gather) add(i int, x float64) {
	if a == nil || x == 0 {
		return
	}
	if !a.mark[i] {
		a.mark[i] = true
		a.at = append(a.at, i)
	}
	a.dense[i] += x
}

func (a *gather) scale(f float64) {
	for _, i := range a.at {
		a.dense[i] *= f
	}
}

// take empties a into slopes.
func (a *gather) take() slopes {
	s := slopes{at: make([]int, len(a.at)), x: make([]float64, len(a.at))}
	copy(s.at, a.at)
	for k, i := range a.at {
		s.x[k] = a.dense[i]
		a.dense[i], a.mark[i] = 0, false
	}
	a.at = a.at[:0]
	return s
}

// eval computes quantities at unknowns z: those listed, causes before effects and none
// without its causes, or all where the list is nil. Slopes run forward through the arrows.
func (b *Bench) eval(z []float64, w world, vars []int, withSlopes bool) point {
	m := b.m
	if vars == nil {
		vars = m.every
	}
	p := point{y: make([]float64, len(m.vars))}
	var g *gather
	if withSlopes {
		p.g = make([]slopes, len(m.vars))
		g = &gather{dense: make([]float64, len(z)), mark: make([]bool, len(z))}
	}
	for _, v := range vars {
		y := b.params[v].mean + b.params[v].sd*z[v]
		g.add(v, b.params[v].sd)
		for k, in := range m.vars[v].Moved {
			gain, c := b.at.gain[m.influence[v]+k], in.Gain
			if gain >= 0 {
				c += in.GainSD * z[gain]
			}
			j := m.from[v][k]
			f, slope := in.Form.At(p.y[j])
			y += c * f
			if withSlopes {
				if gain >= 0 {
					g.add(gain, in.GainSD*f)
				}
				for k, i := range p.g[j].at {
					g.add(i, c*slope*p.g[j].x[k])
				}
			}
		}
		for _, t := range m.setBy[v] {
			y = b.turned(y, z, t, w.moves, g)
		}
		for _, jp := range b.jumps {
			if jp.v == v && jp.batch <= w.batch {
				y += b.params[jp.param].sd * z[jp.param]
				g.add(jp.param, b.params[jp.param].sd)
			}
		}
		p.y[v] = y
		if withSlopes {
			p.g[v] = g.take()
		}
	}
	return p
}

// turned adds what the moves of a trim did to y and to its slopes (nil: none).
func (b *Bench) turned(y float64, z []float64, t int, moves []move, g *gather) float64 {
	m := b.m
	d, any := 0.0, false
	for _, mv := range moves {
		if mv.trim == t {
			d += mv.factor * (mv.By + b.params[mv.param].mean + b.params[mv.param].sd*z[mv.param])
			any = true
		}
	}
	if !any {
		return y
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
		if g != nil {
			g.scale(factor)
		}
		factor *= y // of the slopes below
	}
	if g != nil {
		g.add(fam, factor*b.params[fam].sd*effect)
		g.add(own, factor*b.params[own].sd*effect)
		if start >= 0 {
			g.add(start, factor*b.params[start].sd*atStart)
		}
		for _, mv := range moves {
			if mv.trim == t {
				g.add(mv.param, factor*slope*mv.factor*b.params[mv.param].sd)
			}
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
