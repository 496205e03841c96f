package diagnosis

import (
	"context"
	"math"
	"runtime"
	"slices"
	"sync"
)

// posterior is the outcome of the sums.
type posterior struct {
	s   *solver
	run *run    // of a full sum, else nil
	net *net    // of one that is not, else nil
	z   float64 // scaled evidence, times e^lz
	lz  float64
	// row is the weight of each row of each class, by node.
	row [][][]float64
	// fault is P(component is faulty in atom) by component and atom.
	fault [][]float64
	// wrong is, by observation, the probability of each wrong-reading state.
	wrong [][]float64
	// offset is, by family that siblings share, the posterior of its nodes.
	offset [][]float64
}

// offsetMean is the mean of what is known of a shared offset, in dB.
func (p *posterior) offsetMean(f int) float64 {
	mean, sum := 0.0, 0.0
	for k, v := range p.offset[f] {
		mean += v * p.s.m.families[f].nodes[k]
		sum += v
	}
	return mean / sum
}

// solve runs the whole inference.
func solve(m *model) (*posterior, error) { return solveWithin(context.Background(), m) }

// solveWithin is solve that gives up when ctx ends.
func solveWithin(ctx context.Context, m *model) (*posterior, error) { return newSolver(m).solve(ctx) }

func (s *solver) solve(ctx context.Context) (*posterior, error) {
	p := &posterior{s: s}
	var d *descent
	if s.small() {
		if err := s.sumAll(ctx); err != nil {
			return nil, err
		}
		p.run = s.newRun()
		if d = p.run.descendAll(s.points); !(d.z > 0) {
			return nil, errImpossible
		}
	} else {
		p.net = s.newNet(ctx)
		if err := p.net.solve(); err != nil {
			return nil, err
		}
		d = p.net.collect()
		p.lz = p.net.top.logZ
	}
	p.z = d.z
	p.row = d.row
	p.offset = d.offset
	p.fault = s.faults(d)
	p.wrong = s.wrongStates(d)
	return p, ctx.Err()
}

// logEvidence is ln P(evidence) under the model as summed.
func (p *posterior) logEvidence() float64 {
	v := math.Log(p.z) + p.lz
	for _, t := range p.s.like {
		v -= math.Log(t.scale)
	}
	return v
}

// faulty is the probability that a component is faulty.
func (p *posterior) faulty(c int) float64 { return sumOf(p.fault[c]) }

func sumOf(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum
}

// descent is what one pass down the tree collects, unnormalised.
type descent struct {
	z    float64
	row  [][][]float64 // node, class, row of the class
	seen [][][]float64 // observation, effect number, offset node
	// offset is the weight of each node of each shared family.
	offset [][]float64
}

// descendAll passes the weight of every point down the tree, level by level,
// so that what is alike for a scope is passed on once.
func (r *run) descendAll(points []point) *descent {
	s := r.s
	d := &descent{row: make([][][]float64, len(s.nodes)), seen: make([][][]float64, len(s.m.obs)), offset: s.offsetShares()}
	// flow is the weight that reaches each class of each scope under each
	// choice of the subtree's offsets.
	flow := make([][][]float64, len(s.nodes))
	for i, n := range s.nodes {
		flow[i] = make([][]float64, len(n.classes))
		d.row[i] = make([][]float64, len(n.classes))
	}
	root := s.root()
	d.z = r.total(points)
	flow[0][root] = make([]float64, len(r.offsets[0].deltas))
	for _, p := range points {
		r.enter(p.delta)
		flow[0][root][r.sub[0]] += p.prior
	}
	for i, n := range s.nodes { // parents come before children
		for c := range flow[i] {
			for id, w := range flow[i][c] {
				if w > 0 {
					r.sub[i] = int32(id)
					for k, ch := range n.children {
						r.sub[ch] = r.offsets[i].below[id][k]
					}
					r.descend(d, flow, i, int32(c), w, r.offsets[i].deltas[id])
				}
			}
		}
	}
	return d
}

