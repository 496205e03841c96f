package diagnosis

import (
	"cmp"
	"math"
	"slices"
)

// search finds which fault sets are worth summing. It looks from several
// standpoints: the best faults of the shared and group scopes together, the
// same without one of them, and none at all. A row of a scope is kept when it
// has a share of the posterior seen from one of them.
type search struct {
	s     *solver
	r     *run
	seeds [][]uint8
	from  []standpoint // the best first
}

// standpoint fixes the row of every upper scope.
type standpoint struct {
	rows  []int // per node; lowest scopes 0
	seeds [][]uint8
	value float64
}

// trial is a joint choice of offsets with its value.
type trial struct {
	d []uint8
	v float64
}

// narrow cuts all scopes and returns offsets to start the summing from.
func (h *search) narrow() [][]uint8 {
	s := h.s
	h.seeds = s.seeds()
	all := h.leafRows()
	none := standpoint{rows: make([]int, len(s.nodes))}
	h.r = s.newRun()
	h.cutLeaves(all, []standpoint{{rows: none.rows, seeds: h.around(h.seeds), value: 1}})
	s.least = screenShare
	h.reset()
	h.settle(&none)
	best := h.ascend(none)
	h.from = append([]standpoint{best}, h.variants(best, none)...)
	s.least = 0
	h.reset()
	s.loss = prunedFloor // what the first look dropped is looked at again
	h.cutLeaves(all, h.from)
	s.least = screenShare
	h.reset()
	return h.cutUpper()
}

func (h *search) reset() {
	h.s.forget()
	h.r = h.s.newRun()
}

// leafRows is every row of the lowest scopes.
func (h *search) leafRows() [][]int32 {
	out := make([][]int32, len(h.s.nodes))
	for i, n := range h.s.nodes {
		out[i] = n.alive
	}
	return out
}

// around adds to the seeds their neighbours one step away.
func (h *search) around(seeds [][]uint8) [][]uint8 {
	out := slices.Clone(seeds)
	for _, d := range seeds {
		for _, f := range h.s.nodes[0].fams {
			for _, step := range []int{-1, 1} {
				if v := int(d[f]) + step; v >= 0 && v < len(h.s.m.families[f].nodes) {
					next := slices.Clone(d)
					next[f] = uint8(v)
					out = append(out, next)
				}
			}
		}
	}
	return distinct(out)
}

// uppers is what the fixed rows do to each observation.
func (h *search) uppers(rows []int) []int32 {
	at := make([]int32, len(h.s.m.obs))
	for i, n := range h.s.nodes {
		if len(n.children) == 0 || rows[i] == 0 {
			continue
		}
		sig := n.rows[n.alive[rows[i]]].sig
		for k, o := range n.sub {
			at[o] = h.s.m.obs[o].space.merge(at[o], sig[k])
		}
	}
	return at
}

// value is the joint value of fixed upper rows and offsets; the lowest scopes
// are summed.
func (h *search) value(rows []int, at []int32, d []uint8) float64 {
	s := h.s
	h.r.enter(d)
	v := s.offsetPrior(d)
	for i, n := range s.nodes {
		if v == 0 {
			return 0
		}
		if len(n.children) == 0 {
			v *= h.r.eval(i, s.classOf(i, upperOf(n, at), 1), d)
			continue
		}
		v *= n.rows[n.alive[rows[i]]].w
		for _, o := range n.own {
			v *= s.likelihood(o, at[o], s.nodeOf(o, d))
		}
	}
	return v
}

func upperOf(n *node, at []int32) []int32 {
	out := make([]int32, len(n.sub))
	for k, o := range n.sub {
		out[k] = at[o]
	}
	return out
}

