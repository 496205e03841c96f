package live

import (
	"context"
	"errors"
	"fmt"
	"time"

	"headstack/machine"
	"headstack/measure"
	"headstack/testtape"
)

// Config says what is captured, into which file, and what is expected on the tape.
type Config struct {
	SampleRate int // hertz, 1 to capture.MaxSampleRate
	Channels   int // 1 to capture.MaxChannels
	// Folder and Name say where the file grows. The folder is made if need be. Name is a
	// plain file name; ".wav" is added where it is missing. A file of that name is
	// never overwritten: the error is then fs.ErrExist.
	Folder, Name string
	// Expect says what is known of the tape; the zero value: nothing.
	Expect Expect
	// Want says how good a figure has to be; the zero value is [DefaultWant].
	Want Want
	// Source names what the frames come from, for the state; free text.
	Source string
	// Clocked says that frames come from a device that runs in real time: they
	// are counted against the clock and a lack of them is said.
	Clocked bool
	// SyncEvery is how often the file is brought to the disk; 0: every 5 s.
	SyncEvery time.Duration
}

// Expect is what is known beforehand. With no tape, nothing is looked for; levels and
// watches work all the same.
type Expect struct {
	Tape    *testtape.Tape
	Machine *machine.Definition // nil: unknown; there is no azimuth without one
	// Tracks[c] is the track on channel c, from 1; 0 leaves the channel out. nil: channel c
	// carries track c+1.
	Tracks []int
	Case   measure.CaseState
}

// Want is how good a figure must be to be enough: the largest half width of its 95 %
// interval. Where a track has no tone at all, more tape tells no more, and it holds nothing
// up. Common practice, no source: a trim is set to about 0.1 dB, so that its level
// should be known to half of that; speed is held to 0.1 to 0.3 %; 5 µs is a twentieth of
// a period at 10 kHz, which costs two tracks added together 0.1 dB.
type Want struct {
	LevelDB  float64 `json:"level_db"`  // of level and response
	SpeedPct float64 `json:"speed_pct"` // of all tones together
	DelayUs  float64 `json:"delay_us"`  // at tones from 1 kHz
	// SilenceS is how much of a silent section is enough: noise needs length, and its
	// interval comes only when the file is measured as a whole.
	SilenceS float64 `json:"silence_s"`
	// FlutterS is how much of the tone that the speed is followed on is enough: the one at 3 or
	// 3.15 kHz, else the longest from 1 kHz. Where it is shorter, 0.9 of it is.
	FlutterS float64 `json:"flutter_s"`
	// LeastS is how much of a tone must be heard at the least, in seconds: what
	// a slow wow or a drop-out does to a shorter piece stands in no interval.
	LeastS float64 `json:"least_s"`
}

// DefaultWant is 0.05 dB, 0.02 %, 5 µs, 8 s of silence, 15 s for flutter, at least 3 s of
// a tone. 15 s hold a few turns of the slowest reel.
func DefaultWant() Want {
	return Want{LevelDB: 0.05, SpeedPct: 0.02, DelayUs: 5, SilenceS: 8, FlutterS: 15, LeastS: 3}
}

// Kept is the file that a session leaves.
type Kept struct {
	Path     string   `json:"path"`
	SHA256   string   `json:"sha256"` // of the whole file, lower-case hexadecimal; empty when the file could not be read back
	Frames   int64    `json:"frames"`
	Seconds  float64  `json:"seconds"`
	Voids    []Void   `json:"voids,omitempty"`
	Warnings []string `json:"warnings,omitempty"`
	// Enough says that every section of the tape was heard well enough.
	Enough bool `json:"enough"`
}

// ErrClosed is what Write returns after Close.
var ErrClosed = errors.New("the capture is closed")

// FileError says that the file does not grow any more, such as for a full disk. What is in
// it stays, and Close still finishes it.
type FileError struct {
	Path   string
	Frames int64 // that are in the file
	Err    error
}

func (e *FileError) Error() string {
	return fmt.Sprintf("%s does not grow any more after %d frames, which are kept: %v", e.Path, e.Frames, e.Err)
}

func (e *FileError) Unwrap() error { return e.Err }

// Hint says what to do.
func (e *FileError) Hint() string {
	return "make room on that disk or capture to another folder; then take the rest of the tape again"
}

// Wait returns the state as soon as its Seq is above after, or that at the end of ctx with
// ctx's error. Once the session is closed it returns at once.
func (s *Session) Wait(ctx context.Context, after uint64) (State, error) {
	for {
		changed := s.Changed()
		st := s.State()
		if st.Seq > after || st.Phase == PhaseClosed {
			return st, nil
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return s.State(), ctx.Err()
		}
	}
}
