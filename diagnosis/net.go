package diagnosis

import (
	"context"
	"math"
)

// A net is the sums of a problem that is too large to be summed over all joint
// offsets. Given the faults of the scopes above, the scopes below hold together
// only by the offsets that their observations share. So the faults of the shared
// scope and under each of those the faults of each group are gone through one by
// one (branches), and what the scopes below say of each offset is passed between
// them as messages on the offset's grid (belief propagation). Within a scope
// the sum over fault sets is exact. The messages treat offsets as independent
// given the faults above, but for what each scope itself ties together: exact
// when siblings share one offset, and close when each offset is held by several
// siblings, since what one scope says of two offsets hardly moves both.
type net struct {
	s     *solver
	ctx   context.Context
	top   *cell
	prior [][]float64 // of the offsets at the top

	famObs [][]int // per family: its observations
	// lone is, by family, what alone said for the effects at its observations.
	lone []map[string]float64
	key  []byte // scratch
	// skip is an observation left out, -1 none.
	skip int
	// only holds factors on the rows' weights, by node and row; nil: none.
	only [][]float64
	// plain leaves the pairs out that were counted with their parts.
	plain bool
	// typical is, by lowest scope, the ratio of each kind of fault to none, where
	// nothing above is at fault.
	typical [][]float64
	all, on []int32 // scratch
	touched []bool
	room    []float64
	full    bool // middle scopes may have faults, too
	book    *descent
}

// netNode is what a net needs of a scope, the same under all faults above.
type netNode struct {
	plain          []int    // places in own of observations without a shared offset
	slots          []slot   // the others by offset
	users          [][]user // per offset of the subtree: the children that it reaches
	famAt          [][]int  // child, offset of the child: place in fams here
	turn           [][]int  // child, offset of the child: place of the child among users
	pair           []float64
	rowOf, ghostOf map[[2]int32]int32
	inner          bool // has children
	// scratch for one branch at a time
	ahead, mine [][]float64
	cav         [][]float64
	place       map[int]int // of a shared offset in fams
	forms       map[string]*form
}

// slot is the observations of one scope with one shared offset.
type slot struct {
	fam int   // place in fams
	obs []int // places in own
	// form is whose effects are found fast at present.
	form  *form
	turn  int32
	found []found // by effect number
}

type user struct{ child, fam int }

// span is a range of grid nodes.
type span struct{ lo, hi int }

// branch is one fault set of a scope that has others below it.
type branch struct {
	row  int32
	w    float64 // prior weight
	all  []int32 // per observation: the effect of the faults fixed so far
	win  []span  // per offset: the nodes that may count
	own  [][]float64
	lw   float64 // log of weight times the own observations without offset
	rest float64 // factor for what is counted with this branch
	// given is its share of the cell as guessed beforehand, 0: none was.
	given  float64
	ghosts []ghost // counted with it
	kids   []*cell
	logZ   float64
	post   float64
	rho    float64 // factor without the observation last left out
	norm   []float64
	says   [][]float64 // per offset: its posterior under this branch
	prod   [][]float64 // per offset: all that is said of it from here down
	dead   bool
}

// cell is a scope under fixed faults above.
type cell struct {
	i      int
	n      *node
	all    []int32 // as of the branch above
	win    []span  // per offset, for a lowest scope
	out    [][]float64
	logZ   float64
	weight float64 // about its share of the posterior
	age    int

	branches []*branch
	stage    int     // of looking for branches
	post     float64 // posterior of the faults above
	class    int32

	leaf
}

