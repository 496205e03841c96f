package job

import (
	"fmt"
	"math"
	"time"
)

// This file has the rules that every Record keeps in one step with an append,
// so that two implementations cannot disagree on them.

// CheckShape says whether an entry is whole: a known kind, the payload of that
// kind and no other, a note as withdrawal, a time. The service never appends
// anything else, so the error is for programmers.
func CheckShape(e Entry) error {
	payloads := 0
	has := map[Kind]bool{
		KindCheck: e.Check != nil, KindReading: e.Reading != nil, KindCapture: e.Capture != nil,
		KindWork: e.Work != nil, KindOpening: e.Opening != nil, KindClosing: e.Closing != nil,
		KindTurn: e.Turn != nil, KindGate: e.Gate != nil, KindPass: e.Pass != nil,
		KindFigure: e.Figure != nil, KindSignOff: e.SignOff != nil, KindSoak: e.Soak != nil,
		KindStaircase:  e.Staircase != nil,
		KindPhotograph: e.Photograph != nil,
	}
	for _, have := range has {
		if have {
			payloads++
		}
	}
	fit, known := has[e.Kind]
	fit = fit && payloads == 1
	if e.Kind == KindNote {
		fit, known = payloads == 0, true
	}
	switch {
	case !known:
		return &InvalidError{Field: "kind", Value: string(e.Kind), Problem: "is no kind of entry"}
	case !fit:
		return &InvalidError{Field: "kind", Value: string(e.Kind), Problem: "does not go with what the entry carries"}
	case e.Withdraw && (e.Kind != KindNote || e.Corrects == 0):
		return &InvalidError{Field: "kind", Value: string(e.Kind), Problem: "cannot withdraw: a withdrawal is a note that names an entry"}
	case !(e.Minutes >= 0) || math.IsInf(float64(e.Minutes), 1):
		return &InvalidError{Field: "minutes", Value: fmt.Sprint(float64(e.Minutes)), Problem: "are no length of time"}
	case e.Corrects < 0:
		return &InvalidError{Field: "corrects", Value: fmt.Sprint(e.Corrects), Problem: "is no entry number"}
	}
	return CheckTime(e.At)
}

// CheckTime refuses a time that cannot be written as RFC 3339 in UTC.
func CheckTime(t time.Time) error {
	if y := t.UTC().Year(); t.IsZero() || y < 1 || y > 9999 {
		return &InvalidError{Field: "time", Value: t.String(), Problem: "is outside the years 1 to 9999 or not set"}
	}
	return nil
}

// CheckCorrection says whether e may correct or withdraw target, of which by is
// the entry that did so before, nil when none did. It returns a
// [CorrectionError] when not.
func CheckCorrection(target Entry, by *Entry, e Entry) error {
	refuse := func(r Refusal) error {
		c := &CorrectionError{Seq: target.Seq, Ref: target.Ref, Reason: r}
		if by != nil {
			c.By, c.ByAt = by.Ref, by.At
		}
		return c
	}
	switch {
	case target.Job != e.Job:
		return refuse(OtherJob)
	case target.Withdraw:
		return refuse(IsWithdrawal)
	case by != nil && by.Withdraw:
		return refuse(AlreadyWithdrawn)
	case by != nil:
		return refuse(AlreadyCorrected)
	case !e.Withdraw && e.Kind != target.Kind:
		return refuse(OtherKind)
	}
	return nil
}

// Stamp returns the time under which something is kept when the clock says now
// and the last thing kept has the time last (zero when there is none), and what
// goes into Clock beside it: zero unless the two differ.
func Stamp(now, last time.Time) (at, clock time.Time) {
	now = now.UTC().Round(0) // Round drops the monotonic reading, which no file keeps
	if now.Before(last) {
		return last, now
	}
	return now, time.Time{}
}

// EntryRef is how the record names an entry: kind and number within the job.
func EntryRef(k Kind, n int64) string { return fmt.Sprintf("%s %d", k, n) }

// JobID is the id of the n-th job of a bench, from 1.
func JobID(n int64) string { return fmt.Sprintf("job-%04d", n) }
