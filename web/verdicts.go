package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"sync"
	"time"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/logbook"
	"headstack/teardown"
)

// thoughts works out what the evidence says, a verdict or an advice, and keeps the last
// one of a few jobs. It depends on what id hashes alone, so it holds until that changes:
// most entries of a check sheet do not. On a large machine it takes seconds, so it is
// worked out beside the request: whoever asks for the same waits for the same run, and a
// page that will not wait can say so and ask again.
type thoughts[T any] struct {
	think func(ctx context.Context, b Bench, jobID string) (T, *job.View, error)
	id    func(v *job.View) string // of what the answer depends on
	doing string                   // "diagnosing"

	mu   sync.Mutex
	runs []*thought[T] // the oldest first
}

// thought is one reasoning over one state of the evidence.
type thought[T any] struct {
	job, evidence string
	stop          context.CancelFunc
	waiting       int           // requests that wait for it
	past          bool          // the evidence has moved on
	done          chan struct{} // closed when answer and err are there
	answer        T
	err           error
}

const thoughtsKept = 16

// errWorking says that an answer is not there yet.
var errWorking = errors.New("still being worked out")

func newVerdicts() *thoughts[*diagnosis.Verdict] {
	return &thoughts[*diagnosis.Verdict]{doing: "diagnosing", id: job.EvidenceID,
		think: func(ctx context.Context, b Bench, jobID string) (*diagnosis.Verdict, *job.View, error) {
			return b.Diagnose(ctx, jobID)
		}}
}

// newAdvices makes the same for advice, which depends on what is open and in hand, too.
func newAdvices() *thoughts[*diagnosis.Advice] {
	return &thoughts[*diagnosis.Advice]{doing: "advising on", id: func(v *job.View) string { return job.EvidenceID(v) + fmt.Sprint(job.Situation(v)) },
		think: func(ctx context.Context, b Bench, jobID string) (*diagnosis.Advice, *job.View, error) {
			return b.Advise(ctx, jobID)
		}}
}

// newNexts makes the same for what comes before either: advice and marks without the
// sentences that take further sums. Where that fails it is empty, and what to say of it is
// left to the two.
func newNexts() *thoughts[*job.Next] {
	return &thoughts[*job.Next]{doing: "working out what is next on", id: func(v *job.View) string { return job.EvidenceID(v) + fmt.Sprint(job.Situation(v)) },
		think: func(ctx context.Context, b Bench, jobID string) (*job.Next, *job.View, error) {
			n, v, err := b.Next(ctx, jobID)
			if err != nil && v != nil && ctx.Err() == nil {
				return &job.Next{}, v, nil
			}
			return n, v, err
		}}
}

// newPlans makes the same for planned openings, which depend on all of the record: on the
// diagnosis, the line-up and what is open.
func newPlans(opt job.OpeningOptions) *thoughts[*teardown.Plan] {
	return &thoughts[*teardown.Plan]{doing: "planning openings of", id: func(v *job.View) string { return fmt.Sprint(lastSeq(v), v.Counted) },
		think: func(ctx context.Context, b Bench, jobID string) (*teardown.Plan, *job.View, error) {
			return b.Openings(ctx, jobID, opt)
		}}
}

// of waits for the answer on the evidence that v holds.
func (c *thoughts[T]) of(ctx context.Context, b Bench, v *job.View) (none T, err error) {
	run := c.start(b, v)
	defer c.left(run)
	select {
	case <-run.done:
		return run.answer, run.err
	case <-ctx.Done():
		return none, ctx.Err()
	}
}

// peek gives the answer if it is there, else [errWorking]; it begins nothing. Results that
// are keyed in faster than they can be reasoned about would else each begin a run.
func (c *thoughts[T]) peek(v *job.View) (none T, err error) {
	id := c.id(v)
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, r := range c.runs {
		if r.job == v.Job.ID && r.evidence == id {
			select {
			case <-r.done:
				return r.answer, r.err
			default:
			}
		}
	}
	return none, errWorking
}

// within waits no longer than until the wait ends, then returns [errWorking].
func (c *thoughts[T]) within(ctx, wait context.Context, b Bench, v *job.View) (none T, err error) {
	run := c.start(b, v)
	defer c.left(run)
	select {
	case <-run.done: // even where there is no patience at all
		return run.answer, run.err
	default:
	}
	select {
	case <-run.done:
		return run.answer, run.err
	case <-wait.Done():
		if ctx.Err() != nil {
			return none, ctx.Err()
		}
		return none, errWorking
	}
}

// left says that a request waits no longer. A run over evidence that has moved on, for
// which nobody waits, is stopped: it would only take the time of the one that counts.
func (c *thoughts[T]) left(r *thought[T]) {
	c.mu.Lock()
	defer c.mu.Unlock()
	r.waiting--
	c.abandon(r)
}

func (c *thoughts[T]) abandon(r *thought[T]) {
	if r.past && r.waiting == 0 {
		r.stop()
	}
}

// start finds the run for this evidence or begins it, and counts the caller among those who
// wait: it calls left when it does so no longer.
func (c *thoughts[T]) start(b Bench, v *job.View) *thought[T] {
	id := c.id(v)
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, r := range c.runs {
		if r.job == v.Job.ID && r.evidence == id {
			r.waiting++
			return r
		}
	}
	ctx, stop := context.WithCancel(context.Background())
	r := &thought[T]{job: v.Job.ID, evidence: id, stop: stop, waiting: 1, done: make(chan struct{})}
	c.runs = slices.DeleteFunc(c.runs, func(o *thought[T]) bool {
		if o.job == r.job {
			o.past = true
			c.abandon(o)
		}
		return o.job == r.job
	})
	c.runs = append(c.runs, r)
	if len(c.runs) > thoughtsKept {
		c.runs = slices.Delete(c.runs, 0, len(c.runs)-thoughtsKept)
	}
	go c.work(ctx, b, r)
	return r
}

// work reasons and closes the run. A panic is one run's error: outside a request
// nobody else would stop it from ending the program.
func (c *thoughts[T]) work(ctx context.Context, b Bench, r *thought[T]) {
	defer close(r.done)
	defer r.stop()
	defer func() {
		if p := recover(); p != nil {
			r.err = fmt.Errorf("%s %s: %w", c.doing, r.job, logbook.Panic(p))
		}
		if r.err != nil {
			c.forget(r)
		}
	}()
	answer, seen, err := c.think(ctx, b, r.job)
	if err != nil {
		r.err = fmt.Errorf("%s %s: %w", c.doing, r.job, err)
		return
	}
	r.answer = answer
	if seen != nil && c.id(seen) != r.evidence {
		c.forget(r) // an entry came in between: right for those who waited, not for later
	}
}

func (c *thoughts[T]) forget(r *thought[T]) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.runs = slices.DeleteFunc(c.runs, func(o *thought[T]) bool { return o == r })
}

// patience is how long a page waits for a verdict before it is sent without. A
// script that only keeps a result asks not to wait (RFC 7240, respond-async).
func (s *server) patience(r *http.Request) time.Duration {
	if r.Header.Get("Prefer") == "respond-async" {
		return 0
	}
	return s.opt.Patience
}
