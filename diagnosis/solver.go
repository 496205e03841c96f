package diagnosis

import (
	"errors"
	"maps"
	"math"
	"slices"
)

// errImpossible says that no hypothesis explains the evidence at all, which
// the wrong-reading alternatives should make unreachable.
var errImpossible = errors.New("diagnosis: no combination of faults and wrong readings explains the evidence")

// solver holds a model ready for sums.
type solver struct {
	m      *model
	nodes  []*node
	seen   [][]sight // per component: where it is seen
	shared []int     // per observation: its family when siblings share it, else -1
	like   []likeTable
	budget float64 // row evaluations up to which everything is summed
	points []point // joint offsets of a full sum, heaviest first
	// loss is the estimated posterior mass of what was left out.
	loss float64
}

// point is one joint choice of all shared offsets.
type point struct {
	delta []uint8
	prior float64
	value float64 // prior times likelihood, relative
}

// likeTable is the likelihood of one observation by effect number and offset
// node, times a scale that keeps products of many within the exponent.
type likeTable struct {
	nodes int
	scale float64
	top   float64 // the largest met so far
	curve *curve  // of a reading, else nil
	rows  []likeRow
}

// likeRow is one effect number's likelihoods, known for nodes lo to hi.
type likeRow struct {
	v      []float64
	lo, hi int
	arrive []total
	humps  [][]hump // of a reading: about what arrives
}

func newSolver(m *model) *solver {
	m.straighten()
	s := &solver{m: m, budget: fullWork}
	count := make([]int, len(m.families))
	for _, o := range m.obs {
		if o.fam >= 0 {
			count[o.fam]++
		}
	}
	for _, o := range m.obs {
		f, nodes := -1, 1
		if o.fam >= 0 && count[o.fam] > 1 {
			f, nodes = o.fam, len(m.families[o.fam].nodes)
		}
		s.shared = append(s.shared, f)
		t := likeTable{nodes: nodes, scale: 1}
		if o.reading != nil && o.fam >= 0 {
			t.curve = newCurve(o.reading, m.families[o.fam].nodes)
		}
		s.like = append(s.like, t)
	}
	s.seen = make([][]sight, len(m.components))
	for o, ob := range m.obs {
		for k, c := range ob.path {
			s.seen[c] = append(s.seen[c], sight{o, k})
		}
	}
	s.buildNodes()
	s.scaleTables()
	return s
}

// scaleTables finds a scale for each observation: what it would say of a machine
// without faults, at the offset that fits it best.
func (s *solver) scaleTables() {
	for o, ob := range s.m.obs {
		node := 0
		if f := s.shared[o]; f >= 0 && ob.hasY {
			node = int(s.nearest(f, ob.y))
		}
		if v := s.likelihood(o, 0, node); v > 0 {
			s.like[o].scale = 1 / v
		}
		s.like[o].rows, s.like[o].top = nil, 0
	}
}

// window is the likelihoods of observation o for effect id at nodes lo to hi.
func (s *solver) window(o int, id int32, lo, hi int) []float64 {
	t := &s.like[o]
	if int(id) >= len(t.rows) {
		t.rows = append(t.rows, make([]likeRow, len(s.m.obs[o].space.lists)-len(t.rows))...)
	}
	r := &t.rows[id]
	if r.lo <= lo && hi <= r.hi && r.v != nil {
		return r.v[lo:hi]
	}
	if r.v == nil {
		r.v = make([]float64, t.nodes)
		r.lo, r.hi = lo, lo
	}
	from, to := min(lo, r.lo), max(hi, r.hi)
	s.fill(o, id, from, r.lo, r.v)
	s.fill(o, id, r.hi, to, r.v)
	r.lo, r.hi = from, to
	return r.v[lo:hi]
}