// Shares of the posterior under which something is left out or counted with
// something else, and how the sums go on until they stand still.
const (
	leastBranch     = 1e-6 // a fault set of a scope with others below
	leastRow        = 1e-7 // of a lowest scope
	leastPair       = 1e-5 // two faults of a lowest scope; lighter ones are counted with their parts
	leastKind       = 1e-6 // a fault of a lowest scope under rare faults above
	leastTypical    = 1e-2 // of none: a fault worth more is tried under every fault above
	leastGhost      = 1e-7 // counted with something else
	leastQuick      = 1e-5 // two faults of a scope with others below, to be looked at
	leastPairBranch = 1e-3 // and to be summed by themselves
	ownShare        = 1e-3 // a fault set of a scope with others below that gets sums of its own
	explains        = 2    // log of the likelihood ratio of a fault that something speaks for
	helps           = 8    // likelihood ratio of a fault that explains something
	mostTogether    = 1e6  // times what they promise one by one: two that each explain something
	lookShare       = 1e-3
	leastMiss       = 0.05 // by how much a share that is only judged is wrong at least
	lossFloor       = 4e-3 // of any net: offsets that several scopes tie together are treated as independent
	branchSlack     = 30   // how far faults may exceed what they promise
	edgeShare       = 1e-10
	standStill      = 1e-5
	mostSweeps      = 12
)

func (s *solver) newNet(ctx context.Context) *net {
	s.loss = lossFloor
	t := &net{s: s, ctx: ctx, skip: -1, famObs: make([][]int, len(s.m.families)), typical: make([][]float64, len(s.nodes)),
		all: make([]int32, len(s.m.obs)), touched: make([]bool, len(s.m.families))}
	for _, f := range s.m.families {
		t.lone = append(t.lone, map[string]float64{})
		t.room = append(t.room, make([]float64, max(0, len(f.nodes)-len(t.room)))...)
	}
	for o, f := range s.shared {
		if f >= 0 {
			t.famObs[f] = append(t.famObs[f], o)
		}
	}
	for _, n := range s.nodes {
		s.netNode(n)
	}
	return t
}

// factor is on the weight of a row while something is left out.
func (t *net) factor(i int, row int32) float64 {
	if t.only == nil || t.only[i] == nil {
		return 1
	}
	return t.only[i][row]
}

// factorWith is the factor on row and the ghosts that the first row carries.
func (t *net) factorWith(i int, row int32, place int, ghosts []ghost) float64 {
	v := t.factor(i, row)
	if place > 0 || len(ghosts) == 0 {
		return v
	}
	sum := 1.0
	for _, g := range ghosts {
		v += g.ratio * t.factor(i, g.row)
		sum += g.ratio
	}
	return v / sum
}

// newCell is a scope under the faults of a branch, with no fault of its own yet.
func (t *net) newCell(i int, br *branch, win []span, weight float64) *cell {
	n := t.s.nodes[i]
	c := &cell{i: i, n: n, win: win, weight: weight}
	if br != nil {
		c.all = br.all
	} else {
		c.all = make([]int32, len(t.s.m.obs))
	}
	c.out = t.s.gridOf(n)
	for _, m := range c.out {
		for k := range m {
			m[k] = 1
		}
	}
	if n.net.inner {
		c.branches = []*branch{t.newBranch(c, 0, 1)}
	} else {
		t.newLeaf(c)
	}
	return c
}

// newBranch fixes a fault set of a cell's scope, which about the given share of
// the cell's evidence is expected to come from.
func (t *net) newBranch(c *cell, r int32, given float64) *branch {
	s, n := t.s, c.n
	b := &branch{row: r, w: n.rows[r].w, rest: 1, given: given}
	b.all = c.all
	if r > 0 {
		sig := s.sigOf(n, r)
		b.all = append([]int32(nil), c.all...)
		for k, o := range n.sub {
			if id := sig[k]; id != 0 {
				b.all[o] = s.m.obs[o].space.merge(b.all[o], id)
			}
		}
	}
	b.lw = math.Log(b.w)
	for _, k := range n.net.plain {
		o := n.own[k]
		b.lw += math.Log(s.likelihood(o, b.all[o], 0))
	}
	if math.IsInf(b.lw, -1) {
		b.dead = true
		b.logZ = b.lw
		return b
	}
	t.windows(c, b)
	b.prod = s.gridOf(n)
	b.norm = make([]float64, len(n.fams))
	b.own = make([][]float64, len(n.fams))
	for _, sl := range n.net.slots {
		b.own[sl.fam] = t.ownMessage(c, b, sl)
	}
	for _, ch := range n.children {
		below := s.nodes[ch]
		win := make([]span, len(below.fams))
		for q, j := range n.net.famAt[len(b.kids)] {
			win[q] = b.win[j]
		}
		b.kids = append(b.kids, t.newCell(ch, b, win, c.weight*given))
	}
	return b
}

