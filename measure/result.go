package measure

import "time"

// Result is one measured or derived figure, or the refusal to give one. It is
// the only number type that reaches a person: value, unit, 95 % interval, what
// 0 dB is, how it was obtained and under which conditions.
//
// When Refused is not empty Value, Lo and Hi carry nothing and are null in JSON.
type Result struct {
	// Name is the measure: level, response, speed_error, delay, azimuth, noise, ...
	Name string
	// Track is the track's number from 1, or 0 where the figure belongs to no
	// single track (null in JSON).
	Track int
	// TrackB is the second track of a pair (delay, azimuth), else 0 (null in JSON).
	TrackB int
	// Section names the test-tape section measured, empty where several were combined.
	Section string
	// ToneHz is the section's nominal tone in Hz, 0 for silence or where several
	// sections were combined.
	ToneHz float64
	// Value and its 95 % interval [Lo, Hi], in Unit.
	Value, Lo, Hi float64
	Unit          string
	// Reference says what zero is, for instance "full-scale sine = 0 dBFS".
	Reference string
	// Method names weighting, detector, bandwidth and window.
	Method string
	// Warnings are doubts about a figure that was computed all the same.
	Warnings []string
	// Refused says why there is no figure; empty when there is one.
	Refused string
	// Conditions under which the figure was taken.
	Conditions Conditions
}

// Conditions say when, where and with what a figure was taken. Unknown fields
// are empty and left out of the JSON form.
type Conditions struct {
	Case       CaseState `json:"case,omitempty"`
	Tape       string    `json:"tape,omitempty"`
	SpeedCmS   float64   `json:"speed_cm_s,omitempty"`
	Capture    string    `json:"capture,omitempty"` // file name or hash
	Channel    int       `json:"channel,omitempty"` // of the capture, from 1
	Instrument string    `json:"instrument,omitempty"`
	When       time.Time `json:"when,omitzero"`
}

// CaseState says how far the recorder was opened when something was observed.
type CaseState string

// The case states a bench distinguishes. Unknown is a state of its own.
const (
	CaseUnknown CaseState = ""
	CaseClosed  CaseState = "closed"
	CasePropped CaseState = "propped"
	CaseOpen    CaseState = "open"
)
