package diagnosis

import (
	"cmp"
	"encoding/binary"
	"math"
	"slices"
)

// share is about the part of a cell's evidence that goes through a branch, with
// something added for a branch that has only been looked at.
func (b *branch) share(c *cell) float64 {
	switch {
	case b.given > 0:
		return b.given
	case c.stage < 2 || b.logZ == 0:
		return 1
	}
	return math.Min(1, math.Exp(b.logZ-c.logZ))
}

// open adds the faults of a scope with others below it. First each is judged by
// what the observations would say beside what is likeliest below (quick). One
// that changes next to nothing of what none is worth is counted with none, in
// that ratio; the others get a branch each, the most promising first.
func (t *net) open(c *cell, cav [][]float64, settle func(*branch)) {
	c.stage = 1
	n := c.n
	none := c.branches[0]
	settle(none)
	t.gather(c)
	k := t.newKnown(c)
	order := make([]int, len(n.kinds))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(k.est(b), k.est(a)) })
	light, missed, judged := 0.0, 0.0, 0.0
	for _, a := range order {
		e := k.est(a)
		with, ratio := none, e
		if k.best >= 0 && k.quick[a] > explains {
			with, ratio = k.branch[k.best], e/k.est(k.best)
		}
		// The further a fault is from what it is judged by, the less that says.
		slack := math.Abs(k.quick[a])
		if with != none {
			slack = math.Abs(k.quick[a] - k.quick[k.best])
		}
		slack = math.Exp(math.Min(slack, math.Log(branchSlack)))
		share := ratio * math.Exp(with.logZ-c.logZ) * c.weight
		if share*slack < ownShare {
			if share >= leastGhost {
				light += share
				with.ghosts = append(with.ghosts, ghost{int32(1 + a), ratio})
			}
			continue
		}
		b, v := t.try(c, int32(1+a), math.Min(1, share*slack/c.weight), settle)
		k.tried[a], k.value[a] = true, v
		if b != nil {
			k.branch[a] = b
			if slack < 2 && k.best != a {
				real := math.Exp(b.logZ-c.logZ) * c.weight
				missed += math.Abs(real - share)
				judged += math.Max(real, share)
			}
			if k.best < 0 || b.logZ > k.branch[k.best].logZ {
				k.best = a
			}
		}
	}
	// What was only judged is wrong by about as much as it was where it was summed
	// after all.
	t.s.loss += light * math.Max(leastMiss, missed/math.Max(judged, 1e-300))
	t.pairBranches(c, k, settle)
	t.gather(c)
	t.trimBranches(c)
	t.gather(c)
}

// try adds the branch of a row if it turns out to hold a share; value is the log of
// its evidence.
func (t *net) try(c *cell, r int32, given float64, settle func(*branch)) (b *branch, value float64) {
	b = t.newBranch(c, r, math.Max(lookShare, given))
	settle(b)
	if b.dead || (b.logZ-c.logZ) < math.Log(leastBranch/math.Max(c.weight, leastBranch)) {
		return nil, b.logZ
	}
	b.given = 0
	c.branches = append(c.branches, b)
	t.gather(c)
	return b, b.logZ
}

// trimBranches drops branches that hold next to nothing; none stays.
func (t *net) trimBranches(c *cell) {
	least := math.Log(leastBranch / math.Max(c.weight, leastBranch))
	kept := c.branches[:1]
	for _, b := range c.branches[1:] {
		if b.value(t, c)-c.logZ >= least {
			kept = append(kept, b)
		}
	}
	c.branches = kept
}

// known is what has been found of the kinds of a scope.
type known struct {
	n      *node
	below  *below
	quick  []float64 // log of the likelihood of each kind by quick, as a ratio to none
	branch []*branch // of a kind, if it has one
	tried  []bool
	value  []float64 // of one that was tried: log of its evidence
	most   float64
	best   int // the kind with the likeliest branch, -1 none
}

// est is the worth of a kind as a ratio to none.
func (k *known) est(a int) float64 { return k.n.kinds[a].sum * math.Exp(math.Min(300, k.quick[a])) }

func (t *net) newKnown(c *cell) *known {
	k := &known{n: c.n, quick: make([]float64, len(c.n.kinds)), branch: make([]*branch, len(c.n.kinds)),
		tried: make([]bool, len(c.n.kinds)), value: make([]float64, len(c.n.kinds)), best: -1, below: t.below(c)}
	for a := range k.quick {
		k.quick[a] = t.quick(k, c.n.kinds[a].sig)
		k.most = math.Max(k.most, k.quick[a])
	}
	return k
}