// ownMessage is what the scope's own observations say of one offset.
func (t *net) ownMessage(c *cell, b *branch, sl slot) []float64 {
	s, n := t.s, c.n
	w := b.win[sl.fam]
	out := make([]float64, len(s.m.families[n.fams[sl.fam]].nodes))
	for k := w.lo; k < w.hi; k++ {
		out[k] = 1
	}
	for _, k := range sl.obs {
		o := n.own[k]
		if o == t.skip {
			continue
		}
		for k, v := range s.window(o, b.all[o], w.lo, w.hi) {
			out[w.lo+k] *= v
		}
	}
	return out
}

// windows finds the nodes of each offset that may count under a branch: those
// where its prior times what all its observations say of sound scopes below is
// not negligible. As every observation may be wrong, that holds a place for
// each offset that some of the siblings agree upon. Where no lowest scope shares
// an offset directly, all nodes are kept.
func (t *net) windows(c *cell, b *branch) {
	s, n := t.s, c.n
	b.win = make([]span, len(n.fams))
	for j, f := range n.fams {
		size := len(s.m.families[f].nodes)
		b.win[j] = span{0, size}
		direct := false
		for _, u := range n.net.users[j] {
			direct = direct || !s.nodes[n.children[u.child]].net.inner
		}
		if !direct {
			continue
		}
		v, _ := t.belief(f, b.all)
		top := 0.0
		for _, x := range v {
			top = math.Max(top, x)
		}
		w := span{size, 0}
		for k, x := range v {
			if x >= edgeShare*top {
				w.lo, w.hi = min(w.lo, k), k+1
			}
		}
		if w.lo < w.hi {
			b.win[j] = w
		}
	}
}

// sweep renews what a cell says of its offsets, given for each the normalised
// rest of what is known of it.
func (t *net) sweep(c *cell, cav [][]float64) {
	c.age++
	if !c.n.net.inner {
		t.sweepLeaf(c, cav)
		return
	}
	if t.book != nil {
		t.bookCell(c, cav)
		t.gather(c)
		return
	}
	if c.stage == 0 && t.full {
		t.open(c, cav, func(b *branch) {
			t.sweepBranch(c, b, cav)
			t.sweepBranch(c, b, cav)
		})
		c.stage = 2
		return
	}
	for _, b := range c.branches {
		t.sweepBranch(c, b, cav)
	}
	t.gather(c)
}

// gather sums a cell's branches: its evidence and its messages.
func (t *net) gather(c *cell) {
	best := math.Inf(-1)
	for _, b := range c.branches {
		best = math.Max(best, b.value(t, c))
	}
	sum := 0.0
	for _, m := range c.out {
		clear(m)
	}
	if math.IsInf(best, -1) {
		c.logZ = best
		return
	}
	for _, b := range c.branches {
		sum += math.Exp(b.value(t, c) - best)
	}
	c.logZ = best + math.Log(sum)
	for _, b := range c.branches {
		v := math.Exp(b.value(t, c) - c.logZ)
		if v == 0 {
			continue
		}
		for j, m := range c.out {
			x := v / b.norm[j]
			w := b.win[j]
			for k := w.lo; k < w.hi; k++ {
				m[k] += x * b.prod[j][k]
			}
		}
	}
}

