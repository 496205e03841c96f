package job

import (
	"context"
	"fmt"

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
	tasks, err := b.openingTasks(ctx, v, opt)
	if err != nil {
		return nil, nil, fmt.Errorf("openings of %s: %w", jobID, err)
	}
	plan, err := planOpenings(ctx, v, tasks, opt)
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

// openingTasks are the tasks that the record asks for.
func (b *Bench) openingTasks(ctx context.Context, v *View, opt OpeningOptions) ([]teardown.Task, error) {
	return opt.Tasks, nil
}

func planOpenings(ctx context.Context, v *View, tasks []teardown.Task, opt OpeningOptions) (*teardown.Plan, error) {
	if len(tasks) == 0 {
		return nil, &NoTasksError{v.Job.ID}
	}
	p, err := teardown.New(v.Def, tasks, teardown.Options{Open: v.Open, Together: opt.Together})
	if err != nil {
		return nil, err
	}
	return p.Plan(ctx)
}
