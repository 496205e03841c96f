package job

import (
	"fmt"
	"slices"
)

// Current returns the entries that count: without those that were corrected or
// withdrawn, and without the withdrawals. entries are all of one job, by Seq.
func Current(entries []Entry) []Entry {
	gone := make(map[int64]bool)
	for _, e := range entries {
		if e.Corrects != 0 {
			gone[e.Corrects] = true
		}
	}
	out := make([]Entry, 0, len(entries))
	for _, e := range entries {
		if !gone[e.Seq] && !e.Withdraw {
			out = append(out, e)
		}
	}
	return out
}

// observed gives for each entry the Seq under which what it says was first recorded:
// its own, or that of the first entry in the line of corrections that it ends. A slip
// put right after a repair was observed before the repair all the same.
func observed(entries []Entry) map[int64]int64 {
	first := make(map[int64]int64, len(entries))
	for _, e := range entries {
		first[e.Seq] = e.Seq
		if from, ok := first[e.Corrects]; ok && !e.Withdraw {
			first[e.Seq] = from
		}
	}
	return first
}

// Clone returns a copy that shares nothing with e that a caller would change:
// payload and track list are copied, the figures of a capture's report are
// shared and not to be written to.
func (e Entry) Clone() Entry {
	if e.Check != nil {
		c := *e.Check
		e.Check = &c
	}
	if e.Reading != nil {
		r := *e.Reading
		e.Reading = &r
	}
	if e.Capture != nil {
		c := *e.Capture
		c.Tracks = slices.Clone(c.Tracks)
		e.Capture = &c
	}
	if e.Work != nil {
		w := *e.Work
		e.Work = &w
	}
	if e.Opening != nil {
		o := *e.Opening
		e.Opening = &o
	}
	if e.Closing != nil {
		c := *e.Closing
		c.Complaint, c.Faults = slices.Clone(c.Complaint), slices.Clone(c.Faults)
		e.Closing = &c
	}
	e.Photograph = clonePointer(e.Photograph)
	return e.cloneLineUp()
}

// EntryNotFound is the [NotFoundError] for an entry number.
func EntryNotFound(seq int64) error {
	return &NotFoundError{What: "entry", ID: fmt.Sprint(seq)}
}