// settle climbs to the best offsets of a standpoint from every seed.
func (h *search) settle(p *standpoint) {
	at := h.uppers(p.rows)
	value := func(d []uint8) float64 { return h.value(p.rows, at, d) }
	var found []trial
	for _, d := range append(slices.Clone(h.seeds), p.seeds...) {
		d = h.s.climb(value, d)
		found = append(found, trial{d, value(d)})
	}
	slices.SortStableFunc(found, func(a, b trial) int { return cmp.Compare(b.v, a.v) })
	p.value = found[0].v
	p.seeds = nil
	for _, t := range found {
		if t.v >= pointShare*p.value {
			p.seeds = append(p.seeds, t.d)
		}
	}
	p.seeds = distinct(p.seeds)
	p.seeds = p.seeds[:min(len(p.seeds), 4)]
}

// ascend changes one upper scope at a time to its best row.
func (h *search) ascend(p standpoint) standpoint {
	for range sweeps {
		moved := false
		for i, n := range h.s.nodes {
			if len(n.children) == 0 || len(n.alive) < 2 {
				continue
			}
			best, where := h.tryRows(i, p)
			top := 0
			for a := range best {
				if best[a] > best[top] {
					top = a
				}
			}
			if top == p.rows[i] || best[top] <= p.value {
				continue
			}
			next := standpoint{rows: slices.Clone(p.rows), seeds: [][]uint8{where[top]}}
			next.rows[i] = top
			h.settle(&next)
			p, moved = next, true
		}
		if !moved {
			break
		}
	}
	return p
}

// variants are the best standpoint with each of its faults taken away, and none.
func (h *search) variants(best, none standpoint) []standpoint {
	var out []standpoint
	count := 0
	for i, row := range best.rows {
		if row == 0 {
			continue
		}
		count++
		less := standpoint{rows: slices.Clone(best.rows), seeds: best.seeds}
		less.rows[i] = 0
		h.settle(&less)
		out = append(out, less)
	}
	if count > 1 {
		out = append(out, none)
	}
	return out
}

// tryRows finds for each alive row of an upper scope its best value seen from
// a standpoint, and where: first the single faults, then those pairs that could
// matter by what their faults did alone. A fault that an observation
// contradicts alone is not made likelier by another one, since faults only add.
func (h *search) tryRows(i int, p standpoint) (best []float64, where [][]uint8) {
	n := h.s.nodes[i]
	best = make([]float64, len(n.alive))
	where = make([][]uint8, len(n.alive))
	gain := make([]float64, len(n.kinds))
	rows := slices.Clone(p.rows)
	try := func(a int) {
		rows[i] = a
		at := h.uppers(rows)
		for _, d := range h.s.shifted(n, a, p.seeds) {
			if v := h.value(rows, at, d); v > best[a] || where[a] == nil {
				best[a], where[a] = v, d
			}
		}
	}
	try(0)
	sound := best[0]
	w0 := n.rows[n.alive[0]].w
	for a, row := range n.alive {
		if a == 0 || !hasSingle(n, row) {
			continue
		}
		try(a)
		for _, f := range n.rows[row].sets {
			if k := n.sets[f].kinds; len(k) == 1 && sound > 0 {
				gain[k[0]] = best[a] / (n.rows[row].w * sound / w0)
			}
		}
	}
	for a, row := range n.alive {
		if where[a] != nil {
			continue
		}
		promise := 0.0
		for _, f := range n.rows[row].sets {
			x := n.sets[f].w / w0
			for _, k := range n.sets[f].kinds {
				x *= gain[k]
			}
			promise += x
		}
		if promise*sound*pairSlack > leastShare*p.value {
			try(a)
		} else {
			best[a], where[a] = promise*sound, p.seeds[0]
		}
	}
	return best, where
}

func hasSingle(n *node, row int32) bool {
	for _, f := range n.rows[row].sets {
		if len(n.sets[f].kinds) < 2 {
			return true
		}
	}
	return false
}

