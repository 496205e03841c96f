package job

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"slices"
	"sync"

	"headstack/diagnosis"
)

// reckoning is what one state of the evidence of a job comes to. Each part is worked out
// when it is first asked for and then kept, so that page, API and report do not work it
// out again.
type reckoning struct {
	job, evidence string
	engine        *engine // with the priors of now

	weighed once[*diagnosis.Weighed]
	marks   once[*diagnosis.Verdict]
	verdict once[*diagnosis.Verdict]
	// advised is the advice in the situation asked for last.
	mu      sync.Mutex
	advised *advised
}

// advised is advice in one situation: next without its reasons.
type advised struct {
	situation  string
	next, full once[*diagnosis.Advice]
}

// reckoningsKept bounds how many are kept, one of a job: a sum takes some ten megabytes.
const reckoningsKept = 2

// reckon returns the reckoning of what a job's record says now, kept or new. A new one
// takes the place of that of the job's earlier evidence; who still waits for that gets it.
func (b *Bench) reckon(ctx context.Context, v *View) (*reckoning, error) {
	e, err := b.engine(ctx, v)
	if err != nil {
		return nil, err
	}
	id := EvidenceID(v)
	b.mu.Lock()
	defer b.mu.Unlock()
	for i, r := range b.reckonings {
		if r.job != v.Job.ID {
			continue
		}
		b.reckonings = slices.Delete(b.reckonings, i, i+1)
		if r.evidence == id && r.engine == e {
			b.reckonings = append(b.reckonings, r)
			return r, nil
		}
		break
	}
	r := &reckoning{job: v.Job.ID, evidence: id, engine: e}
	b.reckonings = append(b.reckonings, r)
	if n := len(b.reckonings) - reckoningsKept; n > 0 {
		b.reckonings = slices.Delete(b.reckonings, 0, n)
	}
	return r, nil
}

// EvidenceID is a hash of all of a record that the diagnosis depends on. Most entries of a
// check sheet do not change it.
func EvidenceID(v *View) string {
	ev := Evidence(v)
	b, err := json.Marshal(ev)
	if err != nil { // then the record's length decides
		return fmt.Sprint("entry ", len(v.Entries))
	}
	sum := sha256.Sum256(append(b, v.Counted...)) // what closed jobs taught counts too
	return string(sum[:])
}

// weigh sums the evidence.
func (r *reckoning) weigh(ctx context.Context, b *Bench, v *View) (*diagnosis.Weighed, error) {
	return r.weighed.get(ctx, func() (*diagnosis.Weighed, error) {
		ev, err := b.ShapedEvidence(ctx, v)
		if err != nil {
			return nil, err
		}
		return r.engine.Weigh(ctx, ev)
	})
}

// in is the advice in a situation.
func (r *reckoning) in(now diagnosis.Situation) *advised {
	id := fmt.Sprintf("%#v", now)
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.advised == nil || r.advised.situation != id {
		r.advised = &advised{situation: id}
	}
	return r.advised
}

// next is advice without its reasons.
func (r *reckoning) next(ctx context.Context, b *Bench, v *View) (*diagnosis.Advice, error) {
	now := Situation(v)
	return r.in(now).next.get(ctx, func() (*diagnosis.Advice, error) {
		w, err := r.weigh(ctx, b, v)
		if err != nil {
			return nil, err
		}
		return w.Next(ctx, now)
	})
}

// advice is advice with its reasons.
func (r *reckoning) advice(ctx context.Context, b *Bench, v *View) (*diagnosis.Advice, error) {
	return r.in(Situation(v)).full.get(ctx, func() (*diagnosis.Advice, error) {
		next, err := r.next(ctx, b, v)
		if err != nil {
			return nil, err
		}
		w, err := r.weigh(ctx, b, v)
		if err != nil {
			return nil, err
		}
		return w.Reasons(ctx, next)
	})
}

// once holds an answer that is worked out by who asks first, while others wait for it. Who
// fails or gives up leaves the work to the next. The zero value is ready.
type once[T any] struct {
	mu     sync.Mutex
	turn   chan struct{} // closed when who works on it is through; nil: nobody does
	done   bool
	answer T
}

// get returns the answer; work is called without a lock. The error is that of work, or
// the context's.
func (o *once[T]) get(ctx context.Context, work func() (T, error)) (none T, err error) {
	for {
		o.mu.Lock()
		if o.done {
			defer o.mu.Unlock()
			return o.answer, nil
		}
		turn := o.turn
		if turn == nil {
			o.turn = make(chan struct{})
			o.mu.Unlock()
			return o.work(work)
		}
		o.mu.Unlock()
		select {
		case <-turn:
		case <-ctx.Done():
			return none, ctx.Err()
		}
	}
}

// work gives the turn back in any case: a panic must not leave others waiting for ever.
func (o *once[T]) work(work func() (T, error)) (answer T, err error) {
	ok := false
	defer func() {
		o.mu.Lock()
		defer o.mu.Unlock()
		if ok {
			o.done, o.answer = true, answer
		}
		close(o.turn)
		o.turn = nil
	}()
	answer, err = work()
	ok = err == nil
	return answer, err
}
