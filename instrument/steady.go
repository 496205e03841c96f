package instrument

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"time"
)

// Watch asks for one value after the other, until it is stopped or the line is lost for
// good: after an error the line is opened anew once, and the error of that comes with the
// last pair. A value that came after the line was opened anew is the first of a new row.
func (m *Meter) Watch(ctx context.Context, q Quantity, every time.Duration) iter.Seq2[Value, error] {
	return func(yield func(Value, error) bool) {
		failed := 0
		for ctx.Err() == nil {
			asked := time.Now()
			v, err := m.Read(ctx, q)
			switch {
			case err == nil:
				failed = 0
			case ctx.Err() != nil || errors.Is(err, context.DeadlineExceeded):
				return
			default:
				failed++
			}
			if !yield(v, err) || failed > 1 || err != nil && !again(err) {
				return
			}
			wait := every - time.Since(asked)
			if err != nil {
				wait = max(wait, reopenAfter)
			}
			if wait > 0 {
				select {
				case <-ctx.Done():
				case <-time.After(wait):
				}
			}
		}
	}
}

// reopenAfter lets an instrument get rid of the line that was lost.
const reopenAfter = 300 * time.Millisecond

// again says whether a further try may go better: not where the instrument answered.
func again(err error) bool {
	e, ok := errors.AsType[*Error](err)
	return ok && e.Got == ""
}

// NotSteadyError says that no value stood within the limit.
type NotSteadyError struct {
	Address   string
	After     time.Duration
	Low, High float64 // of the last values that agree; Unit empty: there is none
	Unit      string
	Values    int
	Over      bool // the last was an over-range
}

func (e *NotSteadyError) Error() string {
	s := fmt.Sprintf("%s showed no steady value within %.3g s (%d values", e.Address, e.After.Seconds(), e.Values)
	switch {
	case e.Over:
		s += ", over-range at the end"
	case e.Unit != "":
		s += fmt.Sprintf(", at the end from %.4g to %.4g %s", e.Low, e.High, e.Unit)
	}
	return s + ")"
}

// Hint says what to do.
func (e *NotSteadyError) Hint() string {
	if e.Over {
		return "set a higher range, or take a divider; is it set to the right quantity?"
	}
	return "hold the probe still and see that the tone plays on; fix the range; or write down the middle and type it"
}

// Steady waits for a value that stands. progress, if given, gets every value as it comes.
// Errors: [Error], [NotSteadyError], that of ctx.
func (m *Meter) Steady(ctx context.Context, q Quantity, rule Settling, progress func(Seen)) (Steady, error) {
	rule = rule.filled()
	if m.conf.Dialect == Fetch { // the same value may have been fetched twice
		rule.Hold *= 2
	}
	limited, cancel := context.WithTimeout(ctx, rule.Limit)
	defer cancel()
	s := NewSettler(rule)
	start := time.Now()
	lost := &NotSteadyError{Address: m.conf.Address.String(), After: rule.Limit}
	var last error
	for v, err := range m.Watch(limited, q, rule.Every) {
		last = err
		if err != nil {
			s.Interrupt()
			continue
		}
		seen := s.Add(time.Since(start), v)
		lost.Values++
		lost.Over = seen.Phase == Over
		if progress != nil {
			progress(seen)
		}
		if st, ok := s.Steady(); ok {
			return st, nil
		}
	}
	if ctx.Err() != nil {
		return Steady{}, ctx.Err()
	}
	if d, ok := ctx.Deadline(); ok && !time.Now().Before(d) { // the line knew it first
		return Steady{}, context.DeadlineExceeded
	}
	if last != nil || lost.Values == 0 {
		if last == nil {
			last = &Error{Address: lost.Address, Sent: m.conf.Dialect.ask(q), Advice: adviseSilent, Err: ErrSilent}
		}
		return Steady{}, last
	}
	if low, high, ok := s.Range(); ok {
		lost.Low, lost.High, lost.Unit = low, high, q.Unit()
	}
	return Steady{}, lost
}