// fill works out the likelihoods of observation o for effect id at nodes lo to hi.
func (s *solver) fill(o int, id int32, lo, hi int, v []float64) {
	if lo >= hi {
		return
	}
	t := &s.like[o]
	if t.curve != nil && s.shared[o] >= 0 {
		t.curve.fill(s.humps(o, id), lo, hi, v[lo:hi])
	} else {
		out := make([]float64, s.m.obs[o].states)
		for k := lo; k < hi; k++ {
			s.statesAt(o, id, k, out)
			v[k] = sumOf(out)
		}
	}
	for k := lo; k < hi; k++ {
		v[k] *= t.scale
		t.top = max(t.top, v[k])
	}
}

// likelihood of observation o when effect id arrives at offset node.
func (s *solver) likelihood(o int, id int32, node int) float64 {
	return s.window(o, id, node, node+1)[0]
}

// states is the likelihood by wrong-reading state, unscaled; an offset that no
// sibling shares is summed out.
func (s *solver) states(o int, id int32, node int) []float64 {
	out := make([]float64, s.m.obs[o].states)
	s.statesAt(o, id, node, out)
	return out
}

func (s *solver) statesAt(o int, id int32, node int, out []float64) {
	ob := s.m.obs[o]
	if c := s.like[o].curve; c != nil {
		s.onCurve(o, id, node, out)
		return
	}
	arrive := s.arriving(o, id)
	switch {
	case ob.fam < 0:
		ob.like(arrive, 0, out)
	case s.shared[o] >= 0:
		ob.like(arrive, s.m.families[ob.fam].nodes[node], out)
	default:
		part := make([]float64, ob.states)
		f := &s.m.families[ob.fam]
		clear(out)
		for k, delta := range f.nodes {
			ob.like(arrive, delta, part)
			for i := range out {
				out[i] += f.p[k] * part[i]
			}
		}
	}
}

// onCurve is statesAt for a reading.
func (s *solver) onCurve(o int, id int32, node int, out []float64) {
	c, humps := s.like[o].curve, s.humps(o, id)
	var part [readStates]float64
	if s.shared[o] >= 0 {
		c.at(humps, node, &part)
		copy(out, part[:])
		return
	}
	clear(out)
	for k, p := range s.m.families[s.m.obs[o].fam].p {
		c.at(humps, k, &part)
		for _, i := range c.states {
			out[i] += p * part[i]
		}
	}
}

// humps are the densities of a reading about what arrives with effect id.
func (s *solver) humps(o int, id int32) [][]hump {
	t := &s.like[o]
	if int(id) >= len(t.rows) {
		return t.curve.humps(s.m.obs[o].space.totals(id))
	}
	r := &t.rows[id]
	if r.humps == nil {
		r.humps = t.curve.humps(s.arriving(o, id))
	}
	return r.humps
}

// arriving is what arrives at observation o with effect id.
func (s *solver) arriving(o int, id int32) []total {
	t := &s.like[o]
	if int(id) >= len(t.rows) {
		return s.m.obs[o].space.totals(id)
	}
	r := &t.rows[id]
	if r.arrive == nil {
		r.arrive = s.m.obs[o].space.totals(id)
	}
	return r.arrive
}

// run is one evaluation of the sums, possibly without one observation or with
// other weights of the fault sets. Several may go on at once once the tables
// and classes they need are there.
type run struct {
	s       *solver
	skip    int           // observation left out, -1 none
	weights [][]float64   // per node and alive row; nil: the rows' own
	memo    [][][]float64 // node, class, choice of the subtree's offsets; NaN unknown
	sub     []int32       // per node: number of the present choice
	offsets []choices     // per node
}

// choices numbers the joint choices of the offsets that one subtree shares.
type choices struct {
	index  map[string]int32
	deltas [][]uint8 // a joint choice of all offsets with it
	below  [][]int32 // the children's choices
}

func (s *solver) newRun() *run {
	r := &run{s: s, skip: -1, memo: make([][][]float64, len(s.nodes)), sub: make([]int32, len(s.nodes)), offsets: make([]choices, len(s.nodes))}
	for i := range r.offsets {
		r.offsets[i].index = map[string]int32{}
	}
	return r
}

