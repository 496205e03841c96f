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
	// it comes back, is taken in again, opened and proved again.
	returnMinutes = 240
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

// newPlanning gathers the states. It needs at least one accused component.
func (e *Engine) newPlanning(p *problem, post *posterior, a *accusation, now Situation) *planning {
	g := &planning{e: e, p: p, a: a, now: now, coverAt: map[string]int{}, share: map[cause][]atomShare{}}
	g.findStates(post)
	return g
}

// findStates takes the likeliest explanations and everything that is left of them when
// one fault after the other is cured.
func (g *planning) findStates(post *posterior) {
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
	list := g.a.subtree(0, int(post.s.root()))
	total := 0.0
	for _, x := range list {
		total += x.p
	}
	for _, x := range list {
		if x.p < leastState*total || len(g.states) >= maxStates && at[compKeyOf(compsOf(x.causes))] == 0 && len(x.causes) > 0 {
			continue
		}
		s := add(compsOf(x.causes))
		s.p += x.p
		s.combos = append(s.combos, x)
	}
	for i := 0; i < len(g.states); i++ {
		for k := range g.states[i].comps {
			less := slices.Delete(slices.Clone(g.states[i].comps), k, k+1)
			// What is left looks as the whole does without the fault that was cured.
			if s := add(less); len(s.combos) == 0 && len(less) > 0 {
				for _, x := range g.states[i].combos {
					s.combos = append(s.combos, partial{slices.DeleteFunc(slices.Clone(x.causes), func(c cause) bool { return c.comp == g.states[i].comps[k] }), x.p})
				}
			}
		}
	}
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

// telling says whether the outcomes differ between states at all.
func telling(table [][]float64) bool {
	for _, row := range table[1:] {
		for k, x := range row {
			if math.Abs(x-table[0][k]) > 0.02 {
				return true
			}
		}
	}
	return false
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
