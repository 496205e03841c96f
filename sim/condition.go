package sim

import (
	"cmp"

	"headstack/machine"
	"headstack/measure"
)

// Condition is how a recorder is treated and how far it is open during a look. The zero
// value is not provoked, nothing known of the case.
type Condition struct {
	Provoked string // pressed, warm, cold, or empty
	Case     measure.CaseState
}

// shows is the probability that a fault shows at one look. A provocation goes before
// the state of the case.
func (f *Fault) shows(c Condition) float64 {
	if f.Asleep {
		return 0
	}
	if f.Presence == 0 && len(f.Shows) == 0 && f.Mode != machine.Intermittent {
		return 1
	}
	m := f.mode()
	if f.Presence > 0 {
		m.Mode = machine.Intermittent
	}
	return m.ShowsWhen(cmp.Or(c.Provoked, string(c.Case)))
}

// mode is the fault mode that a fault is of, as far as looks and cures go.
func (f *Fault) mode() machine.FaultMode {
	return machine.FaultMode{Mode: f.Mode, Mechanical: f.Mechanical, Presence: f.Presence, Shows: f.Shows, CuredBy: f.CuredBy}
}
