package web

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"sync"
	"time"

	"headstack/diagnosis"
	"headstack/job"
)

// verdicts works out verdicts and keeps the last one of a few jobs. A verdict
// depends on the evidence alone, so it holds until that changes: most entries of
// a check sheet do not. On a large machine it takes seconds, so it is worked out
// beside the request: whoever asks for the same evidence waits for the same run,
// and a page that will not wait can say so and ask again.
type verdicts struct {
	mu   sync.Mutex
	runs []*verdictRun // the oldest first
}

// verdictRun is one reasoning over one state of the evidence.
type verdictRun struct {
	job, evidence string
	done          chan struct{} // closed when verdict and err are there
	verdict       *diagnosis.Verdict
	err           error
}

const verdictsKept = 16

// errWorking says that a verdict is not there yet.
var errWorking = errors.New("still being worked out")

// of waits for the verdict on the evidence that v holds.
func (c *verdicts) of(ctx context.Context, b Bench, v *job.View) (*diagnosis.Verdict, error) {
	run := c.start(b, v)
	select {
	case <-run.done:
		return run.verdict, run.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// within waits no longer than patience, then returns [errWorking].
func (c *verdicts) within(ctx context.Context, b Bench, v *job.View, patience time.Duration) (*diagnosis.Verdict, error) {
	wait, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	run := c.start(b, v)
	select {
	case <-run.done: // even where there is no patience at all
		return run.verdict, run.err
	default:
	}
	select {
	case <-run.done:
		return run.verdict, run.err
	case <-wait.Done():
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, errWorking
	}
}

// start finds the run for this evidence or begins it.
func (c *verdicts) start(b Bench, v *job.View) *verdictRun {
	id := evidenceID(v)
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, r := range c.runs {
		if r.job == v.Job.ID && r.evidence == id {
			return r
		}
	}
	r := &verdictRun{job: v.Job.ID, evidence: id, done: make(chan struct{})}
	c.runs = slices.DeleteFunc(c.runs, func(o *verdictRun) bool { return o.job == r.job })
	c.runs = append(c.runs, r)
	if len(c.runs) > verdictsKept {
		c.runs = slices.Delete(c.runs, 0, len(c.runs)-verdictsKept)
	}
	go c.work(b, r)
	return r
}

// work reasons and closes the run. A panic is one run's error: outside a request
// nobody else would stop it from ending the program.
func (c *verdicts) work(b Bench, r *verdictRun) {
	defer close(r.done)
	defer func() {
		if p := recover(); p != nil {
			r.err = fmt.Errorf("diagnosing %s: %v", r.job, p)
		}
		if r.err != nil {
			c.forget(r)
		}
	}()
	verdict, seen, err := b.Diagnose(context.Background(), r.job)
	if err != nil {
		r.err = fmt.Errorf("diagnosing %s: %w", r.job, err)
		return
	}
	r.verdict = verdict
	if seen != nil && evidenceID(seen) != r.evidence {
		c.forget(r) // an entry came in between: right for those who waited, not for later
	}
}

func (c *verdicts) forget(r *verdictRun) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.runs = slices.DeleteFunc(c.runs, func(o *verdictRun) bool { return o == r })
}

// patience is how long a page waits for a verdict before it is sent without. A
// script that only keeps a result asks not to wait (RFC 7240, respond-async).
func (s *server) patience(r *http.Request) time.Duration {
	if r.Header.Get("Prefer") == "respond-async" {
		return 0
	}
	return s.opt.Patience
}

// evidenceID is a hash of what the diagnosis would be given.
func evidenceID(v *job.View) string {
	b, err := json.Marshal(job.Evidence(v))
	if err != nil { // then the record's length decides
		return fmt.Sprint("entry ", lastSeq(v))
	}
	sum := sha256.Sum256(b)
	return string(sum[:])
}
