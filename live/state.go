package live

import "headstack/measure"

// FloorDB stands in levels for anything lower, digital silence too.
const FloorDB = -200

// Phase is how far a session is.
type Phase string

// The phases of a session.
const (
	PhaseRunning Phase = "running" // frames are taken
	PhaseFailed  Phase = "failed"  // the file does not grow any more; Error says why
	PhaseClosed  Phase = "closed"  // the file is finished
)

// State is what a session knows at one moment. What its slices hold never changes: a caller
// may keep it, and must not write to them.
type State struct {
	Seq uint64 `json:"seq"` // grows with every change, about ten times a second
	// FiguresSeq is Seq at the last change of what is known of the tape: Sections, SpeedRatio,
	// Azimuth, Voids. A page that has it already needs the levels only.
	FiguresSeq uint64  `json:"figures_seq"`
	Phase      Phase   `json:"phase"`
	Error      string  `json:"error,omitempty"`
	Source     string  `json:"source,omitempty"`
	File       string  `json:"file"`             // path
	SHA256     string  `json:"sha256,omitempty"` // once closed
	SampleRate int     `json:"sample_rate"`      // hertz
	Frames     int64   `json:"frames"`
	Seconds    float64 `json:"seconds"` // Frames at SampleRate
	// Late is how many seconds of the capture are in the file and not yet in the figures of
	// Sections.
	LateS float64 `json:"late_s"`

	Channels []Channel `json:"channels"`
	Tape     string    `json:"tape,omitempty"` // that is expected
	// Sections has one entry for each section of the tape, in the tape's order; none
	// where no tape is expected.
	Sections []Section `json:"sections"`
	// SpeedRatio is the tape's speed over nominal as the search has it, 0 unknown. It places
	// sections; the figure is speed_error.
	SpeedRatio float64 `json:"speed_ratio,omitempty"`
	// Speed is speed_error of all tones so far together; nil before there is one.
	Speed *measure.Result `json:"speed,omitempty"`
	// Azimuth is azimuth_line and the azimuth of each track against the lowest-numbered one, of all
	// tones so far together; empty where they do not give it yet.
	Azimuth []measure.Result `json:"azimuth,omitempty"`
	// Voids are the stretches not to be believed, in order; the first 1000, with
	// all of them counted.
	Voids     []Void `json:"voids,omitempty"`
	VoidCount int    `json:"void_count"`
	Want      Want   `json:"want"`
	// Enough: every section is heard well enough, the tape may be stopped. Never true
	// without a tape.
	Enough   bool     `json:"enough"`
	Warnings []string `json:"warnings,omitempty"` // about the capture as a whole, in sentences
}

// Channel is what is seen of one channel.
type Channel struct {
	Channel int `json:"channel"` // from 1
	Track   int `json:"track"`   // 0: left out
	// RMSDBFS and PeakDBFS are of the last 100 ms that were whole. 0 dBFS is the r.m.s. of
	// a sine of full scale (AES17), and a peak of full scale.
	RMSDBFS  float64 `json:"rms_dbfs"`
	PeakDBFS float64 `json:"peak_dbfs"`
	// MaxPeakDBFS is the highest peak so far.
	MaxPeakDBFS float64 `json:"max_peak_dbfs"`
	// Clipped counts samples in runs of three or more at full scale. ClippedAtS are the places
	// of the first 100 runs, seconds from the first frame.
	Clipped    int64     `json:"clipped"`
	ClippedAtS []float64 `json:"clipped_at_s,omitempty"`
	// Silent: for 1 s or more this channel has been 40 dB below the loudest, or below
	// -70 dBFS while a tone of the tape runs.
	Silent bool `json:"silent,omitempty"`
}

// Stage is how far a section of the tape is.
type Stage string

// The stages of a section.
const (
	NotYet  Stage = "not yet"
	Running Stage = "running" // it is heard just now
	Heard   Stage = "heard"   // it is over
	Missed  Stage = "missed"  // a later one is heard; Reason says why this was not found
)

// Section is one section of the expected tape.
type Section struct {
	Index  int     `json:"index"` // in Tape.Sections
	Name   string  `json:"name"`
	ToneHz float64 `json:"tone_hz,omitempty"` // nominal; 0: silence
	Stage  Stage   `json:"stage"`
	StartS float64 `json:"start_s,omitempty"` // seconds from the first frame
	EndS   float64 `json:"end_s,omitempty"`   // so far, while it runs
	Reason string  `json:"reason,omitempty"`
	// Figures are level, response and speed_error of each track, and the delay of each against the
	// lowest-numbered one, as the file gives them so far.
	Figures []measure.Result `json:"figures,omitempty"`
	// Enough: all figures of the section are as good as wanted, or it is silence and long
	// enough. Lacks says what is not, such as "level of track 3 is known to ±0.08 dB".
	Enough bool   `json:"enough"`
	Lacks  string `json:"lacks,omitempty"`
	// Voided: a Void lies in it. Its figures are those of the longest stretch beside the void; there
	// are none when that is too short. Measuring the file as a whole knows of no voids.
	Voided bool `json:"voided,omitempty"`
}

// Void is a stretch not to be believed, and why.
type Void struct {
	FromS float64 `json:"from_s"` // seconds from the first frame
	ToS   float64 `json:"to_s"`
	// Channel from 1; 0: all.
	Channel int `json:"channel,omitempty"`
	// Frames that are missing (above 0) or repeated (below), where that is known; about.
	Frames int64  `json:"frames,omitempty"`
	Reason string `json:"reason"`
}