// descend spreads weight outer over the rows of class c of scope i.
func (r *run) descend(d *descent, flow [][][]float64, i int, c int32, outer float64, delta []uint8) {
	n := r.s.nodes[i]
	cl := n.classes[c]
	if d.row[i][c] == nil {
		d.row[i][c] = make([]float64, len(cl.rows))
	}
	w := len(n.children)
	var buf [32]float64
	sub := append(buf[:0], make([]float64, w)...)
	for x := range cl.rows {
		local := outer * r.local(n, i, cl, x, delta)
		if local == 0 {
			continue
		}
		all := local
		for k, ch := range n.children {
			sub[k] = r.eval(ch, cl.child[x*w+k], delta)
			all *= sub[k]
		}
		d.row[i][c][x] += all
		r.count(d, n, cl, x, all, delta)
		for k, ch := range n.children {
			others := local
			for j, v := range sub {
				if j != k {
					others *= v
				}
			}
			if others > 0 {
				to := &flow[ch][cl.child[x*w+k]]
				if *to == nil {
					*to = make([]float64, len(r.offsets[ch].deltas))
				}
				(*to)[r.sub[ch]] += others
			}
		}
	}
}

// count books weight to the table entries of the scope's own observations.
func (r *run) count(d *descent, n *node, cl *class, a int, weight float64, delta []uint8) {
	w := len(n.own)
	for k, o := range n.own {
		d.met(o, cl.ids[a*w+k], r.s.like[o].nodes)[r.s.nodeOf(o, delta)] += weight
	}
}

// faults turns row weights into posteriors of atoms. Within a row the prior
// shares stand, since nothing observed tells its fault sets apart.
func (s *solver) faults(d *descent) [][]float64 {
	out := make([][]float64, len(s.m.components))
	for c := range out {
		out[c] = make([]float64, len(s.m.components[c].atoms))
	}
	for i, n := range s.nodes {
		total := make([]float64, len(n.alive))
		for c, rows := range d.row[i] {
			for x, w := range rows {
				total[n.classes[c].rows[x]] += w / d.z
			}
		}
		for a, r := range n.alive {
			if total[a] > 0 {
				s.spread(n, &n.rows[r], total[a], out)
			}
		}
	}
	return out
}

// spread shares the posterior of a row among the atoms of its fault sets.
func (s *solver) spread(n *node, r *row, p float64, out [][]float64) {
	for _, f := range r.sets {
		set := &n.sets[f]
		share := p * set.w / r.w
		for k, kd := range set.kinds {
			s.spreadKind(n, set, k, &n.kinds[kd], share, out)
		}
	}
}

func (s *solver) spreadKind(n *node, set *faultSet, k int, kd *kind, share float64, out [][]float64) {
	if len(set.kinds) != 2 || s.m.maxFaults > 2 {
		for _, a := range kd.atoms {
			out[a.comp][a.atom] += share * a.odds / kd.sum
		}
		return
	}
	other := &n.kinds[set.kinds[1-k]]
	norm := 0.0
	for _, b := range kd.by {
		norm += b.odds * (other.sum - other.of(b.comp))
	}
	if norm <= 0 {
		return
	}
	for _, a := range kd.atoms {
		out[a.comp][a.atom] += share * a.odds * (other.sum - other.of(a.comp)) / norm
	}
}

// wrongStates is the posterior of each observation's states.
func (s *solver) wrongStates(d *descent) [][]float64 {
	out := make([][]float64, len(s.m.obs))
	for o, seen := range d.seen {
		out[o] = make([]float64, s.m.obs[o].states)
		for id, nodes := range seen {
			for node, w := range nodes {
				if w <= 1e-12*d.z {
					continue
				}
				x := s.states(o, int32(id), node)
				sum := sumOf(x)
				for k := range x {
					out[o][k] += w / d.z * x[k] / sum
				}
			}
		}
		if sum := sumOf(out[o]); sum > 0 {
			for k := range out[o] {
				out[o][k] /= sum
			}
		}
	}
	return out
}

