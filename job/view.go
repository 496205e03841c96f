package job

import (
	"headstack/machine"
	"headstack/unit"
)

// View is one job with everything known about it, corrections resolved.
type View struct {
	Job     Job
	Def     *machine.Definition
	Entries []Entry // all, by Seq
	Current []Entry // those that count: not corrected, not withdrawn, no withdrawals
	// Sheet is the control check sheet of the definition in signal-flow order.
	Sheet []SheetItem
	// Functions are the functions of the definition on each replica.
	Functions []FunctionItem
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
	Latest   *Entry // nil: not tried
}

// FunctionItem is one function on one replica and what was last found there.
type FunctionItem struct {
	Function string // machine.Function id
	Name     string
	Key      string // replica key, "" where the function repeats over nothing
	Minutes  unit.Minutes
	Latest   *Entry // nil: not tried
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
