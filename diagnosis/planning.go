package diagnosis

import (
	"cmp"
	"math"
	"slices"

	"headstack/machine"
	"headstack/plan"
)

// What planning assumes (estimates, common practice, no source).
const (
	// returnMinutes is what it costs when a recorder is handed over with a fault in it:
	// it comes back, is taken in again, opened, mended and proved again, and the owner
	// waits.
	returnMinutes = 800
	cleanMinutes  = 5 // of one place, once it is reached
	pressMinutes  = 1 // more, to press and flex while a function is tried
	againMinutes  = 0.5
	stuckMinutes  = 600
)

const (
	maxStates  = 48
	leastState = 3e-4 // share of an explanation under which it is not planned for
)

// planning turns a posterior into a problem of the planner: the explanations are its
// states, what can be done are its actions, the openings are its covers.
type planning struct {
	e   *Engine
	p   *problem
	a   *accusation
	now Situation

	covers  []cover
	coverAt map[string]int

	states []planState // the first is the sound one
	stepOf []candidate // of each action
	share  map[cause][]atomShare
}

// planState is a set of components that are at fault, with the modes that they may
// be in.
type planState struct {
	comps  []int // ascending
	p      float64
	combos []partial
}

// atomShare is one bin of a fault mode with its share of it.
type atomShare struct {
	atom int
	p    float64
}

// candidate is an action with what it takes to describe it.
type candidate struct {
	step    Step
	outcome func(k int) string // names the outcomes; nil: nothing to foresee
	path    []machine.Instance
	powered bool
	reader  *reader
}

// plannings parts what is to be found into questions that have nothing to do with each
// other, the dull track 5 and the noisy track 3, and gathers the states of each. The first
// has no states but the sound one where nothing is accused.
func (e *Engine) plannings(p *problem, post *posterior, a *accusation, now Situation) []*planning {
	list := a.propose()
	var out []*planning
	for _, comps := range questions(list) {
		g := &planning{e: e, p: p, a: a, now: now, coverAt: map[string]int{}, share: map[cause][]atomShare{}}
		g.findStates(post, list, comps)
		out = append(out, g)
	}
	return out
}

// togetherBy is the factor by which a fault must change the chance that something of a
// question is at fault, or that nothing is, before it belongs to the question.
const togetherBy = 1.5

// questions parts the components of explanations: those that speak for or against each
// other belong together. Each is in ascending order; there is at least one, maybe empty.
//
// The list leaves unlikely explanations out, so a fault that is rare appears only beside
// the likeliest of all others. Whether it belongs to a question is therefore asked of
// the question as a whole: does the fault explain what it explains, or does something of
// it remain to be found just as before?
func questions(list list) [][]int {
	total := 0.0
	p := map[int]float64{}
	sets := make([][]int, len(list))
	for i, x := range list {
		total += x.p
		sets[i] = compsOf(x.causes)
		for _, c := range sets[i] {
			p[c] += x.p
		}
	}
	var all []int
	for c := range p {
		all = append(all, c)
	}
	slices.SortFunc(all, func(c, d int) int { return cmp.Or(cmp.Compare(p[d], p[c]), cmp.Compare(c, d)) })
	var out [][]int
	for _, c := range all {
		joined := []int{c}
		rest := out[:0:0]
		for _, q := range out {
			if belongs(list, sets, total, q, c) {
				joined = append(joined, q...)
			} else {
				rest = append(rest, q)
			}
		}
		out = append(rest, joined)
	}
	for _, q := range out {
		slices.Sort(q)
	}
	slices.SortFunc(out, slices.Compare)
	if len(out) == 0 {
		return [][]int{nil}
	}
	return out
}

// belongs says whether component c bears on a question.
func belongs(list list, sets [][]int, total float64, q []int, c int) bool {
	some, with, someWith := 0.0, 0.0, 0.0
	for i, x := range list {
		hit := slices.ContainsFunc(sets[i], func(d int) bool { return slices.Contains(q, d) })
		here := slices.Contains(sets[i], c)
		if hit {
			some += x.p
		}
		if here {
			with += x.p
		}
		if hit && here {
			someWith += x.p
		}
	}
	before, after := some/total, someWith/with
	if after > togetherBy*before+1e-6 || before > togetherBy*after+1e-6 {
		return true
	}
	return 1-after > togetherBy*(1-before) && before-after > 0.02
}

