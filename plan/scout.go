package plan

import (
	"cmp"
	"context"
	"encoding/binary"
	"math"
	"slices"
)

// scout looks ahead on sparse beliefs: masses of the states that are still possible,
// not normalised, so that costs come out times the probability of getting there. It
// has its own memory and serves one goroutine.
type scout struct {
	ctx   context.Context
	m     *Model
	o     Options
	crew  *crew
	among []int32
	dense []float64
	small float64 // cost that is not looked into
	rare  float64
	level []level // one for each step ahead, two for each look
	// known is what going straight to the repairs costs from situations that were met: an
	// outcome that is weighed is looked into afterwards. It holds for one tail and one part
	// at which a sequence is done; nil: nothing is kept.
	known map[string]straightOn
	key   []byte
	help  []float64 // what each repair cures, by number in Model.repairs
}

// belief is the mass of some states, in order of state.
type belief struct {
	ids []int32
	w   []float64
}

func (b belief) total() float64 { return sumOf(b.w) }

// level is the memory of one step ahead.
type level struct {
	forks []fork
	ids   []int32
	w     []float64
	tests []rated
}

// fork is an outcome that does not end the problem.
type fork struct {
	belief
	open uint64
	used used
}

// rated is an action with a figure to sort by.
type rated struct {
	action int32
	by     float64
}

func newScout(ctx context.Context, m *Model, o Options) *scout {
	return &scout{ctx: ctx, m: m, o: o, rare: rare, crew: newCrew(m, doneCompared), dense: make([]float64, m.n), help: make([]float64, len(m.repairs)), level: make([]level, 2*o.Depth+4)}
}

// smallShare is the share of the whole cost that is not looked into.
const smallShare = 0.02

// faint is the part of a belief below which a state is left out.
const faint = 1e-7

func sparse(b []float64) belief {
	var out belief
	for s, x := range b {
		if x > 0 {
			out.ids, out.w = append(out.ids, int32(s)), append(out.w, x)
		}
	}
	return out
}

// rest is the cost of going straight to the repairs, and the first of them. Where the
// goal is to identify the state it is a guess: the bits to be found at the best rate
// of bits per cost that any test offers now.
func (k *scout) rest(b belief, open uint64, u used) (float64, int32) {
	if k.m.p.Goal == Identify {
		return k.guess(b, open, u), None
	}
	if k.known == nil {
		k.crew.loadSparse(b)
		return k.crew.run(open, u)
	}
	key := k.keyOf(b, open, u)
	v, ok := k.known[string(key)]
	if !ok {
		k.crew.loadSparse(b)
		v.cost, v.first = k.crew.run(open, u)
		if len(k.known) < mostKnown {
			k.known[string(key)] = v
		}
	}
	return v.cost, v.first
}

// straightOn is what going straight to the repairs costs, and the first of them.
type straightOn struct {
	cost  float64
	first int32
}

// mostKnown bounds the memory of what was worked out.
const mostKnown = 30_000

// keyOf tells situations apart to the last bit. It lasts until the next call.
func (k *scout) keyOf(b belief, open uint64, u used) []byte {
	key := binary.LittleEndian.AppendUint64(k.key[:0], open)
	for _, x := range u[:k.m.onceWords] {
		key = binary.LittleEndian.AppendUint64(key, x)
	}
	for i, s := range b.ids {
		key = binary.LittleEndian.AppendUint32(key, uint32(s))
		key = binary.LittleEndian.AppendUint64(key, math.Float64bits(b.w[i]))
	}
	k.key = key
	return key
}

func (k *scout) guess(b belief, open uint64, u used) float64 {
	total := b.total()
	byClass := map[int]float64{}
	for i, s := range b.ids {
		byClass[k.m.class[s]] += b.w[i]
	}
	if total <= 0 || len(byClass) < 2 {
		return 0
	}
	clear(k.dense)
	for i, s := range b.ids {
		k.dense[s] = b.w[i] / total
	}
	h, rate := 0.0, 0.0
	for s := range k.m.n { // in order of state, so that sums are the same each time
		if v, ok := byClass[k.m.class[s]]; ok {
			h -= xlog2(v / total)
			delete(byClass, k.m.class[s])
		}
	}
	q := point{k.dense, open, u}
	for _, a := range k.m.tests {
		if f := &k.m.acts[a]; !u.has(f.once) && f.tells(k.dense) {
			rate = max(rate, k.m.bits(k.dense, f)/k.m.price(q, a))
		}
	}
	if rate <= 0 {
		return total * k.m.stuck
	}
	return total * h / rate
}

