package teardown

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"headstack/unit"
)

// decide says of each optional task what was decided and by which figures.
func (p *Problem) decide(ctx context.Context, plan *Plan, chosen *answer) error {
	must := make([]bool, len(p.tasks))
	for i, t := range p.tasks {
		must[i] = !t.Optional
	}
	p.closeUnder(must)
	var asked set // openings that work which must be done asks for
	for i := range p.tasks {
		if must[i] {
			asked = asked.or(p.demands[i].need)
		}
	}
	asked = asked.or(p.start)
	done := map[string]bool{}
	for _, v := range plan.Visits {
		for _, id := range v.Tasks {
			done[id] = true
		}
	}
	looks := p.opts.Nodes / 4 // for all other ways together
	for i := range p.tasks {
		t := &p.tasks[i]
		if !t.Optional {
			continue
		}
		d := Decision{Task: t.ID, Now: done[t.ID], Chance: t.Chance, LaterVisit: p.demands[i].later,
			LaterExpected: t.expectedLater(p.demands[i].later), NowMinutes: t.Minutes}
		if must[i] {
			d.For = p.waiting(i, must)
		}
		for o := range p.demands[i].need.minus(asked).all {
			e := Extra{Opening: p.tree[o].name, Minutes: fromUnits(p.tree[o].cycle())}
			for j := range p.tasks {
				if j != i && !must[j] && done[p.tasks[j].ID] && p.demands[j].need.has(o) {
					e.With = append(e.With, p.tasks[j].ID)
				}
			}
			d.Extra = append(d.Extra, e)
		}
		if d.For == "" && chosen.proved {
			other, err := p.otherWay(ctx, i, !d.Now, &looks)
			if err != nil {
				return err
			}
			if other != nil {
				margin := *other - fromUnits(chosen.spent.time)
				d.OtherWay, d.Margin = other, &margin
			}
		}
		d.Text = d.sentence(t)
		plan.Decisions = append(plan.Decisions, d)
	}
	return nil
}

// waiting names a task that must be done and cannot without i.
func (p *Problem) waiting(i int, must []bool) string {
	for j := range p.tasks {
		if must[j] && slices.Contains(p.demands[j].before, i) {
			return p.tasks[j].ID
		}
	}
	return ""
}

// otherWay is the expected total with one task decided otherwise, nil without proof. It
// may look at no more situations than looks, which it counts down.
func (p *Problem) otherWay(ctx context.Context, i int, do bool, looks *int) (*unit.Minutes, error) {
	m := p.model(force{i: do}, false)
	m.timed = true
	got, err := m.search(ctx, *looks)
	*looks -= min(*looks, got.nodes)
	if err != nil || !got.proved {
		return nil, err
	}
	total := fromUnits(got.spent.time)
	return &total, nil
}

// sentence says the decision and its arithmetic.
func (d *Decision) sentence(t *Task) string {
	if d.For != "" {
		return fmt.Sprintf("Do it now: %s waits for it.", d.For)
	}
	var b strings.Builder
	verdict := "Leave it"
	if d.Now {
		verdict = "Do it now"
	}
	now := d.NowMinutes
	for _, e := range d.Extra {
		now += e.Minutes
	}
	fmt.Fprintf(&b, "%s: %s now", verdict, minutes(now))
	if len(d.Extra) > 0 {
		fmt.Fprintf(&b, " (%s of work", minutes(d.NowMinutes))
		for _, e := range d.Extra {
			fmt.Fprintf(&b, ", %s for %s", minutes(e.Minutes), e.Opening)
			if len(e.With) > 0 {
				fmt.Fprintf(&b, " shared with %s", listed(e.With))
			}
		}
		b.WriteString(")")
	}
	fmt.Fprintf(&b, "; later %.3g %% of %s (%s to open, %s of work, %s to close, %s of realignment) = %s.",
		100*d.Chance, minutes(d.LaterVisit.Total()), minutes(d.LaterVisit.Opening), minutes(d.LaterVisit.Tasks),
		minutes(d.LaterVisit.Closing), minutes(d.LaterVisit.Realignment), minutes(d.LaterExpected))
	if d.Margin != nil {
		fmt.Fprintf(&b, " The other way costs %s more in all.", minutes(*d.Margin))
	}
	return b.String()
}