// findStates takes the likeliest explanations, as far as they are about some components,
// and everything that is left of them when one fault after the other is cured.
func (g *planning) findStates(post *posterior, list list, about []int) {
	at := map[string]int{"": 0}
	g.states = []planState{{}}
	add := func(comps []int) *planState {
		key := compKeyOf(comps)
		i, ok := at[key]
		if !ok {
			i = len(g.states)
			at[key] = i
			g.states = append(g.states, planState{comps: slices.Clone(comps)})
		}
		return &g.states[i]
	}
	total := 0.0
	for _, x := range list {
		total += x.p
	}
	for _, x := range list {
		comps := slices.DeleteFunc(compsOf(x.causes), func(c int) bool { return !slices.Contains(about, c) })
		if x.p < leastState*total || len(g.states) >= maxStates && at[compKeyOf(comps)] == 0 && len(comps) > 0 {
			continue
		}
		s := add(comps)
		s.p += x.p
		s.combos = append(s.combos, x)
	}
	for i := 0; i < len(g.states); i++ {
		for k := range g.states[i].comps {
			less := slices.Delete(slices.Clone(g.states[i].comps), k, k+1)
			// What is left looks as the whole does without the fault that was cured.
			if s := add(less); len(s.combos) == 0 {
				for _, x := range g.states[i].combos {
					s.combos = append(s.combos, partial{slices.DeleteFunc(slices.Clone(x.causes), func(c cause) bool { return c.comp == g.states[i].comps[k] }), x.p})
				}
			}
		}
	}
	g.states[0].p = math.Min(g.states[0].p, g.mostSound(post, about)*total)
	sum := 0.0
	for i := range g.states {
		sum += g.states[i].p
	}
	for i := range g.states {
		s := &g.states[i]
		s.p /= sum
		within := 0.0
		for _, x := range s.combos {
			within += x.p
		}
		for k := range s.combos {
			s.combos[k].p /= within
		}
	}
	g.findShares(post)
}

// mostSound bounds the probability that nothing of a question is at fault. Explanations
// without an accused stage are not all of a sound recorder: in most of them a stage that
// little speaks for is at fault. But a recorder is sound only if all is on the way of a
// function that failed, or what is not belongs to another question. Of the functions that
// failed the one with the shortest way says most.
func (g *planning) mostSound(post *posterior, about []int) float64 {
	p := g.p
	var way []int
	for o, n := range p.notes {
		path := p.model.obs[o].path
		if n.check == nil || n.check.Outcome == Works || way != nil && len(path) >= len(way) ||
			!slices.ContainsFunc(path, func(c int) bool { return slices.Contains(about, c) }) {
			continue
		}
		way = path
	}
	if way == nil {
		return 1
	}
	bound := g.a.sound(way)
	for _, c := range way {
		if g.a.in[c] && !slices.Contains(about, c) {
			bound += p.now(post, c)
		}
	}
	return bound
}

// sound is the probability that none of some components is faulty as things stand.
func (a *accusation) sound(comps []int) float64 {
	all := &accusation{p: a.p, post: a.post, in: map[int]bool{}, is: make([]bool, len(a.is)), part: make([][][]partial, len(a.post.s.nodes))}
	for _, c := range comps {
		all.in[c], all.is[c] = true, true
	}
	for i, n := range a.post.s.nodes {
		all.part[i] = make([][]partial, len(n.alive))
	}
	return all.probability(func(_ int, causes []cause) bool { return len(causes) == 0 })
}

// findShares spreads each fault mode over its bins by the posterior.
func (g *planning) findShares(post *posterior) {
	for i := range g.states {
		for _, x := range g.states[i].combos {
			for _, c := range x.causes {
				if g.share[c] != nil {
					continue
				}
				sum := 0.0
				var list []atomShare
				for k, at := range g.p.model.components[c.comp].atoms {
					if at.mode == c.mode && at.effect.until == 0 {
						f := post.fault[c.comp][k]
						list = append(list, atomShare{k, f})
						sum += f
					}
				}
				for k := range list {
					if sum > 0 {
						list[k].p /= sum
					} else {
						list[k].p = 1 / float64(len(list))
					}
				}
				list = slices.DeleteFunc(list, func(x atomShare) bool { return x.p < 0.02 })
				norm := 0.0
				for _, x := range list {
					norm += x.p
				}
				for k := range list {
					list[k].p /= norm
				}
				g.share[c] = list
			}
		}
	}
}

