package diagnosis

// Leaving one observation out of a net needs no new sums: what a scope's rows
// weigh without it follows from its own likelihood averaged over the offset, as
// the messages from the other scopes do not hold it. What it said of an offset to
// its siblings' scopes is left as it was: that is what a sibling's reading is worth
// to a scope that it does not see, and is the approximation here.

// faultP is the probability that a component is faulty.
type faultP struct {
	comp int
	p    float64
}

// leaver leaves observations out one at a time.
type leaver struct {
	t    *net
	deep []int // per observation: its scope
	row  [][][]faultP
	base map[*cell][]faultP
	rho  map[*cell]float64
	left map[*cell][]float64
	room []float64
}

// without is, per observation, every component's probability of being faulty with
// that observation left out.
func (t *net) without() [][]float64 {
	s := t.s
	l := &leaver{t: t, row: make([][][]faultP, len(s.nodes)), base: map[*cell][]faultP{},
		rho: map[*cell]float64{}, left: map[*cell][]float64{}, room: make([]float64, len(s.m.components))}
	for i, n := range s.nodes {
		l.row[i] = make([][]faultP, len(n.rows))
	}
	for _, o := range s.m.obs {
		l.deep = append(l.deep, s.m.scopeOf(o))
	}
	out := make([][]float64, len(s.m.obs))
	for o := range out {
		out[o] = make([]float64, len(s.m.components))
		l.weigh(t.top, o)
		l.add(t.top, o, 1, out[o])
	}
	return out
}

func (l *leaver) sees(c *cell, o int) bool { return l.t.s.m.above(c.i, l.deep[o]) }

// weigh finds by what factor the evidence of a cell changes without observation o.
func (l *leaver) weigh(c *cell, o int) float64 {
	if !l.sees(c, o) {
		return 1
	}
	v := 0.0
	if !c.n.net.inner {
		v = l.weighLeaf(c, o)
	} else {
		for _, b := range c.branches {
			if b.post > 0 {
				v += b.post / c.post * l.weighBranch(c, b, o)
			}
		}
	}
	l.rho[c] = v
	return v
}

func (l *leaver) weighBranch(c *cell, b *branch, o int) float64 {
	s, n := l.t.s, c.n
	v := 1.0
	for _, kid := range b.kids {
		v *= l.weigh(kid, o)
	}
	if l.deep[o] == c.i {
		if f := s.shared[o]; f < 0 {
			v /= s.likelihood(o, b.all[o], 0)
		} else {
			j := n.net.place[f]
			w := b.win[j]
			sum := 0.0
			for k, like := range s.window(o, b.all[o], w.lo, w.hi) {
				if p := b.says[j][w.lo+k]; p > 0 {
					sum += p / like
				}
			}
			v *= sum
		}
	}
	b.rho = v
	return v
}

// weighLeaf weighs the rows of a lowest scope without one of its observations.
func (l *leaver) weighLeaf(c *cell, o int) float64 {
	s, n := l.t.s, c.n
	left := l.left[c]
	if len(left) != len(c.active) {
		left = make([]float64, len(c.active))
		l.left[c] = left
	}
	w := len(n.net.slots)
	sum := 0.0
	if s.shared[o] < 0 {
		at := 0
		for n.own[at] != o {
			at++
		}
		space := s.m.obs[o].space
		for i, a := range c.active {
			id := space.merge(c.form.upper[at], s.sigOf(n, c.form.rows[a])[at])
			left[i] = 0
			if like := s.likelihood(o, id, 0); like > 0 {
				left[i] = c.tot[i] / like
			}
			sum += left[i]
		}
	} else {
		x := 0
		for n.fams[n.net.slots[x].fam] != s.shared[o] {
			x++
		}
		sl := n.net.slots[x]
		win := c.win[sl.fam]
		per := len(sl.obs)
		ratio := make([]float64, len(c.dot[x]))
		for e := range ratio {
			if c.dot[x][e] == 0 {
				continue
			}
			rest := 0.0
			for k, v := range l.t.product(c, sl, c.form.ids[x][e*per:(e+1)*per], win, o) {
				rest += c.cav[x][k] * v
			}
			ratio[e] = rest / c.dot[x][e]
		}
		for i, a := range c.active {
			left[i] = c.tot[i] * ratio[c.form.at[int(a)*w+x]]
			sum += left[i]
		}
	}
	for i := range left {
		left[i] /= sum
	}
	return sum / c.sum
}

