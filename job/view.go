package job

import (
	"context"

	"headstack/diagnosis"
	"headstack/machine"
	"headstack/measure"
	"headstack/unit"
)

// View is one job with everything known about it, corrections resolved.
type View struct {
	Job     Job
	Def     *machine.Definition // shared: not to be changed
	Entries []Entry             // all, by Seq
	Current []Entry             // those that count: not corrected, not withdrawn, no withdrawals
	// Sheet is the control check sheet of the definition in signal-flow order.
	Sheet []SheetItem
	// Functions are the functions that are tried by themselves, and any other
	// that was, on each replica, in the order of the definition.
	Functions []FunctionItem
	// Open are the ids of the openings that are open now, outermost first; Case is the
	// case state that goes with them. Swaps are those that were not undone.
	Open  []string
	Case  measure.CaseState
	Swaps []Work
	// Instruments are those of the bench's register that are in force, by name.
	Instruments []diagnosis.Instrument
	// Counted changes with what closed jobs teach the diagnosis.
	Counted string
}

// SheetItem is one control of the check sheet and what was last found there.
type SheetItem struct {
	Item     string // id, as in Check.Item: "fader/3"
	Name     string // "fader 3"
	Kind     string // machine.Control.Kind
	Board    string // board id
	Try      string // what to do and what should happen
	Minutes  unit.Minutes
	Cautions []string
	Setups   []machine.SetupInstance // under any of which it can be tried; empty: none is needed
	Latest   *Entry                  // nil: not tried
}

// FunctionItem is one function on one replica and what was last found there.
type FunctionItem struct {
	Function string // machine.Function id
	Name     string
	Key      string       // replica key, "" where the function repeats over nothing
	Minutes  unit.Minutes // 0: it is not tried by itself
	Latest   *Entry       // nil: not tried
}

// View returns a job with all its entries, corrections resolved.
func (b *Bench) View(ctx context.Context, jobID string) (*View, error) {
	if err := b.follow(ctx); err != nil {
		return nil, err
	}
	j, err := b.getJob(ctx, jobID)
	if err != nil {
		return nil, err
	}
	def, err := b.definition(ctx, j)
	if err != nil {
		return nil, err
	}
	entries, err := b.rec.Entries(ctx, jobID)
	if err != nil {
		return nil, err
	}
	v := &View{Job: j, Def: def, Entries: entries, Current: Current(entries)}
	v.stand(standingOf(def, j.Case, entries))
	if v.Instruments, err = b.Instruments(ctx); err != nil {
		return nil, err
	}
	v.Counted = b.shop.lesson()
	latest := make(map[Check]*Entry)
	for i := range v.Current {
		if c := v.Current[i].Check; c != nil {
			latest[Check{Item: c.Item, Function: c.Function, Key: c.Key}] = &v.Current[i]
		}
	}
	v.Sheet = sheet(def, latest)
	v.Functions = functions(def, latest)
	return v, nil
}

func sheet(def *machine.Definition, latest map[Check]*Entry) []SheetItem {
	items := def.CheckItems()
	out := make([]SheetItem, len(items))
	for i, it := range items {
		out[i] = SheetItem{
			Item: it.ID, Name: it.Name, Kind: it.Kind, Board: it.Board, Try: it.Try, Minutes: it.Minutes,
			Cautions: it.Cautions, Setups: it.Setups, Latest: latest[Check{Item: it.ID}],
		}
	}
	return out
}

func functions(def *machine.Definition, latest map[Check]*Entry) []FunctionItem {
	var out []FunctionItem
	for _, f := range def.Functions {
		for _, k := range def.ReplicaKeys(f.Each) {
			found := latest[Check{Function: f.ID, Key: k}]
			if f.CheckMinutes > 0 || found != nil {
				out = append(out, FunctionItem{Function: f.ID, Name: f.Name, Key: k, Minutes: unit.Minutes(f.CheckMinutes), Latest: found})
			}
		}
	}
	return out
}

// Seen is the Seq of the last entry of the view, to be said with what is written on its
// ground; see [Entry]. It is -1 where there is none: of nothing is not the same as not said.
func (v *View) Seen() int64 {
	if n := len(v.Entries); n > 0 {
		return v.Entries[n-1].Seq
	}
	return -1
}

// CorrectedBy returns the entry that corrects or withdraws seq, or nil.
func (v *View) CorrectedBy(seq int64) *Entry {
	for i := range v.Entries {
		if v.Entries[i].Corrects == seq && seq != 0 {
			return &v.Entries[i]
		}
	}
	return nil
}
