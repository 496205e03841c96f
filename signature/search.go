package signature

import (
	"cmp"
	"math"
	"slices"
)

// How far the search goes. Sets of causes are grown from the best ones: what is not
// among the first of its size by its estimated gain is not fitted.
const (
	mostSuspects = 5  // in one hypothesis
	keptPerLevel = 12 // hypotheses grown further
	triedPerSet  = 20 // suspects fitted on top of each
	keptWithin   = 25 // log odds below the best at which a hypothesis is dropped
)

// search fits hypotheses in order of size and returns all that were fitted, best first.
func (f *fitter) search(list []*suspect) []*fit {
	none := f.solve(nil, nil)
	all := []*fit{none}
	level := []*fit{none}
	seen := map[string]bool{"": true}
	for size := 1; size <= mostSuspects && len(level) > 0; size++ {
		var next []*fit
		tried := triedPerSet
		if size == 1 {
			tried = len(list)
		}
		for _, h := range level {
			for _, c := range f.candidates(h, list, tried) {
				grown := append(slices.Clone(h.list), c.s)
				key := keyOf(grown)
				if seen[key] {
					continue
				}
				seen[key] = true
				next = append(next, f.solve(grown, append(slices.Clone(h.q), c.q...)))
			}
		}
		slices.SortFunc(next, func(a, b *fit) int { return cmp.Compare(b.score, a.score) })
		all = append(all, next...)
		best := all[0].score
		for _, h := range all {
			best = math.Max(best, h.score)
		}
		level = level[:0]
		for _, h := range next {
			// A set that is worse than its parts is not grown, unless it is near the best.
			if len(level) < keptPerLevel/size+2 && h.score > best-keptWithin {
				level = append(level, h)
			}
		}
	}
	slices.SortFunc(all, func(a, b *fit) int { return cmp.Compare(b.score, a.score) })
	return all
}

// keyOf names a set of suspects, in any order.
func keyOf(list []*suspect) string {
	keys := make([]string, len(list))
	for i, s := range list {
		keys[i] = s.id()
	}
	slices.Sort(keys)
	out := ""
	for _, k := range keys {
		out += k + ";"
	}
	return out
}

// id tells a suspect from others of the same finding.
func (s *suspect) id() string {
	out := s.key
	for _, p := range s.params {
		out += "|" + itoa(int(p.fam)) + "," + itoa(len(p.on)) + "," + itoa(int(p.sign)) + "," + itoa(int(p.replay.HighUs*10)) + "," + itoa(int(p.replay.LowUs)) + "," + itoa(int(10*p.mean))
		if p.undone {
			out += "-"
		}
	}
	return out
}

// candidate is a suspect with the coordinates to start from and what it promises.
type candidate struct {
	s    *suspect
	q    []float64
	gain float64
}

// candidates are the suspects that promise most on top of a hypothesis, and the figures
// that fit it worst as spoilt ones.
func (f *fitter) candidates(h *fit, list []*suspect, most int) []candidate {
	var out []candidate
	inv := h.chol.inverse()
	for _, s := range list {
		if h.has(s) {
			continue
		}
		q, gain := f.promise(h, inv, s)
		out = append(out, candidate{s, q, gain + s.prior})
	}
	slices.SortFunc(out, func(a, b candidate) int { return cmp.Compare(b.gain, a.gain) })
	out = out[:min(most, len(out))]
	return append(out, f.outliers(h)...)
}

// promise estimates how much a suspect would raise the score: each of its parameters in
// turn at the best point of its grid, the hypothesis following linearly.
func (f *fitter) promise(h *fit, inv matrix, s *suspect) (q []float64, gain float64) {
	r := h.r
	if len(s.params) > 1 {
		r = r.clone()
	}
	for _, p := range s.params {
		best, bestQ := math.Inf(-1), p.mean
		for _, g := range f.products(h, r, p) {
			v, at := g.promise(inv, p)
			if v > best {
				best, bestQ = v, at
			}
		}
		q, gain = append(q, bestQ), gain+best
		if len(s.params) > 1 {
			at := f.at(p, bestQ)
			at.from(r)
		}
	}
	return q, gain
}

