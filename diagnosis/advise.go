package diagnosis

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/plan"
	"headstack/unit"
)

// maxSteps is how many actions advice lists.
const maxSteps = 12

// Advise says what is known and what to do next. The error says which entry
// cannot be understood, or is the context's.
func (e *Engine) Advise(ctx context.Context, ev Evidence, now Situation) (*Advice, error) {
	w, err := e.Weigh(ctx, ev)
	if err != nil {
		return nil, err
	}
	out, err := w.Next(ctx, now)
	if err != nil || now.Brief {
		return out, err
	}
	return w.Reasons(ctx, out)
}

// advise is advice without the reasons of suspects and cleared stages.
func (e *Engine) advise(ctx context.Context, p *problem, post *posterior, a *accusation, now Situation) (*Advice, error) {
	doubts := p.doubts(post)
	all := e.plannings(p, post, a, now)
	out := &Advice{Suspects: p.suspectStages(post), Cleared: []ClearedStage{}, Recheck: []Recheck{}, Actions: []Step{}, Unproven: p.unproven(post),
		MassLeftOut: post.s.outside(), PFaultFree: 1}
	for _, d := range doubts {
		out.Recheck = append(out.Recheck, recheckOf(d))
	}
	var answers []answer
	for _, g := range all {
		if _, err := g.openNow(); err != nil {
			return nil, err
		}
		out.PFaultFree *= g.states[0].p
		r, err := g.rank(ctx, post, doubts)
		if err != nil {
			return nil, err
		}
		answers = append(answers, r)
		out.Minutes += r.minutes
	}
	out.Actions = merge(answers)
	all[0].addUntried(out)
	stop(all, out)
	return out, nil
}

// answer is what one question would have done next, the best first.
type answer struct {
	steps   []Step
	way     float64 // minutes to close and to open for the first
	minutes unit.Minutes
}

// merge puts the questions' steps in one order: the question whose best step needs least
// opened and closed goes first, so that nothing is closed while something behind it is
// left to do. To put it all together comes last.
func merge(answers []answer) []Step {
	slices.SortStableFunc(answers, func(x, y answer) int {
		return cmp.Or(cmp.Compare(x.rank(), y.rank()), cmp.Compare(x.way, y.way), cmp.Compare(y.gain(), x.gain()))
	})
	out := []Step{}
	seen := map[string]bool{}
	for i, a := range answers {
		for k, s := range a.steps {
			ends := s.Kind == StepClose
			if seen[s.ID] || ends && answers[0].rank() == 0 || i > 0 && k >= otherSteps {
				continue
			}
			seen[s.ID] = true
			out = append(out, s)
		}
	}
	return out[:min(len(out), maxSteps)]
}

// otherSteps is how many actions are listed of questions that are not the first.
const otherSteps = 3

// rank is 0 with something to do, 1 when it is time to put it together.
func (a *answer) rank() int {
	if len(a.steps) > 0 && a.steps[0].Kind != StepClose {
		return 0
	}
	return 1
}

func (a *answer) gain() float64 {
	if len(a.steps) == 0 {
		return 0
	}
	return a.steps[0].GainMinutes
}

// recheckOf is a doubt as a thing to do.
func recheckOf(d Doubt) Recheck {
	r := Recheck{Reading: d.Ref, ProbabilityWrong: d.P, Why: d.Why, How: d.How}
	if r.Why == "" {
		r.Why = d.Text
	}
	return r
}

// suspectStages are the stages that the evidence accuses as things stand.
func (p *problem) suspectStages(post *posterior) []SuspectStage {
	out := []SuspectStage{}
	for c, in := range p.seen {
		f := p.now(post, c)
		if f < suspectP || bitsOf(f, p.model.components[c].prior) < suspectBits {
			continue
		}
		modes := p.modes(c, post)
		out = append(out, SuspectStage{Stage: in.Stage.ID, Track: in.Key, Mode: modes[0].Mode, Probability: f, Part: in.Part(), Cause: modes[0].Cause, By: []string{}})
	}
	slices.SortStableFunc(out, func(x, y SuspectStage) int {
		return cmp.Or(cmp.Compare(y.Probability, x.Probability), cmp.Compare(x.Stage, y.Stage), compareKeys(x.Track, y.Track))
	})
	return out
}

// rank lets the planner choose.
func (g *planning) rank(ctx context.Context, post *posterior, doubts []Doubt) (answer, error) {
	var out answer
	if len(g.states) == 1 {
		return out, nil
	}
	prob := g.gather(post, doubts)
	m, err := plan.New(prob)
	if err != nil {
		return out, fmt.Errorf("diagnosis: planning: %w", err)
	}
	open, err := g.openNow()
	if err != nil {
		return out, err
	}
	r, err := m.Rank(ctx, plan.Situation{Open: open}, plan.Options{Fast: g.now.Fast})
	if err != nil {
		return out, fmt.Errorf("diagnosis: planning: %w", err)
	}
	out.minutes = unit.Minutes(r.Cost)
	g.likelierFirst(prob.Actions, r.Steps)
	seen := map[string]bool{}
	for _, c := range r.Steps {
		if len(out.steps) == maxSteps {
			break
		}
		if len(out.steps) == 0 {
			out.way = c.Access
		}
		s := g.finish(c.Action, &prob.Actions[c.Action], c.Outcomes)
		if seen[s.ID] {
			continue
		}
		seen[s.ID] = true
		s.GainMinutes = c.Gain
		out.steps = append(out.steps, s)
	}
	return out, nil
}

