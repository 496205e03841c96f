package web

import (
	"context"
	"fmt"
	"sync"
	"time"

	"headstack/job"
	"headstack/logbook"
)

// wears works out the wear of machines beside the request: the first look at a machine of
// many tracks and captures takes seconds. Whoever asks for the same job waits for the same
// run. Nothing is kept here, for the bench holds ready what it worked out.
type wears struct {
	mu   sync.Mutex
	runs map[string]*wearRun // by job
}

type wearRun struct {
	done chan struct{} // closed when wear and err are there
	wear job.Wear
	err  error
}

// within waits no longer than patience, then returns [errWorking].
func (c *wears) within(ctx context.Context, b Bench, id string, patience time.Duration) (job.Wear, error) {
	run := c.start(b, id)
	wait, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	select {
	case <-run.done:
		return run.wear, run.err
	case <-wait.Done():
		if ctx.Err() != nil {
			return job.Wear{}, ctx.Err()
		}
		return job.Wear{}, errWorking
	}
}

func (c *wears) start(b Bench, id string) *wearRun {
	c.mu.Lock()
	defer c.mu.Unlock()
	if r := c.runs[id]; r != nil {
		return r
	}
	r := &wearRun{done: make(chan struct{})}
	if c.runs == nil {
		c.runs = map[string]*wearRun{}
	}
	c.runs[id] = r
	go func() {
		defer close(r.done)
		defer func() {
			if p := recover(); p != nil { // outside a request it would end the program
				r.err = fmt.Errorf("wear of %s: %w", id, logbook.Panic(p))
			}
			c.mu.Lock()
			delete(c.runs, id)
			c.mu.Unlock()
		}()
		r.wear, r.err = b.Wear(context.Background(), id)
	}()
	return r
}
