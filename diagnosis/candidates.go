package diagnosis

import (
	"math"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/plan"
	"headstack/unit"
)

// afterAll is the look of what would be observed now.
func afterAll(p Provocation) look { return look{math.MaxInt64, string(p)} }

// gather makes the planner's problem.
func (g *planning) gather(post *posterior, doubts []Doubt) plan.Problem {
	var actions []plan.Action
	add := func(c candidate, a plan.Action) {
		a.ID = c.step.ID
		g.stepOf = append(g.stepOf, c)
		actions = append(actions, a)
	}
	g.addChecks(add, doubts)
	g.addReadings(add, doubts)
	g.addSwaps(add)
	g.addRepairs(add)
	g.addProof(add)
	for i := range actions {
		if g.stepOf[i].powered {
			actions[i].Shut = g.inTheWay(actions[i].Cover)
		}
	}
	actions = g.distinct(actions)
	g.addDelivery(add)
	prob := make([]float64, len(g.states))
	end := make([]float64, len(g.states))
	for i := range g.states {
		prob[i] = g.states[i].p
		if i > 0 {
			end[i] = returnMinutes
		}
	}
	return plan.Problem{P: prob, Sound: 0, Covers: g.problemCovers(), Actions: actions, EndCost: end, Reassemble: true, Stuck: stuckMinutes}
}

// alikeBy is how far the chances of two tests may differ that count as the same test.
const alikeBy = 0.01

// distinct leaves out tests that tell the same as another that costs no more.
func (g *planning) distinct(actions []plan.Action) []plan.Action {
	cost := make([]float64, len(actions))
	for i := range actions {
		_, _, access := g.access(actions[i].Cover, actions[i].Shut)
		cost[i] = actions[i].Cost + access
	}
	keep := make([]bool, len(actions))
	for i := range actions {
		a := &actions[i]
		keep[i] = true
		if a.To != nil || a.Ends != nil {
			continue
		}
		for j := range actions {
			b := &actions[j]
			if j == i || b.To != nil || b.Ends != nil || cost[j] > cost[i] || cost[j] == cost[i] && j > i {
				continue
			}
			if alike(a.Like, b.Like) {
				keep[i] = false
				break
			}
		}
	}
	var out []plan.Action
	var steps []candidate
	for i := range actions {
		if keep[i] {
			out, steps = append(out, actions[i]), append(steps, g.stepOf[i])
		}
	}
	g.stepOf = steps
	return out
}

// alike says whether two tables of chances are nearly the same.
func alike(a, b [][]float64) bool {
	for i, row := range a {
		if len(row) != len(b[i]) {
			return false
		}
		for k, x := range row {
			if math.Abs(x-b[i][k]) > alikeBy {
				return false
			}
		}
	}
	return true
}

// fickle says whether some state holds a fault that comes and goes.
func (g *planning) fickle() bool { return g.fickleP() > 0.005 }

// fickleP is the probability of a fault that comes and goes.
func (g *planning) fickleP() float64 {
	sum := 0.0
	for i := range g.states {
		for _, x := range g.states[i].combos {
			if slices.ContainsFunc(x.causes, func(c cause) bool {
				return slices.Contains(g.states[i].comps, c.comp) && g.p.mode(c).Mode == machine.Intermittent
			}) {
				sum += x.p * g.states[i].p
			}
		}
	}
	return sum
}

// lastWork is the Seq of the last work; what was observed before it may have changed.
func (p *problem) lastWork() int64 {
	if len(p.works) == 0 {
		return 0
	}
	return p.works[len(p.works)-1].Seq
}

// addChecks proposes functions that have not been tried since the last work, and where
// a fault may come and go also those that have, as they are or pressed.
func (g *planning) addChecks(add func(candidate, plan.Action), doubts []Doubt) {
	e, p := g.e, g.p
	last := p.lastWork()
	done, fails := map[check]int{}, map[check]bool{}
	for i := range p.notes {
		n := &p.notes[i]
		if n.check != nil && (last == 0 || n.check.Seq > last) && !doubted(doubts, n.ref) {
			done[check{n.function, n.key}]++
			fails[check{n.function, n.key}] = fails[check{n.function, n.key}] || n.check.Outcome != Works
		}
	}
	fickle := g.fickle()
	for i := range e.def.Functions {
		f := &e.def.Functions[i]
		if f.CheckMinutes == 0 {
			continue
		}
		for _, key := range e.def.ReplicaKeys(f.Each) {
			path, err := e.def.Path(f.ID, key)
			if err != nil || fails[check{f.ID, key}] || !g.touches(path) {
				continue // that it does not work is known
			}
			times := done[check{f.ID, key}]
			if times == 0 || fickle {
				g.addCheck(add, f, key, path, Unprovoked, times > 0)
			}
			if fickle {
				g.addCheck(add, f, key, path, Pressed, false)
			}
		}
	}
}

func doubted(list []Doubt, ref string) bool {
	return slices.ContainsFunc(list, func(d Doubt) bool { return d.Ref == ref })
}

// touches says whether a path passes a suspect of some state.
func (g *planning) touches(path []machine.Instance) bool {
	g.p.look = afterAll(Unprovoked)
	for _, in := range path {
		c, ok := g.p.comp[g.p.placed(in)]
		if !ok {
			continue
		}
		for i := range g.states {
			if slices.Contains(g.states[i].comps, c) {
				return true
			}
		}
	}
	return false
}

var sayingNames = [sayings]string{saysWorks: "works", saysDead: "dead", saysWeak: "weak", saysDull: "dull", saysThin: "thin",
	saysNoisy: "noisy", saysIntermittent: "intermittent", saysFaulty: "faulty"}

// hearing is the chance of each verdict by ear of a function, in each state.
func (g *planning) hearing(path []machine.Instance, how Provocation) [][]float64 {
	return g.chance(path, afterAll(how), everything, sayings, func(arrive []total, out []float64) {
		for k := range out {
			var pr [2]float64
			foreseen.like(k, arrive, pr[:])
			out[k] = pr[0] + pr[1]
		}
	})
}

func (g *planning) addCheck(add func(candidate, plan.Action), f *machine.Function, key string, path []machine.Instance, how Provocation, again bool) {
	table := g.hearing(path, how)
	if !g.telling(table) {
		return
	}
	minutes := f.CheckMinutes
	step := Step{ID: "check/" + f.ID + "/" + key, Kind: StepCheck, Target: strings.TrimSpace(f.ID + " " + key), Function: f.ID, Key: key, Expect: "works", Again: again}
	if how != Unprovoked {
		step.ID += "/" + string(how)
		step.Kind, step.Provoked = StepProvoke, how
		minutes += pressMinutes
	}
	step.Minutes = unit.Minutes(minutes)
	add(candidate{step: step, path: path, powered: true, outcome: func(k int) string { return sayingNames[k] }},
		plan.Action{Cost: minutes, Cover: plan.None, Like: table, Once: true})
}
