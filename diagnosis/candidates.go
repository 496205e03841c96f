package diagnosis

import (
	"fmt"
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
			checkModel{k}.like(arrive, 0, pr[:])
			out[k] = pr[0] + pr[1]
		}
	})
}

// failed lists the functions that did not work at some time, or, where only readings and
// captures accuse, those that pass a suspect; and which of them still wait to be tried
// since the last work.
func (g *planning) failed() (all, waiting []check) {
	p := g.p
	last := p.lastWork()
	tried := map[check]bool{}
	for i := range p.notes {
		n := &p.notes[i]
		if n.check == nil {
			continue
		}
		c := check{n.function, n.key}
		if n.check.Seq > last {
			tried[c] = true
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
		if !tried[c] {
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
	minutes, tries := 0.0, 1.0
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
			table[i][0] *= math.Pow(heard[i][saysWorks], tries)
		}
		minutes += tries * max(f.CheckMinutes, againMinutes)
		if first.path == nil || len(waiting) > 0 && c == waiting[0] {
			first.path = path
		}
	}
	for i := range table {
		table[i][1] = 1 - table[i][0]
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
	add(first, plan.Action{Cost: minutes, Cover: plan.None, Like: table, Ends: []bool{true, false}})
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

// readingEdges part the outcomes of a reading, in dB re what is expected.
var readingEdges = [...]float64{-45, -25, -14, -8, -4.5, -2, 2}

const readingOutcomes = len(readingEdges) + 1

// coarse is the chance of the outcomes of a reading.
type coarse struct {
	sd, wrong float64
}

func (m coarse) outcomes(arrive []total, out []float64) {
	for k := range out {
		out[k] = m.wrong / 2 / float64(len(out))
	}
	out[0] += m.wrong / 4                   // no contact
	out[len(readingEdges)-1] += m.wrong / 4 // another place where all is well
	for _, t := range arrive {
		mean, sd := t.db[qLevel], t.sd[qLevel]
		if t.dead || mean < floorDB {
			mean, sd = floorDB, floorSDDB
		}
		sd = math.Hypot(m.sd, sd)
		below := 0.0
		for k, edge := range readingEdges {
			c := studentCDF4((edge - mean) / sd)
			out[k] += (1 - m.wrong) * t.p * (c - below)
			below = c
		}
		out[len(readingEdges)] += (1 - m.wrong) * t.p * (1 - below)
	}
}

// studentCDF4 is the distribution function of Student's t with 4 degrees of freedom, in
// closed form.
func studentCDF4(t float64) float64 {
	u := t / math.Sqrt(4+t*t)
	return 0.5 + 0.75*(u-u*u*u/3)
}

func (g *planning) addReadings(add func(candidate, plan.Action), doubts []Doubt) {
	e, p := g.e, g.p
	last := p.lastWork()
	had := map[readingAt]bool{}
	for i := range p.notes {
		if n := &p.notes[i]; n.point != nil && n.readings[0].Seq >= last && !doubted(doubts, n.ref) {
			had[readingAt{n.point.ID, n.key, n.toneHz}] = true
		}
	}
	for i := range e.def.TestPoints {
		tp := &e.def.TestPoints[i]
		if tp.Function == "" {
			continue
		}
		for _, key := range e.def.ReplicaKeys(tp.Each) {
			path, err := e.def.TestPointPath(tp, key)
			if want := e.def.Expected(tp, key); err != nil || len(path) == 0 || !want.Known || !g.touches(path) {
				continue
			}
			r := &reader{e: e, p: p, a: g.a, tp: tp, key: key, path: path}
			if !had[readingAt{tp.ID, key, tp.ToneHz}] {
				g.addReading(add, r, tp.ToneHz)
			}
			if tp.ToneHz != e.def.Reference.ToneHz {
				continue
			}
			for _, hz := range []float64{trebleToneHz, bassToneHz} {
				if !had[readingAt{tp.ID, key, hz}] {
					g.addReading(add, r, hz)
				}
			}
		}
	}
}

// addReading proposes a reading at the point's own tone, or at another against a
// sibling.
func (g *planning) addReading(add func(candidate, plan.Action), r *reader, hz float64) {
	e, tp := g.e, r.tp
	m := e.reading(tp, 0)
	prior := m.prior()
	wrong := 1 - prior[readRight]
	own := hz == tp.ToneHz
	project := scalar(0, 0)
	readings := 1.0
	step := Step{Kind: StepReading, TestPoint: tp.ID, Key: r.key, ToneHz: hz}
	if own {
		m.sd = math.Hypot(m.sd, r.offsetSD(hz, e.ownPrior(tp, r.key).sd, m.sd))
	} else {
		project = scalar(toneShares(hz, e.def.Reference.ToneHz))
		if n := r.siblingsRead(hz); n > 0 {
			m.sd = math.Hypot(m.sd, m.sd/math.Sqrt(float64(n)))
		} else {
			sibling := r.sibling()
			if sibling == "" {
				return
			}
			m.sd *= math.Sqrt2
			readings = 2
			step.Siblings = []string{sibling}
		}
	}
	table := g.chance(r.path, afterAll(Unprovoked), project, readingOutcomes, coarse{m.sd, wrong}.outcomes)
	if !g.telling(table) {
		return
	}
	minutes := tp.Minutes
	if minutes == 0 {
		minutes = readingMinutes
	}
	step.ID = fmt.Sprintf("reading/%s/%s/%g", tp.ID, r.key, hz)
	step.Target = r.name()
	step.Minutes = unit.Minutes(readings * minutes)
	b, _ := e.def.Board(tp.Board)
	cover := plan.None
	if b != nil {
		cover = g.cover(b.Opening, r.key)
	}
	want := e.def.Expected(tp, r.key)
	rd := *r
	rd.spreadDB = m.sd
	add(candidate{step: step, path: r.path, powered: true, reader: &rd, outcome: func(k int) string { return readingOutcome(k, want, own) }},
		plan.Action{Cost: readings * minutes, Cover: cover, Like: table, Once: true})
}

// readingOutcome names an outcome of a reading.
func readingOutcome(k int, want machine.Expected, own bool) string {
	at := func(db float64) string {
		if !own {
			return fmt.Sprintf("%.0f dB below its sibling", -db)
		}
		return "about " + quantity(want.Value*math.Pow(10, db/20), want.Unit)
	}
	switch k {
	case 0:
		return "next to nothing"
	case len(readingEdges) - 1:
		return "as it should be"
	case len(readingEdges):
		return "too much"
	}
	return at((readingEdges[k-1] + readingEdges[k]) / 2)
}

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
