package lineup

import (
	"slices"

	"headstack/measure"
)

// Step is one thing to do, or to see to, for one trim or one reading.
type Step struct {
	// ID is unique in an order and stable: kind, then trim or speed in cm/s, then the
	// replica: "bias/B38/3", "level_again/38.1/3", "path_clean".
	ID    string `json:"id"`
	Kind  Kind   `json:"kind"`
	Phase Phase  `json:"phase"`
	Name  string `json:"name"`
	// Gate marks what must be so, where nothing is set.
	Gate bool `json:"gate,omitempty"`
	// Trim is the definition's trim that is turned here, Part its designator, empty
	// where the step only reads.
	Trim string `json:"trim,omitempty"`
	Part string `json:"part,omitempty"`
	// Sign is +1 where clockwise raises the reading, -1 where it lowers it, 0 for a
	// peak or a dip and where nothing is turned.
	Sign  int    `json:"sign"`
	Range string `json:"range,omitempty"`
	// Each and Key are the replica set of the trim and the replica; Tracks are the
	// tracks that the step is about, empty for the whole recorder.
	Each   string `json:"each,omitempty"`
	Key    string `json:"key,omitempty"`
	Tracks []int  `json:"tracks,omitempty"`
	// SpeedCmS is the speed at which it is read, 0 where none matters; AllSpeeds says
	// that the trim acts at every speed.
	SpeedCmS  float64 `json:"speed_cm_s,omitempty"`
	AllSpeeds bool    `json:"all_speeds,omitempty"`
	// Measure names the result that settles the step, as in package measure or, for
	// what an instrument reads, as in [machine.Measures].
	Measure string `json:"measure,omitempty"`
	// At is the function or test point at which it is read, AtName that in words,
	// AtPart the designator of a test point.
	At     string `json:"at,omitempty"`
	AtName string `json:"at_name,omitempty"`
	AtPart string `json:"at_part,omitempty"`
	Source Source `json:"source"`
	// Reach is where the trim is, Probe where a test point is.
	Reach Reach  `json:"reach"`
	Probe Reach  `json:"probe"`
	Needs []Need `json:"needs,omitempty"`
	// Checks are the steps to take again when this one reads out of tolerance.
	Checks []string `json:"checks,omitempty"`
	// OnEvidence: left alone unless something points at it.
	OnEvidence bool     `json:"on_evidence,omitempty"`
	Cautions   []string `json:"cautions,omitempty"`
	Note       string   `json:"note,omitempty"`
}

// Need is a step that comes before, and why.
type Need struct {
	Step string `json:"step"`
	Why  string `json:"why"`
	// Moves: what is turned there changes what is read here, so that this step is
	// stale afterwards.
	Moves bool `json:"moves,omitempty"`
}

// Carrier is what plays while a step is read.
type Carrier string

// The carriers.
const (
	NoTape   Carrier = ""          // nothing needs to play
	OwnTape  Carrier = "own"       // a recording of the machine's own: part of a record programme
	TestTape Carrier = "test_tape" // a calibration tape
)

// Source is what plays: a section of a test tape or a part of a record programme.
type Source struct {
	Carrier Carrier `json:"carrier,omitempty"`
	// Tape is the test tape's name where one is at hand for the speed, Programme that of
	// the record programme.
	Tape      string `json:"tape,omitempty"`
	Programme string `json:"programme,omitempty"`
	// Section is that of the test tape, or the part of the programme, by name; words
	// where neither has one.
	Section string  `json:"section,omitempty"`
	ToneHz  float64 `json:"tone_hz,omitempty"`
	// LevelDB is re the reference of the tape or programme.
	LevelDB float64 `json:"level_db,omitempty"`
}

// Reach says where the hand goes: the openings from the closed recorder, and the board.
type Reach struct {
	Opening string            `json:"opening,omitempty"`
	Chain   []string          `json:"chain,omitempty"` // names of the openings in the order in which they are made
	Case    measure.CaseState `json:"case,omitempty"`
	Board   string            `json:"board,omitempty"`
	Place   string            `json:"place,omitempty"`
}

// on reports whether two steps concern a track in common.
func (s *Step) on(o *Step) bool {
	if len(s.Tracks) == 0 || len(o.Tracks) == 0 {
		return true
	}
	return slices.ContainsFunc(s.Tracks, func(t int) bool { return slices.Contains(o.Tracks, t) })
}

// actsAt reports whether what is set in s counts at a speed.
func (s *Step) actsAt(speedCmS float64) bool {
	return s.AllSpeeds || s.SpeedCmS == 0 || speedCmS == 0 || s.SpeedCmS == speedCmS
}
