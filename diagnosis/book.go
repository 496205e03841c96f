package diagnosis

import (
	"math"
	"slices"
)

// collect passes over the tree once more and books the posterior of every row
// and what each observation met.
func (t *net) collect() *descent {
	s := t.s
	d := &descent{z: 1, row: make([][][]float64, len(s.nodes)), seen: make([][][]float64, len(s.m.obs))}
	d.offset = make([][]float64, len(s.m.families))
	for f := range s.m.families {
		d.offset[f] = make([]float64, len(s.m.families[f].nodes))
	}
	for _, n := range s.nodes {
		n.classes = nil
	}
	t.book = d
	t.top.post = 1
	if t.top.n.net.inner {
		t.bookCell(t.top, t.prior)
	} else {
		t.sweep(t.top, t.prior)
	}
	t.book = nil
	for _, n := range s.nodes {
		n.useAll()
	}
	return d
}

// addClass opens a class for a cell.
func (t *net) addClass(c *cell) *class {
	cl := &class{built: true}
	c.class = int32(len(c.n.classes))
	c.n.classes = append(c.n.classes, cl)
	t.book.row[c.i] = append(t.book.row[c.i], nil)
	return cl
}

// bookCell books a scope with others below.
func (t *net) bookCell(c *cell, cav [][]float64) {
	cl := t.addClass(c)
	for _, b := range c.branches {
		if b.post = c.post * math.Exp(b.value(t, c)-c.logZ); b.post == 0 {
			continue
		}
		t.sweepBranch(c, b, cav)
		part := 1 + sumGhosts(b.ghosts)
		for _, g := range append([]ghost{{b.row, 1}}, b.ghosts...) {
			cl.rows = append(cl.rows, g.row)
			t.book.row[c.i][c.class] = append(t.book.row[c.i][c.class], b.post*g.ratio/part)
			for _, kid := range b.kids {
				cl.child = append(cl.child, kid.class)
			}
		}
	}
}

// bookBranch books what the own observations of a branch met, and at the top what
// is known of the offsets.
func (t *net) bookBranch(c *cell, b *branch) {
	n := c.n
	if b.says == nil {
		b.says = t.s.gridOf(n)
	}
	for j, f := range n.fams {
		w := b.win[j]
		for k := w.lo; k < w.hi; k++ {
			b.says[j][k] = n.net.ahead[j][k] / b.norm[j]
			if c.i == 0 {
				t.book.offset[f][k] += b.post * b.says[j][k]
			}
		}
	}
	for _, k := range n.net.plain {
		t.met(n.own[k], b.all[n.own[k]])[0] += b.post
	}
	for _, sl := range n.net.slots {
		for _, k := range sl.obs {
			m := t.met(n.own[k], b.all[n.own[k]])
			for i, v := range b.says[sl.fam] {
				m[i] += b.post * v
			}
		}
	}
}

// met is the account of an observation for an effect, by offset node.
func (t *net) met(o int, id int32) []float64 {
	return t.book.met(o, id, t.s.like[o].nodes)
}

func (d *descent) met(o int, id int32, nodes int) []float64 {
	for int(id) >= len(d.seen[o]) {
		d.seen[o] = append(d.seen[o], nil)
	}
	if d.seen[o][id] == nil {
		d.seen[o][id] = make([]float64, nodes)
	}
	return d.seen[o][id]
}

// bookLeaf books the rows of a lowest scope and what its observations met.
func (t *net) bookLeaf(c *cell, cav [][]float64) {
	s, n := t.s, c.n
	cl := t.addClass(c)
	c.cav = nil
	post := make([]float64, len(c.active))
	for i, a := range c.active {
		post[i] = c.post * c.tot[i] / c.sum
		r := c.form.rows[a]
		cl.rows = append(cl.rows, r)
		sig := s.sigOf(n, r)
		for _, k := range n.net.plain {
			o := n.own[k]
			t.met(o, s.m.obs[o].space.merge(c.form.upper[k], sig[k]))[0] += post[i]
		}
	}
	if len(c.ghosts) > 0 {
		whole := post[0]
		post[0] = whole / (1 + sumGhosts(c.ghosts))
		for _, g := range c.ghosts {
			cl.rows = append(cl.rows, g.row)
			post = append(post, post[0]*g.ratio)
		}
	}
	t.book.row[c.i][c.class] = post
	for x, sl := range n.net.slots {
		w := c.win[sl.fam]
		mu := cav[sl.fam]
		c.cav = append(c.cav, slices.Clone(mu[w.lo:w.hi]))
		per := len(sl.obs)
		for e, tab := range c.tab[x] {
			f := c.post * c.coef[x][e] / c.sum
			if f < 1e-12 {
				continue
			}
			f /= c.dot[x][e]
			for i, k := range sl.obs {
				m := t.met(n.own[k], c.form.ids[x][e*per+i])
				for k, l := range tab {
					m[w.lo+k] += f * mu[w.lo+k] * l
				}
			}
		}
	}
}
