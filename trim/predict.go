package trim

import (
	"math"
	"slices"
)

// figure is a quantity with its interval, and with the noise of a reading of it where
// noise is above 0. The interval's ends are the quantity at the unknowns that, of all
// that are as likely, move it most: those along Σ·g, 1.96 standard deviations out. So it
// is lopsided where the law is, as a sensitivity's logarithm makes it.
func (b *Bench) figure(w world, v int, noise float64) Figure {
	c := b.course(w, v)
	out := Figure{Value: c.y[mid], Unit: b.m.vars[v].Unit}
	lo, hi := c.at(-z95), c.at(z95)
	out.Lo = out.Value - math.Hypot(max(0, out.Value-min(lo, hi)), z95*noise)
	out.Hi = out.Value + math.Hypot(max(0, max(lo, hi)-out.Value), z95*noise)
	return out
}

// course is a quantity along the line of unknowns that moves it most, at -4 to 4 standard
// deviations.
type course struct{ y [2*mid + 1]float64 }

const mid = 4

func (b *Bench) course(w world, v int) course {
	return b.courseAlong(w, v, b.eval(b.fit.z, w, b.m.before[v], true))
}

func (b *Bench) courseAlong(w world, v int, p point) course {
	var c course
	c.y[mid] = p.y[v]
	dir := b.fit.along(p.g[v])
	sd := math.Sqrt(p.g[v].dot(dir))
	z := make([]float64, len(dir))
	for k := range c.y {
		if k == mid {
			continue
		}
		if !(sd > 0) {
			c.y[k] = p.y[v]
			continue
		}
		for i, x := range dir {
			z[i] = b.fit.z[i] + float64(k-mid)*x/sd
		}
		c.y[k] = b.eval(z, w, b.m.before[v], false).y[v]
	}
	return c
}

// at is the quantity x standard deviations out, by straight lines between the nodes.
func (c course) at(x float64) float64 {
	k := min(max(int(math.Floor(x))+mid, 0), len(c.y)-2)
	t := x - float64(k-mid)
	return c.y[k] + t*(c.y[k+1]-c.y[k])
}

// inside is the chance that the quantity lies from lo to hi.
func (c course) inside(lo, hi float64) float64 {
	sum := 0.0
	for k := 0; k+1 < len(c.y); k++ {
		y0, y1, t0, t1 := c.y[k], c.y[k+1], 0.0, 1.0
		if y0 == y1 {
			if y0 < lo || y0 > hi {
				continue
			}
		} else {
			a, b := (lo-y0)/(y1-y0), (hi-y0)/(y1-y0)
			t0, t1 = max(0, min(a, b)), min(1, max(a, b))
		}
		if t1 > t0 {
			at := float64(k - mid)
			sum += phi(at+t1) - phi(at+t0)
		}
	}
	return min(sum, 1-1e-6) // 4 standard deviations out are not looked at
}

// away is how far off a reading with standard deviation sd is, in standard deviations
// of unknowns and reading together where they meet most easily:
//
//	min over x of √(x² + ((value − y(x))/sd)²)
func (c course) away(value, sd float64) float64 {
	least := math.Inf(1)
	for k := 0; k+1 < len(c.y); k++ {
		// On a straight piece y = y0 + s·(x − x0) the least lies where the slope is 0.
		x0, s := float64(k-mid), c.y[k+1]-c.y[k]
		x := s * (value - c.y[k] + s*x0) / (sd*sd + s*s)
		lo, hi := x0, x0+1
		if k == 0 {
			lo = math.Inf(-1)
		}
		if k+2 == len(c.y) {
			hi = math.Inf(1)
		}
		x = min(max(x, lo), hi)
		least = min(least, math.Hypot(x, (value-c.y[k]-s*(x-x0))/sd))
	}
	return least
}

// phi is the normal distribution function.
func phi(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

// ahead is a copy on which moves can be tried.
func (b *Bench) ahead() *Bench {
	c := *b
	c.params, c.moves, c.fit.z = slices.Clone(b.params), slices.Clone(b.moves), slices.Clone(b.fit.z)
	return &c
}

// set changes how far a planned move goes.
func (b *Bench) set(k int, by float64) {
	mv := &b.moves[k]
	kept := b.moves
	b.moves = b.moves[:k]
	sd := b.m.trims[mv.trim].dialSD(by)
	mean, spread := b.moveError(mv.trim, by, sd)
	b.moves = kept
	mv.By, mv.SD = by, sd
	b.params[mv.param] = param{mean, spread}
}

// Position is where a trim stands now, in its unit from the anticlockwise stop, as far
// as its start, its moves and a stop that was felt tell.
func (b *Bench) Position(id ID) (Figure, bool) {
	i, ok := b.m.trimAt[id]
	if !ok {
		return Figure{}, false
	}
	lo, mean, hi := b.position(i)
	return Figure{mean, lo, hi, string(b.m.trims[i].Unit)}, true
}

func (b *Bench) position(i int) (lo, mean, hi float64) {
	t := b.m.trims[i]
	now, least, most, varMoves := 0.0, 0.0, 0.0, 0.0
	from, stopped := 0.0, false
	for _, mv := range b.moves {
		if mv.trim != i || mv.factor == 0 {
			continue
		}
		now += mv.factor * mv.By
		varMoves += mv.SD * mv.SD
		least, most = min(least, now), max(most, now)
		if mv.Stopped {
			stopped, from, varMoves = true, 0, 0
			if mv.factor*mv.By > 0 {
				from = t.Travel
			}
			now, least, most = 0, 0, 0
		}
	}
	clip := func(x float64) float64 { return min(max(x, 0), t.Travel) }
	switch {
	case stopped:
		h := z95 * math.Sqrt(varMoves)
		return clip(from + now - h), clip(from + now), clip(from + now + h)
	case t.StartSD > 0:
		h := z95 * math.Hypot(t.StartSD, math.Sqrt(varMoves))
		return clip(t.Start + now - h), clip(t.Start + now), clip(t.Start + now + h)
	}
	// Anywhere in the travel at first, but so that no move went past a stop.
	a, z := -least, t.Travel-most
	if z < a {
		a, z = (a+z)/2, (a+z)/2
	}
	return clip(now + a + 0.025*(z-a)), clip(now + (a+z)/2), clip(now + z - 0.025*(z-a))
}