// split fills a level with the outcomes of an action that do not end the problem, and
// is its cost times the mass.
func (k *scout) split(lv *level, b belief, open uint64, u used, a int32) float64 {
	f := &k.m.acts[a]
	access, then := k.m.access(open, f.need, f.shut)
	total := b.total()
	cost := total * (access + f.cost)
	if f.costIn != nil {
		for i, s := range b.ids {
			cost += b.w[i] * f.costIn[s]
		}
	}
	lv.forks, lv.ids, lv.w = lv.forks[:0], lv.ids[:0], lv.w[:0]
	if f.moves {
		b = k.move(lv, b, f)
	}
	after := k.m.after(u, int(a))
	closing := k.m.reassembly(then)
	for o := range f.outcomes {
		if f.ends>>o&1 != 0 || f.renews {
			for i, s := range b.ids {
				if f.ends>>o&1 != 0 {
					cost += b.w[i] * f.chance(int(s), o) * (closing + k.m.endCost[s])
				}
			}
			continue
		}
		from := len(lv.ids)
		for i, s := range b.ids {
			if x := b.w[i] * f.chance(int(s), o); x > faint*total {
				lv.ids, lv.w = append(lv.ids, s), append(lv.w, x)
			}
		}
		if to := len(lv.ids); to > from {
			lv.forks = append(lv.forks, fork{belief{lv.ids[from:to:to], lv.w[from:to:to]}, then, after})
		}
	}
	return cost
}

// move is a belief after an action's moves, in the memory of a level.
func (k *scout) move(lv *level, b belief, f *act) belief {
	clear(k.dense)
	for i, s := range b.ids {
		k.dense[s] = b.w[i]
	}
	for _, mv := range f.from { // what arrives must not move again
		at, ok := slices.BinarySearch(b.ids, mv.state)
		if !ok {
			continue
		}
		x := b.w[at]
		k.dense[mv.state] -= x
		for _, t := range mv.to {
			k.dense[t.State] += x * t.P
		}
	}
	from := len(lv.ids)
	for s, x := range k.dense {
		if x > 1e-16 {
			lv.ids, lv.w = append(lv.ids, int32(s)), append(lv.w, x)
		}
	}
	return belief{lv.ids[from:], lv.w[from:]}
}

// rare is the part of the mass below which an outcome is taken to cost what the whole
// costs on average.
const rare = 0.003

// With at most so many states possible, nothing is rounded off to save time.
const fewStates = 16

// first is the cost of an action and the repairs after it, times the mass.
func (k *scout) first(at int, b belief, open uint64, u used, a int32, straight float64) float64 {
	lv := &k.level[at]
	cost := k.split(lv, b, open, u, a)
	total := b.total()
	for i := range lv.forks {
		f := &lv.forks[i]
		if p := f.total() / total; p < k.rare {
			cost += straight * p
			continue
		}
		v, _ := k.rest(f.belief, f.open, f.used)
		cost += v
	}
	return cost
}

// then is the cost of an action and the plan after it, times the mass.
func (k *scout) then(at int, b belief, open uint64, u used, a int32, depth int) float64 {
	lv := &k.level[at]
	cost := k.split(lv, b, open, u, a)
	for i := range lv.forks {
		f := lv.forks[i]
		cost += k.look(at+1, f.belief, f.open, f.used, depth)
	}
	return cost
}

// look is the cost of a plan that takes the best test wherever one lowers the cost of
// repairs, for some steps, and goes to the repairs then; never above that of repairs.
// What matters little to the whole is not looked into.
func (k *scout) look(at int, b belief, open uint64, u used, depth int) float64 {
	straight, repair := k.rest(b, open, u)
	if depth == 0 || straight <= k.small || k.ctx.Err() != nil || len(b.ids) < 2 {
		return straight
	}
	if k.o.Breadth == 1 {
		if t := k.screen(at, b, open, u, 1); len(t) > 0 {
			return min(straight, k.then(at, b, open, u, t[0].action, depth-1))
		}
		return straight
	}
	best, least := repair, straight
	for _, t := range k.screen(at, b, open, u, k.o.Breadth) {
		if v := k.first(at, b, open, u, t.action, straight); less(v, least) {
			best, least = t.action, v
		}
	}
	for _, t := range k.handy(at, b, open, u) {
		if v := k.first(at, b, open, u, t.action, straight); less(v, least) {
			best, least = t.action, v
		}
	}
	if best == None {
		return straight
	}
	return min(least, k.then(at, b, open, u, best, depth-1))
}

// mostHandy is how many repairs are weighed at a step of a plan beside the one that the
// block rule takes.
const mostHandy = 2

// handy are the repairs that cure most for their cost from here. The block rule does not
// see that to prove each one alone may mean to close and to open again what the next is
// behind.
func (k *scout) handy(at int, b belief, open uint64, u used) []rated {
	lv := &k.level[at]
	lv.tests = lv.tests[:0]
	m := k.m
	clear(k.help)
	for i, s := range b.ids {
		for _, h := range m.helps[m.helpsAt[s]:m.helpsAt[s+1]] {
			k.help[h.repair] += b.w[i] * h.share
		}
	}
	for r, gain := range k.help {
		a := m.repairs[r]
		f := &m.acts[a]
		if gain <= 0 || u.has(f.once) {
			continue
		}
		access, _ := m.access(open, f.need, f.shut)
		lv.keep(rated{a, gain / max(access+f.cost, 1e-9)}, mostHandy)
	}
	return lv.tests
}

