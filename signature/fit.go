package signature

import (
	"math"
	"slices"
)

// fitter finds the parameters of hypotheses: sets of suspects.
type fitter struct {
	d     *data
	w     *white
	y     *vec
	base  []*param           // unknowns of every machine: azimuth
	units map[*param]*vec    // of linear laws: what the number 1 makes
	nodes map[node][2]*vec   // of curved ones: what they make at a node, and the slope there
	grids map[*param][]point // what some numbers make
	col   [][]float64
}

// point is what a parameter makes at one coordinate: km·m + lin·dm, with the slope kd·dm.
type point struct {
	q           float64
	m, dm       *vec
	km, lin, kd float64
}

// slope is the inner product of the slopes at two points.
func (a *point) slope(b *point) float64 { return a.kd * b.kd * a.dm.inner(b.dm) }

// along is the inner product of the slope with a vec.
func (a *point) along(v *vec) float64 { return a.kd * a.dm.inner(v) }

// made is the inner product of what is made with a vec.
func (a *point) made(v *vec) float64 {
	s := 0.0
	if a.km != 0 {
		s = a.km * a.m.inner(v)
	}
	if a.lin != 0 {
		s += a.lin * a.dm.inner(v)
	}
	return s
}

// from takes what is made off v.
func (a *point) from(v *vec) {
	if a.km != 0 {
		v.plus(-a.km, a.m)
	}
	if a.lin != 0 {
		v.plus(-a.lin, a.dm)
	}
}

// norm is the inner product of what is made with itself.
func (a *point) norm() float64 {
	s := 0.0
	if a.km != 0 {
		s = a.km * a.made(a.m)
	}
	if a.lin != 0 {
		s += a.lin * a.made(a.dm)
	}
	return s
}

// node is a coordinate of a curved law at which its vecs are kept.
type node struct {
	p *param
	i int
}

func newFitter(d *data, s spread, bare bool) *fitter {
	f := &fitter{d: d, w: newWhite(d, s, bare), units: map[*param]*vec{}, nodes: map[node][2]*vec{}, grids: map[*param][]point{}}
	f.y = f.w.of(d.y)
	f.col = make([][]float64, len(d.tracks))
	for t := range f.col {
		f.col[t] = make([]float64, len(d.rows))
	}
	all := make([]int, len(d.tracks))
	for t := range all {
		all[t] = t
	}
	azimuth := normal(byAzimuth, 0, s.azimuthArcmin, all...)
	azimuth.name = AzimuthArcmin
	f.base = append(f.base, azimuth)
	return f
}

// vector is the change that value x of a parameter makes.
func (f *fitter) vector(p *param, x float64) *vec {
	cols := make([][]float64, len(f.d.tracks))
	for _, t := range p.on {
		f.d.law(p, x, t, f.col[t])
		cols[t] = f.col[t]
	}
	return f.w.of(cols)
}

// nodeStep is the distance of nodes: within half of it a law is as good as straight,
// to 0.001 dB.
const nodeStep = 0.02

// at is what a parameter makes at q.
func (f *fitter) at(p *param, q float64) point {
	if p.fam.linear() {
		u := f.units[p]
		if u == nil {
			u = f.vector(p, 1)
			f.units[p] = u
		}
		if x := p.value(q); p.log {
			return point{q: q, m: u, km: x, dm: u, kd: x}
		}
		return point{q: q, m: u, km: q, dm: u, kd: 1}
	}
	at := node{p, int(math.Round(q / nodeStep))}
	kept, ok := f.nodes[at]
	near := float64(at.i) * nodeStep
	if !ok {
		const h = 1e-3
		m, up := f.vector(p, p.value(near)), f.vector(p, p.value(near+h))
		up.plus(-1, m)
		kept = [2]*vec{m, scaled(up, 1/h)}
		f.nodes[at] = kept
	}
	return point{q: q, m: kept[0], km: 1, dm: kept[1], lin: q - near, kd: 1}
}

func scaled(v *vec, k float64) *vec {
	out := &vec{xi: make([][]float64, len(v.xi)), v: make([]float64, len(v.v))}
	out.plus(k, v)
	return out
}

// fit is a hypothesis with its most probable parameters.
type fit struct {
	list   []*suspect
	params []*param // base, then those of the list
	q      []float64
	points []point
	r      *vec    // what is left of the figures
	chol   matrix  // of the precision of q
	score  float64 // log of likelihood × prior, integrated over the parameters
}