// fork is a run that starts from the choices numbered in r and may go on at the
// same time as others.
func (r *run) fork() *run {
	out := r.s.newRun()
	for i, c := range r.offsets {
		out.offsets[i] = choices{maps.Clone(c.index), slices.Clip(c.deltas), slices.Clip(c.below)}
	}
	return out
}

// enter makes delta the present joint choice of offsets.
func (r *run) enter(delta []uint8) {
	var buf [64]byte
	for i := len(r.s.nodes) - 1; i >= 0; i-- { // children before parents
		n := r.s.nodes[i]
		key := buf[:0]
		for _, f := range n.fams {
			key = append(key, delta[f])
		}
		known := &r.offsets[i]
		id, ok := known.index[string(key)]
		if !ok {
			id = int32(len(known.deltas))
			known.index[string(key)] = id
			known.deltas = append(known.deltas, slices.Clone(delta))
			below := make([]int32, len(n.children))
			for k, c := range n.children {
				below[k] = r.sub[c]
			}
			known.below = append(known.below, below)
		}
		r.sub[i] = id
	}
}

func (r *run) weight(n *node, i int, a int32) float64 {
	if r.weights != nil && r.weights[i] != nil {
		return r.weights[i][a]
	}
	return n.rows[n.alive[a]].w
}

// eval sums a subtree over its fault sets, for upper effects of class c and
// the offsets entered.
func (r *run) eval(i int, c int32, delta []uint8) float64 {
	for int(c) >= len(r.memo[i]) {
		r.memo[i] = append(r.memo[i], nil)
	}
	id := int(r.sub[i])
	if m := r.memo[i][c]; id < len(m) && m[id] == m[id] {
		return m[id]
	}
	n := r.s.nodes[i]
	cl := n.classes[c]
	if !cl.built {
		r.s.build(i, cl)
	}
	sum := 0.0
	for x := range cl.rows {
		sum += r.term(n, i, cl, x, delta)
	}
	for id >= len(r.memo[i][c]) {
		r.memo[i][c] = append(r.memo[i][c], math.NaN())
	}
	r.memo[i][c][id] = sum
	return sum
}

// local is the weight of row x of a class times the likelihood of the scope's
// own observations.
func (r *run) local(n *node, i int, cl *class, x int, delta []uint8) float64 {
	v := r.weight(n, i, cl.rows[x])
	w := len(n.own)
	for k, o := range n.own {
		if v == 0 {
			return 0
		}
		if o != r.skip {
			v *= r.s.likelihood(o, cl.ids[x*w+k], r.s.nodeOf(o, delta))
		}
	}
	return v
}

func (r *run) term(n *node, i int, cl *class, x int, delta []uint8) float64 {
	v := r.local(n, i, cl, x, delta)
	w := len(n.children)
	for k, c := range n.children {
		if v == 0 {
			return 0
		}
		v *= r.eval(c, cl.child[x*w+k], delta)
	}
	return v
}

func (s *solver) nodeOf(o int, delta []uint8) int {
	if f := s.shared[o]; f >= 0 {
		return int(delta[f])
	}
	return 0
}

// offsetPrior is the prior of a joint choice of offsets.
func (s *solver) offsetPrior(delta []uint8) float64 {
	p := 1.0
	for _, f := range s.nodes[0].fams {
		p *= s.m.families[f].p[delta[f]]
	}
	return p
}

// root is the class of the shared scope: nothing lies above it.
func (s *solver) root() int32 { return 0 }

// value is prior times likelihood of a joint choice of offsets.
func (r *run) value(delta []uint8) float64 {
	p := r.s.offsetPrior(delta)
	if p == 0 {
		return 0
	}
	r.enter(delta)
	return p * r.eval(0, r.s.root(), delta)
}

// total sums over points.
func (r *run) total(points []point) float64 {
	sum := 0.0
	for _, p := range points {
		r.enter(p.delta)
		sum += p.prior * r.eval(0, r.s.root(), p.delta)
	}
	return sum
}