// cutLeaves keeps of all rows of the lowest scopes those that have a share
// seen from one of the standpoints.
func (h *search) cutLeaves(all [][]int32, from []standpoint) {
	s := h.s
	for i, n := range s.nodes {
		if len(n.children) > 0 {
			continue
		}
		n.alive = all[i]
		n.share = make([]float64, len(n.alive))
		best := make([]float64, len(n.alive))
		mean := make([]float64, len(n.alive))
		values := 0.0
		for _, p := range from {
			values += p.value
		}
		for _, p := range from {
			h.leafShares(i, p, math.Min(1, p.value/from[0].value), p.value/values, best, mean)
		}
		s.cut(i, best, mean)
	}
}

// leafShares raises best to the share that each row of a lowest scope has at
// the seeds of a standpoint or beside them, times the weight of the standpoint,
// and adds to mean its share at the best of them, times the standpoint's part of
// the whole: best decides what is kept, mean estimates what is lost.
func (h *search) leafShares(i int, p standpoint, weight, part float64, best, mean []float64) {
	s := h.s
	n := s.nodes[i]
	if weight < leastShare {
		return
	}
	w := len(n.own)
	upper := upperOf(n, h.uppers(p.rows))
	ids := make([]int32, 0, w*len(n.alive))
	for _, row := range n.alive {
		for k, o := range n.own {
			ids = append(ids, s.m.obs[o].space.merge(upper[k], n.rows[row].sig[k]))
		}
	}
	term := make([]float64, len(n.alive))
	seen := map[string]bool{}
	for at, d := range h.around(p.seeds) {
		var key []byte
		for _, f := range n.fams {
			key = append(key, d[f])
		}
		if seen[string(key)] {
			continue
		}
		seen[string(key)] = true
		sum := 0.0
		for a, row := range n.alive {
			v := n.rows[row].w
			for k, o := range n.own {
				v *= s.likelihood(o, ids[a*w+k], s.nodeOf(o, d))
			}
			term[a] = v
			sum += v
		}
		if sum > 0 {
			for a := range term {
				best[a] = math.Max(best[a], weight*term[a]/sum)
				if at == 0 {
					mean[a] += part * term[a] / sum
				}
			}
		}
	}
}

// cutUpper keeps the rows of the upper scopes that have a share seen from one
// of the standpoints, and returns the offsets worth summing around.
func (h *search) cutUpper() [][]uint8 {
	s := h.s
	top := h.from[0].value
	var good []trial
	for _, p := range h.from {
		for _, d := range p.seeds {
			good = append(good, trial{d, p.value})
		}
	}
	best := make([][]float64, len(s.nodes))
	for i, n := range s.nodes {
		if len(n.children) == 0 || len(n.alive) < 2 {
			continue
		}
		best[i] = make([]float64, len(n.alive))
		for _, p := range h.from {
			if p.value < leastShare*top {
				continue
			}
			got, where := h.tryRows(i, p)
			for a := range got {
				best[i][a] = math.Max(best[i][a], got[a]/top)
				good = append(good, trial{where[a], got[a]})
			}
		}
	}
	for i := range s.nodes {
		if best[i] != nil {
			s.cut(i, best[i], best[i])
		}
	}
	good = slices.DeleteFunc(good, func(t trial) bool { return t.v < pointShare*top })
	slices.SortStableFunc(good, func(a, b trial) int { return cmp.Compare(b.v, a.v) })
	var out [][]uint8
	for _, t := range good {
		out = append(out, t.d)
	}
	out = distinct(out)
	return out[:min(len(out), maxSeeds)]
}

// cut keeps the alive rows with a share, and the first, which is no fault; lost
// is the share of each row that is missing when it goes.
func (s *solver) cut(i int, share, lost []float64) {
	n := s.nodes[i]
	var kept []int32
	var shares []float64
	for a, row := range n.alive {
		if a == 0 || share[a] > leastShare {
			kept = append(kept, row)
			shares = append(shares, math.Min(1, share[a]))
		} else {
			s.loss += lost[a]
		}
	}
	n.alive, n.share = kept, shares
}
