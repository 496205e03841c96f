package job

import (
	"io"

	"headstack/measure"
)

// CaptureUpload is an audio file to keep and measure.
type CaptureUpload struct {
	Name string    // file name as given
	Data io.Reader // the file; nil when SHA256 names one that is kept already
	// SHA256 measures a kept file again, usually together with Corrects, for
	// instance because the track numbers were wrong.
	SHA256 string
	// Corrects is the Seq of the capture entry that this one replaces, 0 none.
	Corrects int64

	Tape     string  // test tape id, or its SHA-256
	Function string  // play, or record-play for the machine's own recording; "" is play
	Tracks   []int   // channel n of the file is track Tracks[n-1]; empty: all tracks in order
	SpeedCmS float64 // the machine's speed; 0: the tape's
	Case     measure.CaseState
	Remark   string
	// Progress is told how much of the measuring is done, 0 to 1; may be nil.
	Progress func(done float64)
}
