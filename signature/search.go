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
	n := len(h.params)
	b, bm := make([]float64, n), make([]float64, n)
	for _, p := range s.params {
		best, bestQ := math.Inf(-1), p.mean
		for _, g := range f.grid(p) {
			for i := range n {
				b[i] = h.points[i].slope(&g)
				bm[i] = h.points[i].kd * g.made(h.points[i].dm)
			}
			// What the suspect explains and the hypothesis cannot follow: at the point of
			// the grid, its change and its curvature along the slope.
			own, left, won := g.slope(&g), g.along(r), g.made(r)
			left -= g.kd * g.made(g.dm)
			won -= g.norm() / 2
			for i := range n {
				for j := range n {
					own -= b[i] * inv.at(i, j) * b[j]
					won += bm[i] * inv.at(i, j) * bm[j] / 2
					left += bm[i] * inv.at(i, j) * b[j]
				}
			}
			own = math.Max(own, 0) + 1/sq(p.sd)
			left -= (g.q - p.mean) / sq(p.sd)
			step := left / own
			if p.log {
				step = clamp(step, -0.6*p.sd, 0.6*p.sd)
			}
			v := won - sq((g.q-p.mean)/p.sd)/2 + left*step - own*step*step/2 - math.Log(own)/2 - math.Log(p.sd)
			if v > best {
				best, bestQ = v, g.q+step
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
		rows := f.w.levels[t]
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