// has says that a suspect of the same finding is already in the hypothesis.
func (h *fit) has(s *suspect) bool {
	return slices.ContainsFunc(h.list, func(x *suspect) bool { return x.key == s.key })
}

// solve finds the parameters of a list from a start, and its score. Starting values
// beyond those of from are taken from the grid of the new suspect.
func (f *fitter) solve(list []*suspect, start []float64) *fit {
	h := &fit{list: list, params: slices.Clone(f.base)}
	for _, s := range list {
		h.params = append(h.params, s.params...)
	}
	h.q = slices.Clone(start)
	for i := len(h.q); i < len(h.params); i++ {
		h.q = append(h.q, h.params[i].mean)
	}
	f.evaluate(h)
	cost := f.cost(h)
	damp := 0.0
	for range 30 {
		step := f.step(h, damp)
		next := &fit{list: list, params: h.params, q: slices.Clone(h.q)}
		largest := 0.0
		for i, s := range step {
			if h.params[i].log {
				s = math.Max(-1, math.Min(1, s))
			}
			next.q[i] += s
			largest = math.Max(largest, math.Abs(s)/(h.params[i].sd))
		}
		f.evaluate(next)
		c := f.cost(next)
		if c > cost+1e-9 {
			if damp == 0 {
				damp = 1e-3
			}
			if damp *= 10; damp > 1e6 {
				break
			}
			continue
		}
		gain := cost - c
		h, cost = next, c
		damp /= 10
		if gain < 1e-4 || largest < 1e-5 {
			break
		}
	}
	f.finish(h, cost)
	return h
}

// evaluate works out what the parameters make and what is left.
func (f *fitter) evaluate(h *fit) {
	h.points = make([]point, len(h.params))
	h.r = f.y.clone()
	for i, p := range h.params {
		h.points[i] = f.at(p, h.q[i])
		h.points[i].from(h.r)
	}
}

// cost is minus the log of likelihood × prior density, without constants.
func (f *fitter) cost(h *fit) float64 {
	c := h.r.inner(h.r) / 2
	for i, p := range h.params {
		c += sq((h.q[i]-p.mean)/p.sd) / 2
	}
	return c
}

// precision is the curvature of the cost at h.
func (h *fit) precision() matrix {
	n := len(h.params)
	a := newMatrix(n)
	for i := range n {
		for j := 0; j <= i; j++ {
			v := h.points[i].slope(&h.points[j])
			a.set(i, j, v)
			a.set(j, i, v)
		}
		a.add(i, i, 1/sq(h.params[i].sd))
	}
	return a
}

// step is the next Gauss-Newton step, damped after Levenberg and Marquardt.
func (f *fitter) step(h *fit, damp float64) []float64 {
	a := h.precision()
	g := make([]float64, len(h.params))
	for i, p := range h.params {
		g[i] = h.points[i].along(h.r) - (h.q[i]-p.mean)/sq(p.sd)
		a.add(i, i, damp*a.at(i, i))
	}
	l, ok := cholesky(a)
	if !ok {
		return make([]float64, len(g))
	}
	return l.solve(g)
}

// finish integrates over the parameters by Laplace's method.
func (f *fitter) finish(h *fit, cost float64) {
	l, ok := cholesky(h.precision())
	if !ok {
		h.score = math.Inf(-1)
		return
	}
	h.chol = l
	h.score = -cost - l.logDet()/2
	for _, p := range h.params {
		h.score -= math.Log(p.sd)
	}
	for _, s := range h.list {
		h.score += s.prior
	}
}

// gridSteps are where a parameter is tried before it is fitted, in prior deviations.
var gridSteps = []float64{-2.2, -1.6, -1.1, -0.6, 0, 0.6, 1.1, 1.6, 2.2}

// grid is what a parameter makes at some coordinates.
func (f *fitter) grid(p *param) []point {
	if g, ok := f.grids[p]; ok {
		return g
	}
	var g []point
	if p.fam.linear() && !p.log {
		g = append(g, f.at(p, 0))
	} else {
		for _, s := range gridSteps {
			g = append(g, f.at(p, p.mean+s*p.sd))
		}
	}
	f.grids[p] = g
	return g
}