// product holds the inner products that tell what a parameter promises at a coordinate.
type product struct {
	q                float64
	own, cross, norm float64   // slope with slope, slope with change, change with change
	along, made      float64   // slope and change with the residual
	slopes, changes  []float64 // slope and change with the hypothesis's slopes
}

// products are the products at the points of the grid. Those of a linear law are all
// multiples of one.
func (f *fitter) products(h *fit, r *vec, p *param) []product {
	n := len(h.params)
	if !p.fam.linear() {
		var out []product
		for _, g := range f.grid(p) {
			x := product{q: g.q, own: g.slope(&g), cross: g.kd * g.made(g.dm), norm: g.norm(), along: g.along(r), made: g.made(r),
				slopes: make([]float64, n), changes: make([]float64, n)}
			for i := range n {
				x.slopes[i] = h.points[i].slope(&g)
				x.changes[i] = h.points[i].kd * g.made(h.points[i].dm)
			}
			out = append(out, x)
		}
		return out
	}
	unit := f.at(p, 0).dm
	uu, ur := unit.inner(unit), unit.inner(r)
	us := make([]float64, n)
	for i := range n {
		us[i] = h.points[i].along(unit)
	}
	times := func(q, m, d float64) product {
		x := product{q: q, own: d * d * uu, cross: m * d * uu, norm: m * m * uu, along: d * ur, made: m * ur,
			slopes: make([]float64, n), changes: make([]float64, n)}
		for i, v := range us {
			x.slopes[i], x.changes[i] = d*v, m*v
		}
		return x
	}
	if !p.log {
		return []product{times(0, 0, 1)}
	}
	var out []product
	for _, s := range gridSteps {
		q := p.mean + s*p.sd
		x := p.value(q)
		out = append(out, times(q, x, x))
	}
	return out
}

// promise is the estimated gain in score and the coordinate at which it is reached: what
// the parameter explains at this point and along its slope, and the hypothesis, following
// linearly, does not.
func (g *product) promise(inv matrix, p *param) (gain, q float64) {
	own, left, won := g.own, g.along-g.cross, g.made-g.norm/2
	for i, b := range g.slopes {
		follow, change := 0.0, 0.0
		for j := range g.slopes {
			v := inv.at(i, j)
			follow += v * g.slopes[j]
			change += v * g.changes[j]
		}
		own -= b * follow
		won += g.changes[i] * change / 2
		left += g.changes[i] * follow
	}
	own = math.Max(own, 0) + 1/sq(p.sd)
	left -= (g.q - p.mean) / sq(p.sd)
	step := left / own
	if p.log {
		step = clamp(step, -0.6*p.sd, 0.6*p.sd)
	}
	return won - sq((g.q-p.mean)/p.sd)/2 + left*step - own*step*step/2 - math.Log(own)/2 - math.Log(p.sd), g.q + step
}

// outlierSigma is by how many standard deviations a figure must miss to be tried as a
// spoilt one.
const outlierSigma = 4

// outliers are the figures of single tracks that a hypothesis misses most.
func (f *fitter) outliers(h *fit) []candidate {
	type miss struct {
		t, i int
		z    float64
	}
	var found []miss
	for t := range f.d.tracks {
		rows := f.w.dense[t]
		if len(rows) < 4 || h.r.xi[t] == nil {
			continue
		}
		// W⁻¹r over the root of its diagonal is the residual of a figure given the others.
		l := make([]float64, len(rows))
		for i, r := range rows {
			l[i] = h.r.xi[t][r]
		}
		f.w.chol[t].backward(l, l)
		inv := f.w.chol[t].inverse()
		for i, r := range rows {
			if f.d.rows[r].kind != rowLevel {
				continue
			}
			if z := math.Abs(l[i]) / math.Sqrt(inv.at(i, i)); z > outlierSigma {
				found = append(found, miss{t, r, z})
			}
		}
	}
	slices.SortFunc(found, func(a, b miss) int { return cmp.Compare(b.z, a.z) })
	var out []candidate
	for _, m := range found[:min(3, len(found))] {
		s := f.d.spoilt(m.t, m.i)
		if !h.has(s) {
			out = append(out, candidate{s: s, q: []float64{0}})
		}
	}
	return out
}
