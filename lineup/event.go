package lineup

import (
	"slices"
	"strings"

	"headstack/machine"
	"headstack/measure"
)

// EventKind is what happened at the bench.
type EventKind string

// The events of a line-up.
const (
	GateDone    EventKind = "gate_done"    // Step: a gate was seen to
	GateLost    EventKind = "gate_lost"    // Step: a gate holds no longer: cooled down, dirty, magnetised
	Measured    EventKind = "measured"     // Step, Result, Target: a step was read
	Turned      EventKind = "turned"       // Trim, Key: a trim was turned, however far
	Opened      EventKind = "opened"       // Opening
	Closed      EventKind = "closed"       // Opening
	TapeChanged EventKind = "tape_changed" // Carrier, Tape: the tape to record on, or the test tape
	Played      EventKind = "played"       // Tape: one pass of a test tape
	Evidence    EventKind = "evidence"     // Step or Trim: something points at a trim that is else left alone
	SignedOff   EventKind = "signed_off"   // Step, Reason: left as it is
	Soaked      EventKind = "soaked"       // Minutes, Result: a reading during the soak
)

// Event is one entry of the log of a line-up. States are a function of the log alone;
// events count in the order of the slice.
type Event struct {
	Seq  int       `json:"seq,omitempty"` // of the record, to cite
	Kind EventKind `json:"kind"`
	Step string    `json:"step,omitempty"`
	Trim string    `json:"trim,omitempty"`
	// Key is the replica of the trim; empty: all of them.
	Key     string  `json:"key,omitempty"`
	Opening string  `json:"opening,omitempty"`
	Carrier Carrier `json:"carrier,omitempty"`
	Tape    string  `json:"tape,omitempty"`
	// Result is what was read; a refused one settles nothing. Target is what it was
	// read against; without one, [Order] takes any reading for good: what has no figure
	// is judged by the person who enters it.
	Result *measure.Result `json:"result,omitempty"`
	Target *Target         `json:"target,omitempty"`
	Reason string          `json:"reason,omitempty"`
	By     string          `json:"by,omitempty"` // initials
	// Minutes is the time since the soak began.
	Minutes float64 `json:"minutes,omitempty"`
}

// SignOff is a step that a person answers for as it stands.
type SignOff struct {
	Step   string `json:"step"`
	Reason string `json:"reason"`
	By     string `json:"by,omitempty"` // initials
	Seq    int    `json:"seq,omitempty"`
}

// Event makes the entry of a sign-off.
func (s SignOff) Event() Event {
	return Event{Seq: s.Seq, Kind: SignedOff, Step: s.Step, Reason: s.Reason, By: s.By}
}

// Loses lists the kinds of steps whose setting an opening costs, by its after_why: what
// names azimuth, height, rack, wrap or zenith. The path is then clean and demagnetised
// no longer.
func Loses(o *machine.Opening) []Kind {
	why := strings.ToLower(o.AfterWhy)
	var out []Kind
	for _, w := range []struct {
		word  string
		kinds []Kind
	}{
		{"height", []Kind{Height}}, {"rack", []Kind{Rack}}, {"wrap", []Kind{Height, Azimuth, RecordAzimuth}}, {"zenith", []Kind{Height}},
		{"azimuth", []Kind{Azimuth, RecordAzimuth, EraseAzimuth}},
	} {
		if strings.Contains(why, w.word) {
			for _, k := range w.kinds {
				if !slices.Contains(out, k) {
					out = append(out, k)
				}
			}
		}
	}
	if len(out) > 0 {
		out = append(out, PathClean, Demagnetised)
	}
	return out
}