// pairBranches adds the pairs of faults. One whose kinds both change nothing to
// speak of is worth what they promise. Another is judged by quick beside its
// likelier part; it gets a branch when it holds a share, and else is counted with
// that part.
func (t *net) pairBranches(c *cell, k *known, settle func(*branch)) {
	if t.s.m.maxFaults < 2 {
		return
	}
	n := c.n
	none := c.branches[0]
	count := len(n.kinds)
	least := leastGhost / math.Max(c.weight, leastGhost)
	part := math.Exp(none.logZ - c.logZ)
	for a := range count {
		for b := a; b < count; b++ {
			w := n.net.pair[a*count+b]
			if w == 0 {
				continue
			}
			promise := math.Min(k.quick[a]+k.quick[b], k.most+math.Log(branchSlack))
			with, base := none, 0.0
			part := part
			if k.best >= 0 && promise > explains {
				with, base = k.branch[k.best], math.Log(k.est(k.best))
				part = math.Exp(with.logZ - c.logZ)
			}
			worth := math.Inf(-1)
			for _, x := range []int{a, b} {
				if k.tried[x] && k.value[x] > worth {
					worth = k.value[x]
					with, base = k.branch[x], math.Log(k.est(x))
					part = math.Exp(worth - c.logZ)
				}
			}
			ratio := w * math.Exp(math.Min(300, promise-base))
			if ratio*part < least {
				continue
			}
			if ratio*part > leastQuick/c.weight {
				sig := t.s.signature(n, []int32{int32(a), int32(b)})
				ratio = w * math.Exp(math.Min(300, t.quick(k, sig)-base))
				if ratio*part*c.weight > leastPairBranch {
					t.try(c, t.s.pairRow(n, a, b), math.Min(1, branchSlack*ratio*part), settle)
					continue
				}
			}
			if with != nil && ratio*part >= least {
				with.ghosts = append(with.ghosts, ghost{t.s.ghostRow(n, a, b), ratio})
			}
		}
	}
}

// alone is the log of the likelihood of all observations of an offset under given
// effects.
func (t *net) alone(f int, all []int32) float64 {
	key := t.key[:0]
	for _, o := range t.famObs[f] {
		key = binary.LittleEndian.AppendUint32(key, uint32(all[o]))
	}
	t.key = key
	if v, ok := t.lone[f][string(key)]; ok {
		return v
	}
	sum, scale := t.belief(f, all)
	v := math.Log(sumOf(sum)) + scale
	t.lone[f][string(key)] = v
	return v
}

// belief is prior times likelihood of every node of an offset under given effects,
// scaled; scale is the log of what it was divided by.
func (t *net) belief(f int, all []int32) (v []float64, scale float64) {
	size := len(t.s.m.families[f].nodes)
	v = t.room[:size]
	copy(v, t.s.m.families[f].p)
	for i, o := range t.famObs[f] {
		for k, l := range t.s.window(o, all[o], 0, size) {
			v[k] *= l
		}
		if i%8 == 7 {
			top := 0.0
			for _, x := range v {
				top = math.Max(top, x)
			}
			if top > 0 {
				for k := range v {
					v[k] /= top
				}
				scale += math.Log(top)
			}
		}
	}
	return v, scale
}

// settle sweeps a branch of the shared scope until it stands still.
func (t *net) settle(c *cell, b *branch, prior [][]float64, least, most int) {
	was := make([]float64, len(b.kids))
	for sweep := 1; sweep <= most && !b.dead && t.ctx.Err() == nil; sweep++ {
		for k, kid := range b.kids {
			was[k] = kid.logZ
		}
		t.sweepBranch(c, b, prior)
		moved := 0.0
		for k, kid := range b.kids {
			moved += math.Abs(kid.logZ - was[k])
		}
		if sweep >= least && moved < standStill {
			break
		}
	}
}

// solve does the sums.
func (t *net) solve() error {
	s := t.s
	c := t.newCell(0, nil, nil, 1)
	t.top = c
	t.prior = make([][]float64, len(c.n.fams))
	for j, f := range c.n.fams {
		t.prior[j] = s.m.families[f].p
	}
	if !c.n.net.inner {
		c.win = make([]span, len(t.prior))
		for j, p := range t.prior {
			c.win[j] = span{0, len(p)}
		}
		for range mostSweeps {
			t.sweep(c, t.prior)
		}
		return t.finish()
	}
	none := c.branches[0]
	t.settle(c, none, t.prior, 3, 3) // with none of the middle scopes at fault
	t.noteBelow(none)
	t.full = true
	t.open(c, t.prior, func(b *branch) { t.settle(c, b, t.prior, 4, mostSweeps) })
	c.stage = 2
	if err := t.ctx.Err(); err != nil {
		return err
	}
	return t.finish()
}

// noteBelow remembers what each fault of a lowest scope is worth beside none
// with nothing at fault above.
func (t *net) noteBelow(b *branch) {
	for _, c := range b.kids {
		if c.n.net.inner {
			for _, b := range c.branches[:1] {
				t.noteBelow(b)
			}
			continue
		}
		v := make([]float64, len(c.n.kinds))
		for i, a := range c.active {
			if k := int(c.form.rows[a]) - 1; k >= 0 && k < len(v) && c.tot[0] > 0 {
				v[k] = math.Min(1e6, c.tot[i]/c.tot[0])
			}
		}
		t.typical[c.i] = v
	}
}

// finish works out the posterior of every branch and passes over the tree once
// more to book what each scope and each observation met.
func (t *net) finish() error {
	c := t.top
	if c.n.net.inner {
		t.gather(c)
	}
	if math.IsInf(c.logZ, -1) || math.IsNaN(c.logZ) {
		return errImpossible
	}
	return t.ctx.Err()
}