// alikeShare is the part of an expected total by which plans must differ before one counts
// as the better: what the figure is good to.
const alikeShare = 0.03

// likelierFirst puts the likeliest repair in front of others that lead to about the same
// total: when all of them are made in one opening, their order does not matter
// to the total, but what is found may.
func (g *planning) likelierFirst(actions []plan.Action, steps []plan.Step) {
	n := 0
	for n < len(steps) && actions[steps[n].Action].To != nil && steps[n].Q <= steps[0].Q+max(1, alikeShare*steps[0].Q) {
		n++
	}
	slices.SortStableFunc(steps[:n], func(x, y plan.Step) int {
		return cmp.Compare(g.moved(&actions[y.Action]), g.moved(&actions[x.Action]))
	})
}

// moved is the probability that a work cures something.
func (g *planning) moved(a *plan.Action) float64 {
	p := 0.0
	for i, to := range a.To {
		for _, m := range to {
			if m.State != i {
				p += g.states[i].p * m.P
			}
		}
	}
	return p
}

// addUntried proposes functions that nothing has tried: what is handed over untried may
// come back.
func (g *planning) addUntried(out *Advice) {
	e, p := g.e, g.p
	var list []Step
	for i := range e.def.Functions {
		f := &e.def.Functions[i]
		if f.CheckMinutes == 0 {
			continue
		}
		for _, key := range e.def.ReplicaKeys(f.Each) {
			if slices.ContainsFunc(p.notes, func(n note) bool { return n.check != nil && n.function == f.ID && n.key == key }) {
				continue
			}
			id := "check/" + f.ID + "/" + key
			path, err := e.def.Path(f.ID, key)
			if err != nil || slices.ContainsFunc(out.Actions, func(s Step) bool { return s.ID == id }) {
				continue
			}
			good := 1.0
			for _, in := range path {
				if c, ok := p.comp[in]; ok && !g.a.in[c] {
					good *= 1 - p.now(g.a.post, c)
				} else if !ok {
					good *= 1 - e.atlas.prior[in]
				}
			}
			closing, _, minutes := g.access(plan.None, g.inTheWay(plan.None))
			s := Step{ID: id, Kind: StepCheck, Target: strings.TrimSpace(f.ID + " " + key), Function: f.ID, Key: key, Expect: "works", Close: closing, Cautions: []string{},
				Minutes: unit.Minutes(f.CheckMinutes + minutes), Predicts: []Prediction{{"works", good}, {"faulty", 1 - good}}}
			s.GainMinutes = (1-good)*returnMinutes - float64(s.Minutes)
			s.Text = "Try " + f.ID
			if it := item(f, key); it != "" {
				s.Text += " on " + it
			}
			s.Text += ": " + f.Name + "."
			s.Why = fmt.Sprintf("Nothing has tried it, suspects aside; it passes %d stages.", len(path))
			if s.GainMinutes > 0 {
				list = append(list, s)
			}
		}
	}
	slices.SortStableFunc(list, func(x, y Step) int {
		return cmp.Compare(y.GainMinutes/float64(y.Minutes), x.GainMinutes/float64(x.Minutes))
	})
	done := len(out.Actions) == 0 || out.Actions[0].Kind == StepClose
	if done {
		out.Actions = append(list, out.Actions...)
	} else {
		out.Actions = append(out.Actions, list...)
	}
	out.Actions = out.Actions[:min(len(out.Actions), maxSteps)]
}

// stop says whether anything but the repair itself would lower the expected total, and
// how likely it is that mending the likeliest faults does not mend everything.
func stop(all []*planning, out *Advice) {
	right := 1.0
	for _, g := range all {
		lead, within := g.leading(), 0.0
		for i := range g.states {
			if !slices.ContainsFunc(g.states[i].comps, func(c int) bool { return !slices.Contains(lead, c) }) {
				within += g.states[i].p
			}
		}
		right *= within
	}
	out.Stop.WrongFixProbability = math.Min(1, 1-right*(1-out.MassLeftOut))
	switch {
	case len(out.Actions) == 0:
		out.Stop.Reached, out.Stop.Reason = true, "Nothing that could be tried would lower the expected total."
	case out.Actions[0].Kind == StepClose:
		out.Stop.Reached, out.Stop.Reason = true, "What remains to be tried costs more than it can save."
	case out.Actions[0].Kind == StepRepair || out.Actions[0].Kind == StepClean:
		out.Stop.Reached, out.Stop.Reason = true, "No further test lowers the expected total: work on it, then try again."
	default:
		out.Stop.Reason = "A test before the repair lowers the expected total."
	}
	for _, s := range out.Actions {
		if s.Kind == StepCheck || s.Kind == StepReading || s.Kind == StepProvoke {
			out.Stop.Lowers = fmt.Sprintf("%s (%.2g min)", s.Target, float64(s.Minutes))
			break
		}
	}
}

// leading is the set of components that the likeliest state holds.
func (g *planning) leading() []int {
	best := 0
	for i := range g.states {
		if g.states[i].p > g.states[best].p {
			best = i
		}
	}
	return g.states[best].comps
}
