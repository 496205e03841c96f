package teardown

import (
	"context"
	"fmt"
	"slices"

	"headstack/machine"
	"headstack/unit"
)

// answer is the plan found for one way of forcing optional tasks.
type answer struct {
	model *model
	found
	swapsProved bool
}

// solve looks for the plan: with all that decides between equals, else without the
// swaps of the supply, else one that is not proved.
func (p *Problem) solve(ctx context.Context, f force) (*answer, error) {
	m := p.model(f, p.powered())
	limit := p.opts.Nodes
	if m.powered {
		limit /= 3 // switchings decide between equals only: not worth as long a search
	}
	got, err := m.search(ctx, limit)
	if err != nil || got.proved {
		return &answer{model: m, found: got, swapsProved: true}, err
	}
	looked, least := got.nodes, got.least
	if m.powered {
		m = p.model(f, false)
		if got, err = m.search(ctx, p.opts.Nodes); err != nil {
			return nil, err
		}
		looked, least = looked+got.nodes, max(least, got.least)
	}
	if !got.proved {
		if got, err = m.beam(ctx); err != nil {
			return nil, err
		}
		got.least = min(least, got.spent.time)
	}
	got.nodes = looked
	return &answer{model: m, found: got}, nil
}

// powered tells whether anything is done with power on.
func (p *Problem) powered() bool {
	return slices.ContainsFunc(p.tasks, func(t Task) bool { return t.Power == On })
}

// report turns an answer into the plan that is handed out.
func (p *Problem) report(a *answer) *Plan {
	steps := p.replay(a)
	plan := &Plan{Proved: a.proved, SwapsProved: a.proved && a.swapsProved, LeastMinutes: fromUnits(a.least), Looked: a.nodes,
		Warnings: p.warn, Cautions: machine.Cautions(p.def), Visits: p.visits(steps)}
	times := map[string]unit.Minutes{}
	for _, s := range steps {
		switch s.Do {
		case DoOpen:
			plan.Openings++
		case DoPowerOn, DoPowerOff:
			plan.Swaps++
		}
		p.count(times, s)
	}
	for i := range plan.Visits {
		plan.Cost = plan.Cost.plus(plan.Visits[i].Cost)
		for _, n := range plan.Visits[i].Preparation.Insertions {
			plan.Insertions += n.Here
		}
	}
	plan.Total = p.estimate(times)
	done := doneIn(steps)
	for i, t := range p.tasks {
		if !done[t.ID] {
			plan.Later += t.expectedLater(p.demands[i].later)
		}
	}
	plan.Expected = plan.Total.Minutes + plan.Later
	if a.least == a.spent.time {
		plan.LeastMinutes = plan.Expected
	}
	switch {
	case plan.SwapsProved:
		plan.Verdict = "Proved least: no plan takes fewer expected minutes, nor as many with fewer openings, insertions of flat cables or swaps of power."
	case plan.Proved:
		plan.Verdict = "Proved least in expected minutes, openings and insertions of flat cables; swaps of power are few, not proved fewest."
	case a.least == a.spent.time:
		plan.Verdict = "Proved least in expected minutes; whether as many would do with fewer openings or insertions of flat cables is not."
	default:
		plan.Verdict = fmt.Sprintf("Not proved least: the search was given up after %d situations. No plan takes less than %s; this one takes %s.",
			plan.Looked, minutes(plan.LeastMinutes), minutes(plan.Expected))
	}
	return plan
}

// doneIn are the tasks done in a list of steps.
func doneIn(steps []Step) map[string]bool {
	done := map[string]bool{}
	for _, s := range steps {
		if s.Do == DoTask {
			done[s.Task] = true
		}
	}
	return done
}

// visits cuts the steps where nothing is open, so that work on the closed recorder
// stands by itself.
func (p *Problem) visits(steps []Step) []Visit {
	var out []Visit
	isOpen := !p.start.empty()
	cut := true
	for _, s := range steps {
		// Realignment after the last closing belongs to the visit that it closes.
		if cut && s.Do != DoRealign || s.Do == DoOpen && !isOpen {
			out = append(out, Visit{})
			cut = false
		}
		v := &out[len(out)-1]
		v.Steps = append(v.Steps, s)
		switch s.Do {
		case DoOpen:
			isOpen = true
			v.Openings = append(v.Openings, s.Opening)
			v.Cost.Opening += s.Minutes
		case DoTask:
			v.Tasks = append(v.Tasks, s.Task)
			v.Cost.Tasks += s.Minutes
		case DoClose:
			v.Cost.Closing += s.Minutes
		case DoRealign:
			v.Cost.Realignment += s.Minutes
		}
		if isOpen && len(s.Open) == 0 {
			isOpen, cut = false, true
		}
	}
	p.prepare(out)
	return out
}