func compsOf(causes []cause) []int {
	var out []int
	for _, c := range causes {
		out = append(out, c.comp)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func compKeyOf(comps []int) string {
	ids := make([]int32, len(comps))
	for i, c := range comps {
		ids[i] = int32(c)
	}
	return idKey(ids)
}

// chance is, for each state, the chance of each outcome of an observation along path.
func (g *planning) chance(path []machine.Instance, at look, project func(effect) effect, outcomes int, like func(arrive []total, out []float64)) [][]float64 {
	sp := newSpace(project)
	sp.look = at
	pos := map[int]int{}
	g.p.look = at
	for k, in := range path {
		if c, ok := g.p.comp[g.p.placed(in)]; ok {
			pos[c] = k
		}
	}
	byID := map[int32][]float64{}
	probs := func(id int32) []float64 {
		v, ok := byID[id]
		if !ok {
			v = make([]float64, outcomes)
			like(sp.totals(id), v)
			sum := sumOf(v)
			for k := range v {
				v[k] /= sum
			}
			byID[id] = v
		}
		return v
	}
	single := map[[2]int]int32{}
	effectOf := func(c, atom int) int32 {
		key := [2]int{c, atom}
		id, ok := single[key]
		if !ok {
			id = sp.single(pos[c], g.p.model.components[c].atoms[atom].effect)
			single[key] = id
		}
		return id
	}
	memo := map[string][]float64{}
	ofCombo := func(causes []cause) []float64 {
		var on []cause
		for _, c := range causes {
			if _, ok := pos[c.comp]; ok {
				on = append(on, c)
			}
		}
		key := causeKey(on)
		if v, ok := memo[key]; ok {
			return v
		}
		out := make([]float64, outcomes)
		var walk func(k int, id int32, p float64)
		walk = func(k int, id int32, p float64) {
			if k == len(on) {
				for i, x := range probs(id) {
					out[i] += p * x
				}
				return
			}
			for _, s := range g.share[on[k]] {
				walk(k+1, sp.merge(id, effectOf(on[k].comp, s.atom)), p*s.p)
			}
		}
		walk(0, 0, 1)
		memo[key] = out
		return out
	}
	table := make([][]float64, len(g.states))
	for i := range g.states {
		row := make([]float64, outcomes)
		if len(g.states[i].combos) == 0 {
			copy(row, ofCombo(nil))
		}
		for _, x := range g.states[i].combos {
			for k, v := range ofCombo(x.causes) {
				row[k] += x.p * v
			}
		}
		table[i] = row
	}
	return table
}

// leastBits is the information about the states below which a test is not thought of.
const leastBits = 0.05

// telling says whether a test tells the states apart.
func (g *planning) telling(table [][]float64) bool {
	bits := 0.0
	for k := range table[0] {
		mean := 0.0
		for i, row := range table {
			mean += g.states[i].p * row[k]
		}
		for i, row := range table {
			if row[k] > 0 && g.states[i].p > 0 {
				bits += g.states[i].p * row[k] * math.Log2(row[k]/mean)
			}
		}
	}
	return bits >= leastBits
}

// moves are the transitions of a work on component c with a chance of success that
// depends on the fault modes.
func (g *planning) moves(c int, success func(m *machine.FaultMode) float64) (to [][]plan.Move, useful bool) {
	to = make([][]plan.Move, len(g.states))
	for i := range g.states {
		s := &g.states[i]
		k := slices.Index(s.comps, c)
		if k < 0 {
			continue
		}
		p := 0.0
		for _, x := range s.combos {
			for _, u := range x.causes {
				if u.comp == c {
					p += x.p * success(g.p.mode(u))
				}
			}
		}
		p = min(1, p)
		if p < 0.02 {
			continue
		}
		useful = true
		less := compKeyOf(slices.Delete(slices.Clone(s.comps), k, k+1))
		j := slices.IndexFunc(g.states, func(x planState) bool { return compKeyOf(x.comps) == less })
		to[i] = []plan.Move{{State: j, P: p}, {State: i, P: 1 - p}}
	}
	return to, useful
}

// suspects are the components that some state holds, most probable first.
func (g *planning) suspects() []int {
	p := map[int]float64{}
	for i := range g.states {
		for _, c := range g.states[i].comps {
			p[c] += g.states[i].p
		}
	}
	var out []int
	for c := range p {
		out = append(out, c)
	}
	slices.SortFunc(out, func(x, y int) int { return cmp.Or(cmp.Compare(p[y], p[x]), cmp.Compare(x, y)) })
	return out
}

// instance is a stage of one replica.
func (e *Engine) instance(stage, key string) (machine.Instance, bool) {
	for _, in := range e.atlas.all {
		if in.Stage.ID == stage && in.Key == key {
			return in, true
		}
	}
	return machine.Instance{}, false
}