// value is the log of a branch's part of the evidence.
func (b *branch) value(t *net, c *cell) float64 {
	if b.dead {
		return math.Inf(-1)
	}
	v := b.logZ
	if t.only != nil {
		v += math.Log(t.factorWith(c.i, b.row, 0, b.ghosts))
	}
	if !t.plain {
		v += math.Log(b.rest * (1 + sumGhosts(b.ghosts)))
	}
	return v
}

// sweepBranch renews the scopes below a branch one after the other.
func (t *net) sweepBranch(c *cell, b *branch, cav [][]float64) {
	if b.dead {
		return
	}
	if t.only != nil && t.factorWith(c.i, b.row, 0, b.ghosts) == 0 {
		b.logZ = math.Inf(-1)
		return
	}
	n := c.n
	x := &n.net
	// ahead is what is known without the scopes that are still to be renewed,
	// back[u] what those after user u said last; both per offset.
	backs := make([][][]float64, len(n.fams))
	for j := range n.fams {
		w := b.win[j]
		ahead, mine := x.ahead[j], x.mine[j]
		for k := w.lo; k < w.hi; k++ {
			ahead[k], mine[k] = cav[j][k], 1
			if b.own[j] != nil {
				ahead[k] *= b.own[j][k]
				mine[k] = b.own[j][k]
			}
		}
		backs[j] = t.backwards(b, x.users[j], w, len(ahead))
	}
	logZ := b.lw
	weight := c.weight * b.share(c)
	for k, kid := range b.kids {
		to := make([][]float64, len(kid.n.fams))
		ok := true
		for q, j := range x.famAt[k] {
			w := b.win[j]
			back := backs[j][x.turn[k][q]]
			cv := x.cav[j]
			sum := 0.0
			for i := w.lo; i < w.hi; i++ {
				v := x.ahead[j][i] * back[i]
				cv[i] = v
				sum += v
			}
			if !(sum > 0) {
				ok = false
				break
			}
			for i := w.lo; i < w.hi; i++ {
				cv[i] /= sum
			}
			to[q] = cv
		}
		if !ok {
			b.logZ = math.Inf(-1)
			b.dead = true
			return
		}
		kid.weight = weight
		if t.book != nil {
			kid.post = b.post
		}
		t.sweep(kid, to)
		logZ += kid.logZ
		for q, j := range x.famAt[k] {
			w := b.win[j]
			m := kid.out[q]
			for i := w.lo; i < w.hi; i++ {
				x.ahead[j][i] *= m[i]
				x.mine[j][i] *= m[i]
			}
		}
	}
	for j := range n.fams {
		w := b.win[j]
		sum := 0.0
		for i := w.lo; i < w.hi; i++ {
			sum += x.ahead[j][i]
		}
		b.norm[j] = sum
		logZ += math.Log(sum)
		copy(b.prod[j][w.lo:w.hi], x.mine[j][w.lo:w.hi])
	}
	b.logZ = logZ
	if t.book != nil {
		t.bookBranch(c, b)
	}
	if math.IsNaN(logZ) || math.IsInf(logZ, -1) {
		b.logZ, b.dead = math.Inf(-1), true
	}
}

// backwards is, for each user of an offset, the product of what the users after
// it said last.
func (t *net) backwards(b *branch, users []user, w span, size int) [][]float64 {
	out := make([][]float64, len(users))
	all := make([]float64, size*len(users))
	for u := len(users) - 1; u >= 0; u-- {
		out[u], all = all[:size:size], all[size:]
		if u == len(users)-1 {
			for k := w.lo; k < w.hi; k++ {
				out[u][k] = 1
			}
			continue
		}
		next := users[u+1]
		m := b.kids[next.child].out[next.fam]
		for k := w.lo; k < w.hi; k++ {
			out[u][k] = out[u+1][k] * m[k]
		}
	}
	return out
}
