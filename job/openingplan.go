package job

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"

	"headstack/learn"
	"headstack/teardown"
)

// OpeningOptions say what of the work is wanted. The zero value plans all that the record
// asks for.
type OpeningOptions struct {
	// Tasks are further ones that the person adds.
	Tasks []teardown.Task
	// Without are the ids of tasks to leave out.
	Without []string
	// NoPreventive leaves out what is only worth doing while inside.
	NoPreventive bool
	// Together names openings that repeat and of which several may be open at once.
	Together []string
}

// Openings plans the next openings of a recorder: what to do in which one, in what order,
// with what to have ready. Its tasks are fixes of what the diagnosis holds to be at fault,
// what would settle its suspects, the steps of the line-up that are due behind a cover, and
// what is worth doing while inside. What is open now counts, and so do flat cables plugged in
// so far. The view is the one that the plan is about. Errors: [NotFoundError],
// [InvalidError] for an option, [NoTasksError] where nothing needs an opening.
func (b *Bench) Openings(ctx context.Context, jobID string, opt OpeningOptions) (*teardown.Plan, *View, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return nil, nil, err
	}
	e, err := b.engine(ctx, v)
	if err != nil {
		return nil, nil, fmt.Errorf("openings of %s: %w", jobID, err)
	}
	taught := *v
	taught.Def = e.lesson.Definition
	tasks, err := b.openingTasks(ctx, &taught, opt, e.lesson)
	if err != nil {
		return nil, nil, fmt.Errorf("openings of %s: %w", jobID, err)
	}
	plan, err := planOpenings(ctx, &taught, tasks, opt, e.lesson)
	return plan, v, err
}

// NoTasksError says that a job has nothing to do inside the recorder.
type NoTasksError struct{ Job string }

func (e *NoTasksError) Error() string {
	return e.Job + " has nothing to do inside the recorder: no suspect, and no step of the line-up that is due behind a cover"
}

// Hint says what to do next.
func (e *NoTasksError) Hint() string {
	return "headstack next and headstack lineup say what comes next with the case closed"
}

// openingSpreads are how far the minutes of openings may be off, as far as closed jobs tell.
func openingSpreads(l *learn.Lesson) map[string]teardown.Spread {
	out := map[string]teardown.Spread{}
	for _, ch := range l.Changes {
		x := out[ch.ID]
		switch ch.Kind {
		case learn.DownNumber:
			x.Down = ch.Spread
		case learn.UpNumber:
			x.Up = ch.Spread
		default:
			continue
		}
		out[ch.ID] = x
	}
	return out
}

// repairSpreads are the same of cures, by stage and cause.
func repairSpreads(l *learn.Lesson) map[[2]string]float64 {
	out := map[[2]string]float64{}
	for _, ch := range l.Changes {
		if ch.Kind == learn.RepairNumber {
			out[[2]string{ch.Stage, ch.Cause}] = ch.Spread
		}
	}
	return out
}

// openingTasks are the tasks that the record asks for, with those of the person. The view
// has the definition as closed jobs taught it.
func (b *Bench) openingTasks(ctx context.Context, v *View, opt OpeningOptions, lesson *learn.Lesson) ([]teardown.Task, error) {
	advice, _, err := b.Advise(ctx, v.Job.ID)
	if err != nil {
		return nil, err
	}
	m := &taskMaker{v: v, spreads: repairSpreads(lesson)}
	m.fixes(advice)
	m.settle(advice)
	l, _, err := b.LineUp(ctx, v.Job.ID)
	switch _, none := errors.AsType[*NoLineUpError](err); {
	case err == nil:
		m.lineUp(l)
	case !none:
		return nil, err
	}
	m.tasks = append(m.tasks, opt.Tasks...)
	// What is only worth doing while inside does not open a recorder by itself.
	if inside := slices.ContainsFunc(m.tasks, func(t teardown.Task) bool { return len(t.Needs) > 0 && !t.Optional }); inside && !opt.NoPreventive {
		m.preventive(advice)
	}
	return m.without(opt.Without)
}

// without leaves tasks out by id. The error is an [InvalidError] with the nearest ids.
func (m *taskMaker) without(ids []string) ([]teardown.Task, error) {
	for _, id := range ids {
		var known []string
		n := len(m.tasks)
		for _, t := range m.tasks {
			known = append(known, t.ID)
		}
		if m.tasks = slices.DeleteFunc(m.tasks, func(t teardown.Task) bool { return t.ID == id }); len(m.tasks) == n {
			return nil, &InvalidError{Field: "task", Value: shorten(id), Problem: "is not planned", Nearest: nearest(id, known)}
		}
	}
	for i := range m.tasks {
		m.tasks[i].Follows = slices.DeleteFunc(m.tasks[i].Follows, func(id string) bool { return slices.Contains(ids, id) })
	}
	return m.tasks, nil
}

// planOpenings plans tasks from what is open now.
func planOpenings(ctx context.Context, v *View, tasks []teardown.Task, opt OpeningOptions, l *learn.Lesson) (*teardown.Plan, error) {
	if len(tasks) == 0 {
		return nil, &NoTasksError{v.Job.ID}
	}
	var open, unsure []string
	for _, id := range v.Open {
		if o, ok := v.Def.Opening(id); ok && o.Each != "" {
			unsure = append(unsure, fmt.Sprintf("%s is open, and the record does not say of which %s: the plan begins with it put back", id, o.Each))
			continue
		}
		open = append(open, id)
	}
	p, err := teardown.New(v.Def, tasks, teardown.Options{Open: open, Together: opt.Together, Insertions: insertions(v), Spreads: openingSpreads(l)})
	if err != nil {
		return nil, err
	}
	plan, err := p.Plan(ctx)
	if err != nil {
		return nil, err
	}
	plan.Warnings = append(plan.Warnings, unsure...)
	return plan, nil
}

// insertions are how often each connector was plugged in again, as the openings that were
// put back tell. Of an opening that repeats the record does not say which replica it was.
func insertions(v *View) map[string]int {
	out := map[string]int{}
	s := &standing{def: v.Def, state: v.Job.Case}
	first := observed(v.Entries)
	current := slices.Clone(v.Current)
	slices.SortStableFunc(current, func(a, b Entry) int { return cmp.Compare(first[a.Seq], first[b.Seq]) })
	for _, e := range current {
		before := slices.Clone(s.open)
		s.take(e)
		plugged := map[string]bool{} // once, whatever parted it
		for _, id := range before {
			if o, ok := v.Def.Opening(id); ok && o.Each == "" && !slices.Contains(s.open, id) {
				for _, c := range o.Disconnects {
					plugged[c] = true
				}
			}
		}
		for _, id := range s.open { // still parted by another
			if o, ok := v.Def.Opening(id); ok {
				for _, c := range o.Disconnects {
					delete(plugged, c)
				}
			}
		}
		for c := range plugged {
			out[c]++
		}
	}
	return out
}
