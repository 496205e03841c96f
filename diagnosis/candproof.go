package diagnosis

import (
	"slices"
	"strings"

	"headstack/plan"
	"headstack/unit"
)

// failed lists the functions that did not work at some time, or, where only readings and
// captures accuse, those that pass a suspect; and which of them are not known to
// work since the last work.
func (g *planning) failed() (all, waiting []check) {
	p := g.p
	last := p.lastWork()
	type seen struct {
		seq   int64
		works bool
	}
	now := map[check]seen{}
	for i := range p.notes {
		n := &p.notes[i]
		if n.check == nil {
			continue
		}
		c := check{n.function, n.key}
		if n.check.Seq > last || last == 0 {
			at := seen{n.check.Seq, n.check.Outcome == Works}
			if was, ok := now[c]; !ok || at.seq >= was.seq {
				now[c] = at
			}
		}
		if n.check.Outcome != Works && !slices.Contains(all, c) {
			if path, err := g.e.def.Path(c.function, c.key); err == nil && g.touches(path) {
				all = append(all, c)
			}
		}
	}
	for i := range g.e.def.Functions {
		f := &g.e.def.Functions[i]
		if len(all) > 0 || f.CheckMinutes == 0 {
			continue
		}
		for _, key := range g.e.def.ReplicaKeys(f.Each) {
			if path, err := g.e.def.Path(f.ID, key); err == nil && g.touches(path) {
				all = append(all, check{f.ID, key})
				break
			}
		}
	}
	for _, c := range all {
		if !now[c].works {
			waiting = append(waiting, c)
		}
	}
	return all, waiting
}

// fickleTries is how often a function is tried before it counts as mended where a fault
// may come and go.
const fickleTries = 3

// check is a function on one replica.
type check struct{ function, key string }

// addProof proposes to try everything that did not work: when all of it works the job
// is done.
func (g *planning) addProof(add func(candidate, plan.Action)) {
	all, waiting := g.failed()
	if len(all) == 0 {
		return
	}
	table := make([][]float64, len(g.states))
	for i := range table {
		table[i] = []float64{1, 0}
	}
	cost := make([]float64, len(g.states)) // until the first that does not work
	tries := 1
	if g.fickle() {
		tries = fickleTries
	}
	var first candidate
	for _, c := range all {
		f, ok := g.e.def.Function(c.function)
		if !ok {
			continue
		}
		path, err := g.e.def.Path(c.function, c.key)
		if err != nil {
			continue
		}
		heard := g.hearing(path, Unprovoked)
		for i := range table {
			for range tries {
				cost[i] += table[i][0] * max(f.CheckMinutes, againMinutes)
				table[i][0] *= heard[i][saysWorks]
			}
		}
		if first.path == nil || len(waiting) > 0 && c == waiting[0] {
			first.path = path
		}
	}
	minutes := 0.0
	for i := range table {
		table[i][1] = 1 - table[i][0]
		minutes += g.states[i].p * cost[i]
	}
	for i := range cost {
		cost[i] -= minutes
	}
	first.powered = true
	first.step = Step{ID: "close", Kind: StepClose, Target: g.e.def.Name, Minutes: unit.Minutes(minutes)}
	if len(waiting) > 0 {
		c := waiting[0]
		f, _ := g.e.def.Function(c.function)
		first.step = Step{ID: "check/" + c.function + "/" + c.key, Kind: StepCheck, Target: strings.TrimSpace(c.function + " " + c.key),
			Function: c.function, Key: c.key, Expect: "works", Minutes: unit.Minutes(f.CheckMinutes)}
	}
	first.outcome = func(k int) string { return [...]string{"everything works", "something does not"}[k] }
	add(first, plan.Action{Cost: minutes, CostIn: cost, Cover: plan.None, Like: table, Ends: []bool{true, false}})
}