// without is the posterior of every component's fault with each observation
// left out in turn: one entry per observation, then per component.
func (p *posterior) without() [][]float64 {
	s := p.s
	if p.net != nil {
		return p.net.without()
	}
	s.prepare()
	out := make([][]float64, len(s.m.obs))
	work := make(chan int)
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(out)) {
		wg.Go(func() {
			for o := range work {
				out[o] = p.leaveOut(o)
			}
		})
	}
	for o := range out {
		work <- o
	}
	close(work)
	wg.Wait()
	return out
}

func (p *posterior) leaveOut(o int) []float64 {
	s := p.s
	r := p.spare(o)
	out := make([]float64, len(s.m.components))
	if d := r.descendAll(s.points); d.z > 0 {
		for c, atoms := range s.faults(d) {
			out[c] = sumOf(atoms)
		}
	}
	return out
}

// spare is a run without observation o that starts from the finished run's
// sums of all subtrees that do not see it.
func (p *posterior) spare(o int) *run {
	r := p.run.fork()
	r.skip = o
	at := p.s.m.scopeOf(p.s.m.obs[o])
	for i := range r.memo {
		if !p.s.m.above(i, at) {
			r.memo[i] = forkMemo(p.run.memo[i])
		}
	}
	return r
}

// forkMemo copies sums, because the copy is written to while others go on.
func forkMemo(memo [][]float64) [][]float64 {
	out := make([][]float64, len(memo))
	for c, m := range memo {
		out[c] = slices.Clone(m)
	}
	return out
}

// prepare works out every table and class that a changed sum may need, so that
// several can run at once without writing to them.
func (s *solver) prepare() {
	for changed := true; changed; {
		changed = false
		for i, n := range s.nodes {
			for c := 0; c < len(n.classes); c++ {
				if !n.classes[c].built {
					s.build(i, n.classes[c])
					changed = true
				}
			}
		}
	}
	for o := range s.like {
		for id := range s.m.obs[o].space.lists {
			s.window(o, int32(id), 0, s.like[o].nodes)
		}
	}
}

// outside is the prior mass of fault sets that were not enumerated, plus what
// pruning is estimated to have lost.
func (s *solver) outside() float64 {
	inside := 1.0
	for _, n := range s.nodes {
		inside *= 1 - n.outA
	}
	return math.Min(1, 1-inside+s.loss)
}

// share is the part of the posterior that stays when the weight of every row is
// taken times its factor, by node and alive row.
func (p *posterior) share(factor [][]float64) float64 {
	s := p.s
	if p.net != nil {
		return p.net.share(factor, false)
	}
	r := p.run.fork()
	r.weights = make([][]float64, len(s.nodes))
	touched := make([]bool, len(s.nodes))
	for i := len(s.nodes) - 1; i >= 0; i-- {
		n := s.nodes[i]
		r.weights[i] = make([]float64, len(n.alive))
		for a, row := range n.alive {
			r.weights[i][a] = n.rows[row].w * factor[i][a]
			touched[i] = touched[i] || factor[i][a] < 1-1e-12
		}
		for _, c := range n.children {
			touched[i] = touched[i] || touched[c]
		}
		if !touched[i] {
			r.memo[i] = forkMemo(p.run.memo[i])
		}
	}
	return math.Min(1, r.total(s.points)/p.z)
}

// faultFree is the probability that no component that the evidence sees is
// faulty.
func (p *posterior) faultFree() float64 {
	factor := make([][]float64, len(p.s.nodes))
	for i, n := range p.s.nodes {
		factor[i] = make([]float64, len(n.alive))
		for a, rw := range n.alive {
			for _, f := range n.rows[rw].sets {
				if len(n.sets[f].kinds) == 0 {
					factor[i][a] = n.sets[f].w / n.rows[rw].w
				}
			}
		}
	}
	if p.net != nil {
		return p.net.share(factor, true)
	}
	return p.share(factor)
}
