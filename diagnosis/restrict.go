package diagnosis

import "math"

// share is the part of the posterior that stays when the weight of every row is
// taken times its factor. The messages are renewed from where they stood and put
// back afterwards.
func (t *net) share(factor [][]float64, plain bool) float64 {
	base := t.top.logZ
	back := t.keep(t.top, nil)
	t.only, t.plain = factor, plain
	c := t.top
	for range restrictSweeps {
		t.sweep(c, t.prior)
	}
	v := math.Exp(c.logZ - base)
	t.only, t.plain = nil, false
	t.restore(c, back)
	return math.Min(1, v)
}

const restrictSweeps = 3

// keep copies everything that a sweep changes.
func (t *net) keep(c *cell, to []float64) []float64 {
	to = append(to, c.logZ)
	for _, m := range c.out {
		to = append(to, m...)
	}
	if !c.n.net.inner {
		to = append(append(to, c.sum), c.tot...)
		for x := range c.dot {
			to = append(append(to, c.dot[x]...), c.coef[x]...)
		}
	}
	for _, b := range c.branches {
		dead := 0.0
		if b.dead {
			dead = 1
		}
		to = append(to, b.logZ, dead)
		to = append(to, b.norm...)
		for _, kid := range b.kids {
			to = t.keep(kid, to)
		}
	}
	return to
}

// restore puts back what keep copied and returns the rest.
func (t *net) restore(c *cell, from []float64) []float64 {
	c.logZ, from = from[0], from[1:]
	for _, m := range c.out {
		from = from[copy(m, from):]
	}
	if !c.n.net.inner {
		c.sum, from = from[0], from[1:]
		from = from[copy(c.tot, from):]
		for x := range c.dot {
			from = from[copy(c.dot[x], from):]
			from = from[copy(c.coef[x], from):]
		}
	}
	for _, b := range c.branches {
		b.logZ, b.dead, from = from[0], from[1] > 0, from[2:]
		from = from[copy(b.norm, from):]
		for _, kid := range b.kids {
			from = t.restore(kid, from)
		}
	}
	return from
}

// offsetsLost is nothing: messages cover the whole grid.
func (s *solver) offsetsLost() float64 { return 0 }