// keep puts r in its place among the best of a level, ties behind; at most so many stay.
func (lv *level) keep(r rated, most int) {
	i := len(lv.tests)
	for i > 0 && r.by > lv.tests[i-1].by {
		i--
	}
	if i >= most {
		return
	}
	if len(lv.tests) == most {
		lv.tests = lv.tests[:most-1]
	}
	lv.tests = slices.Insert(lv.tests, i, r)
}

// screen are some tests with the most bits per cost.
func (k *scout) screen(at int, b belief, open uint64, u used, most int) []rated {
	lv := &k.level[at]
	lv.tests = lv.tests[:0]
	total := b.total()
	for _, a := range k.among {
		f := &k.m.acts[a]
		if f.moves || f.like == nil || f.sure || f.renews || u.has(f.once) {
			continue
		}
		bits := k.bits(b, f, total)
		if bits <= 1e-9 {
			continue
		}
		access, _ := k.m.access(open, f.need, f.shut)
		lv.keep(rated{a, bits / max(access+f.cost, 1e-9)}, most)
	}
	return lv.tests
}

// bits is about the information of a test: the Gini gain, which needs no logarithm and
// puts tests in nearly the same order.
func (k *scout) bits(b belief, f *act, total float64) float64 {
	gain := 0.0
	for o := range f.outcomes {
		p, q := 0.0, 0.0
		for i, s := range b.ids {
			x := b.w[i] * f.like[int(s)*f.outcomes+o]
			p += x
			q += x * x
		}
		if p > 0 {
			gain += q / p
		}
	}
	for _, x := range b.w {
		gain -= x * x / total
	}
	return gain / total
}

// judge is the cost of each action, the best ones looked into. Of many tests, those
// with the most bits per cost are judged, of many repairs those with the most gain.
func (k *scout) judge(b belief, q point, among []int32, straight float64) ([]Step, error) {
	k.among = among
	if !math.IsInf(straight, 1) {
		k.crew.tail = straight
		k.small = smallShare * straight
	}
	if len(b.ids) <= fewStates {
		k.crew.done, k.rare, k.small = 1e-6, 0, k.small/10
	}
	k.known = map[string]straightOn{}
	var steps []Step
	for _, a := range k.worthwhile(b, q) {
		steps = append(steps, Step{Action: int(a)})
	}
	team := k.team(len(steps))
	team.each(len(steps), func(k *scout, i int) {
		steps[i].Q = k.first(0, b, q.open, q.used, int32(steps[i].Action), straight)
	})
	if err := k.ctx.Err(); err != nil {
		return nil, err
	}
	byCost := func(a, b Step) int { return cmp.Compare(a.Q, b.Q) }
	slices.SortStableFunc(steps, byCost)
	if k.o.Fast {
		return steps, nil
	}
	// All that may be best a little way, the best of these all the way. What is followed
	// later in a plan for its bits may be best at once.
	for i, t := range k.screen(0, b, q.open, q.used, k.o.Rollouts/2) {
		at := slices.IndexFunc(steps, func(s Step) bool { return int32(s.Action) == t.action })
		if at > i {
			st := steps[at]
			steps = slices.Insert(slices.Delete(steps, at, at+1), i, st)
		}
	}
	for _, round := range []struct{ n, depth int }{{k.o.Rollouts + k.o.Rollouts/2, 1}, {(k.o.Rollouts + 2) / 3, k.o.Depth}} {
		team.each(min(round.n, len(steps)), func(k *scout, i int) {
			st := &steps[i]
			st.Q = min(st.Q, k.then(0, b, q.open, q.used, int32(st.Action), round.depth))
			st.Looked = true
		})
		slices.SortStableFunc(steps, byCost)
	}
	return steps, k.ctx.Err()
}

// worthwhile are the actions to be judged.
func (k *scout) worthwhile(b belief, q point) []int32 {
	var out []int32
	for _, t := range k.screen(0, b, q.open, q.used, k.o.Tests) {
		out = append(out, t.action)
	}
	k.crew.loadSparse(b)
	gains := k.crew.gains(q)
	for _, a := range k.among {
		f := &k.m.acts[a]
		switch {
		case !k.m.changes(q, a) || slices.Contains(out, a):
		case !f.moves && f.ends == 0 && !f.renews:
		case f.moves && !f.sure && !f.renews && !slices.Contains(gains[:min(len(gains), k.o.Tests/2)], a):
		default:
			out = append(out, a)
		}
	}
	slices.Sort(out)
	return out
}
