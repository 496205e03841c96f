package job

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"headstack/diagnosis"
)

// maxFault bounds a number that is typed: four figures fit a label.
const maxFault = 9999

// foundFault reports that a check found something wrong.
func (c *Check) foundFault() bool {
	return c.Outcome == diagnosis.Faulty || c.Outcome == diagnosis.Intermittent
}

// place is what a check tried.
func (c *Check) place() Check { return Check{Item: c.Item, Function: c.Function, Key: c.Key} }

// numberFault gives a check that found a fault its number: that which the same control or
// function bears while its last check still says faulty, that of the entry which it
// corrects, or the next one that no entry of the job ever had. A number that is on a label
// is not given twice, not even when its entry was taken back. One that was typed is kept
// unless another control bears it.
func numberFault(entries []Entry, e *Entry) error {
	c := e.Check
	switch {
	case c == nil:
		return nil
	case !c.foundFault() && c.Fault != 0:
		return &InvalidError{Field: "fault number", Value: fmt.Sprint(c.Fault), Problem: fmt.Sprintf("does not go with the outcome %q", c.Outcome)}
	case !c.foundFault():
		return nil
	case c.Fault < 0 || c.Fault > maxFault:
		return &InvalidError{Field: "fault number", Value: fmt.Sprint(c.Fault), Problem: fmt.Sprintf("is not between 1 and %d", maxFault)}
	}
	current := Current(entries)
	if c.Fault != 0 {
		for i := range current {
			if o := current[i].Check; o != nil && o.Fault == c.Fault && o.place() != c.place() && current[i].Seq != e.Corrects {
				return &InvalidError{Field: "fault number", Value: fmt.Sprint(c.Fault), Problem: "is on the label of another control: " + current[i].Ref}
			}
		}
		return nil
	}
	highest := 0
	for i := range entries {
		if o := entries[i].Check; o != nil {
			highest = max(highest, o.Fault)
			if entries[i].Seq == e.Corrects && o.Fault != 0 {
				c.Fault = o.Fault
				return nil
			}
		}
	}
	for i := range slices.Backward(current) {
		if o := current[i].Check; o != nil && o.place() == c.place() {
			if o.foundFault() && o.Fault != 0 {
				c.Fault = o.Fault
				return nil
			}
			break
		}
	}
	c.Fault = highest + 1
	return nil
}

// numberingTries bounds how often a fault is numbered anew because another program came
// first. Each time one of them is through.
const numberingTries = 50

// appendCheck numbers a fault and appends it; two at once do not get one number, be it from
// one program or from two.
func (b *Bench) appendCheck(ctx context.Context, e Entry) (Entry, error) {
	if !e.Check.foundFault() && e.Check.Fault == 0 {
		return b.rec.AppendEntry(ctx, e) // nothing to number: most of a check sheet
	}
	b.faults.Lock()
	defer b.faults.Unlock()
	said := *e.Check
	for try := 1; ; try++ {
		entries, err := b.rec.EntriesBut(ctx, e.Job, KindCapture)
		if err != nil {
			return Entry{}, err
		}
		numbered := said
		e.Check, e.Seen = &numbered, (&View{Entries: entries}).Seen()
		if err := numberFault(entries, &e); err != nil {
			return Entry{}, err
		}
		kept, err := b.rec.AppendEntry(ctx, e)
		if _, first := errors.AsType[*ConflictError](err); !first || try == numberingTries {
			return kept, err
		}
	}
}

// FaultFound is a fault of the check sheet by its number.
type FaultFound struct {
	Number int
	Name   string // of the control, or of the function with its track
	Board  string // board id; empty for a function
	// Entry is the last check that bears the number. Cured says that the same control
	// was found to work after it.
	Entry Entry
	Cured bool
}

// Faults lists what was found faulty or intermittent, by number. A fault recorded before
// faults were numbered has 0 and stands first.
func (v *View) Faults() []FaultFound {
	var out []FaultFound
	at := map[Check]int{}
	for _, e := range v.Current {
		c := e.Check
		if c == nil {
			continue
		}
		i, known := at[c.place()]
		switch {
		case c.foundFault() && known && out[i].Entry.Check.Fault == c.Fault:
			out[i].Entry, out[i].Cured = e, false
		case c.foundFault():
			at[c.place()] = len(out)
			name, board := v.nameOf(*c)
			out = append(out, FaultFound{Number: c.Fault, Name: name, Board: board, Entry: e})
		case known && c.Outcome == diagnosis.Works:
			out[i].Cured = true
		}
	}
	slices.SortStableFunc(out, func(a, b FaultFound) int { return a.Number - b.Number })
	return out
}

// nameOf is how a control or function is called, and the board of a control.
func (v *View) nameOf(c Check) (name, board string) {
	for i := range v.Sheet {
		if it := &v.Sheet[i]; it.Item == c.Item && c.Item != "" {
			return it.Name, it.Board
		}
	}
	name = c.Function
	if f, ok := v.Def.Function(c.Function); ok {
		name = orElse(f.Name, f.ID)
	}
	if c.Key != "" {
		name += " " + c.Key
	}
	return name, ""
}
