package diagnosis

import (
	"slices"

	"headstack/machine"
	"headstack/plan"
	"headstack/unit"
)

// addRepairs proposes the repair and the cleaning of each suspect.
func (g *planning) addRepairs(add func(candidate, plan.Action)) {
	for _, c := range g.suspects() {
		in := g.p.seen[c]
		g.addRepair(add, c, in)
		g.addCleaning(add, c, in)
	}
}

func (g *planning) addRepair(add func(candidate, plan.Action), c int, in machine.Instance) {
	// That a repair may fail is left to the evidence after it: a plan that allows for it
	// has no end.
	to, useful := g.moves(c, func(*machine.FaultMode) float64 { return 1 })
	if !useful {
		return
	}
	cost := make([]float64, len(g.states))
	usual := 0.0 // what it takes to find that nothing is wrong with it
	modes := g.e.atlas.modes[in.Stage]
	for _, m := range modes {
		usual += m.Weight * m.CureMin
	}
	for i := range g.states {
		cost[i] = usual
		if slices.Contains(g.states[i].comps, c) {
			cost[i] = 0
			for _, x := range g.states[i].combos {
				for _, u := range x.causes {
					if u.comp == c {
						cost[i] += x.p * g.p.mode(u).CureMin
					}
				}
			}
		}
	}
	mean := 0.0
	for i := range g.states {
		mean += g.states[i].p * cost[i]
	}
	for i := range cost {
		cost[i] -= mean // the planner puts repairs in order by what they cost on average
	}
	step := Step{ID: "repair/" + in.Stage.ID + "/" + in.Key, Kind: StepRepair, Target: in.Part(), Stage: in.Stage.ID, Key: in.Key, Minutes: unit.Minutes(mean)}
	add(candidate{step: step, path: []machine.Instance{in}},
		plan.Action{Cost: mean, CostIn: cost, Cover: g.cover(g.e.def.WorkOpening(in.Stage), in.Key), To: to, Once: true})
}

func (g *planning) addCleaning(add func(candidate, plan.Action), c int, in machine.Instance) {
	for i := range g.p.works {
		if w := &g.p.works[i]; w.Kind == WorkClean && w.Stage == in.Stage.ID && w.Key == in.Key {
			return // what cleaning could cure, it has
		}
	}
	to, useful := g.moves(c, func(m *machine.FaultMode) float64 { return m.CureChance(string(WorkClean)) })
	b, ok := g.e.def.Board(in.Stage.Board)
	if !useful || !ok {
		return
	}
	step := Step{ID: "clean/" + in.Stage.ID + "/" + in.Key, Kind: StepClean, Target: in.Part(), Stage: in.Stage.ID, Key: in.Key, Minutes: cleanMinutes}
	add(candidate{step: step, path: []machine.Instance{in}},
		plan.Action{Cost: cleanMinutes, Cover: g.cover(b.Opening, in.Key), To: to, Once: true})
}

// addDelivery ends it all: closed and handed over.
func (g *planning) addDelivery(add func(candidate, plan.Action)) {
	var all []int
	for i := range g.covers {
		if g.covers[i].behind == plan.None {
			all = append(all, i)
		}
	}
	closing, _, minutes := g.access(plan.None, all)
	step := Step{ID: "close", Kind: StepClose, Target: g.e.def.Name, Close: closing, Minutes: unit.Minutes(minutes)}
	add(candidate{step: step}, plan.Action{Cover: plan.None, Ends: []bool{true}})
}