// add books the faults of a cell's scopes, whose faults above hold weight.
func (l *leaver) add(c *cell, o int, weight float64, out []float64) {
	if !l.sees(c, o) {
		for _, f := range l.baseOf(c) {
			out[f.comp] += weight * f.p
		}
		return
	}
	if !c.n.net.inner {
		l.addRows(c, l.left[c], 1, weight, out)
		return
	}
	for _, b := range c.branches {
		if b.post == 0 {
			continue
		}
		w := weight * b.post / c.post * b.rho / l.rho[c]
		l.addRow(c, b.row, b.ghosts, w, out)
		for _, kid := range b.kids {
			l.add(kid, o, w, out)
		}
	}
}

// addRows books the rows of a lowest scope.
func (l *leaver) addRows(c *cell, of []float64, sum, weight float64, out []float64) {
	for i, a := range c.active {
		w := weight * of[i] / sum
		if i == 0 {
			l.addRow(c, 0, c.ghosts, w, out)
			continue
		}
		for _, f := range l.faults(c.i, c.form.rows[a]) {
			out[f.comp] += w * f.p
		}
	}
}

// addRow books a row with what is counted with it.
func (l *leaver) addRow(c *cell, r int32, ghosts []ghost, w float64, out []float64) {
	w /= 1 + sumGhosts(ghosts)
	for _, f := range l.faults(c.i, r) {
		out[f.comp] += w * f.p
	}
	for _, g := range ghosts {
		for _, f := range l.faults(c.i, g.row) {
			out[f.comp] += w * g.ratio * f.p
		}
	}
}

// baseOf is the faults of a cell's scopes with all observations.
func (l *leaver) baseOf(c *cell) []faultP {
	if v, ok := l.base[c]; ok {
		return v
	}
	sum := make([]float64, len(l.room))
	if !c.n.net.inner {
		l.addRows(c, c.tot, c.sum, 1, sum)
	}
	for _, b := range c.branches {
		if b.post == 0 {
			continue
		}
		l.addRow(c, b.row, b.ghosts, b.post/c.post, sum)
		for _, kid := range b.kids {
			for _, f := range l.baseOf(kid) {
				sum[f.comp] += b.post / c.post * f.p
			}
		}
	}
	out := []faultP{}
	for comp, p := range sum {
		if p > 0 {
			out = append(out, faultP{comp, p})
		}
	}
	l.base[c] = out
	return out
}

// faults is the components that a row makes faulty.
func (l *leaver) faults(i int, r int32) []faultP {
	if v := l.row[i][r]; v != nil {
		return v
	}
	n := l.t.s.nodes[i]
	kinds := n.sets[n.rows[r].sets[0]].kinds
	out := []faultP{}
	for k, a := range kinds {
		kd := &n.kinds[a]
		if len(kinds) < 2 {
			for _, b := range kd.by {
				out = append(out, faultP{b.comp, b.odds / kd.sum})
			}
			continue
		}
		other := &n.kinds[kinds[1-k]]
		norm := 0.0
		from := len(out)
		for _, b := range kd.by {
			v := b.odds * (other.sum - other.of(b.comp))
			norm += v
			out = append(out, faultP{b.comp, v})
		}
		for k := from; k < len(out); k++ {
			out[k].p /= norm
		}
	}
	l.row[i][r] = out
	return out
}
