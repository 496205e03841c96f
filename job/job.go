package job

import (
	"time"

	"headstack/diagnosis"
	"headstack/measure"
	"headstack/unit"
)

// Job is one machine's passage over the bench.
type Job struct {
	ID            string // "job-0001"
	Definition    string // machine.Definition id
	DefinitionSHA string // of the YAML that the job was opened with; kept in the bench
	Name          string // "Quernmoor Hexastrand"
	Serial        string
	Owner         string
	Claim         string // what the owner says is wrong, in the owner's words
	Case          measure.CaseState
	Opened        time.Time // never before anything recorded earlier
	Clock         time.Time `json:",omitzero"` // what the clock said, where that differs

	// Once is a name that who opens the job may give it: the same name again is the same
	// job. It is asked with and not given back.
	Once string `json:"-"`
}

// Entry is one line of the record. Entries are appended, never changed; a
// correction is a new entry that points at what it corrects.
type Entry struct {
	Seq      int64  // from 1 within the bench
	Ref      string // "check 12", "reading 3": kind and number within the job
	Job      string
	At       time.Time // never before anything recorded earlier
	Clock    time.Time `json:",omitzero"` // what the clock said, where that differs
	Kind     Kind
	Corrects int64 // Seq of the entry replaced or withdrawn, 0 none
	Withdraw bool  // the corrected entry is taken back, nothing replaces it
	Case     measure.CaseState
	Remark   string
	// Minutes is how long it took at the bench, 0 where nobody said.
	Minutes unit.Minutes `json:",omitzero"`

	Check   *Check   `json:",omitempty"`
	Reading *Reading `json:",omitempty"`
	Capture *Capture `json:",omitempty"`
	Work    *Work    `json:",omitempty"`
	Opening *Opening `json:",omitempty"`
	Closing *Closing `json:",omitempty"`

	Photograph *Photograph `json:",omitempty"`

	// Of the line-up; see [Bench.LineUp].
	Turn    *Turn    `json:",omitempty"`
	Gate    *Gate    `json:",omitempty"`
	Pass    *Pass    `json:",omitempty"`
	Figure  *Figure  `json:",omitempty"`
	SignOff *SignOff `json:",omitempty"`
	Soak    *Soak    `json:",omitempty"`
	// Staircase is the plan of a bias staircase.
	Staircase *Staircase `json:",omitempty"`

	// Once and Seen are asked with and not given back; see together.go.
	//
	// Once is a name that who appends may give an entry: the same name again is the same
	// entry, so that what was sent twice is kept once.
	Once string `json:"-"`
	// Seen is the Seq of the last entry of the job that who appends had seen, 0 where that
	// is not said: an entry that something newer upsets is refused ([Upsets]).
	Seen int64 `json:"-"`
}

// Kind of an entry.
type Kind string

// The kinds of entry.
const (
	KindCheck   Kind = "check"
	KindReading Kind = "reading"
	KindCapture Kind = "capture"
	KindNote    Kind = "note"    // the text is in Remark
	KindWork    Kind = "work"    // what was found is in Remark
	KindOpening Kind = "opening" // opened further, or put back
	KindClosing Kind = "closing" // the job is done; see [Closing]

	KindPhotograph Kind = "photograph" // taken at the bench; see [Photograph]

	KindTurn    Kind = "turn"     // a trim was turned
	KindGate    Kind = "gate"     // a gate of the line-up was seen to, or lost
	KindPass    Kind = "pass"     // a test tape played without being captured
	KindFigure  Kind = "figure"   // what a step of the line-up reads, typed
	KindSignOff Kind = "sign-off" // a step is left as it is
	KindSoak    Kind = "soak"     // a reading during the soak
	// KindStaircase is the plan of a bias staircase; its replay is a capture.
	KindStaircase Kind = "staircase"
)

// Check records a control of the sheet or a function that was tried.
type Check struct {
	Item     string // check-sheet item id ("fader/3") or ...
	Function string // ... a function id ("record"), with Key the track
	Key      string
	Outcome  diagnosis.Outcome
	Symptom  diagnosis.Symptom
	// Provoked is how the recorder was treated while it was tried.
	Provoked diagnosis.Provocation `json:",omitempty"`
	// Fault is the number of the fault that was found, from 1 within the job, as it stands
	// on the label; 0 where nothing was wrong. Recording gives the next one.
	Fault int `json:",omitempty"`
}

// Reading records an instrument reading at a test point, as typed.
type Reading struct {
	TestPoint  string
	Key        string
	Value      float64 // in Unit as typed, e.g. 38
	Unit       string  // mV
	ToneHz     float64
	Instrument string
	Session    string
	Setting    string
	Provoked   diagnosis.Provocation `json:",omitempty"` // as in Check
}

// Work records something done to the recorder, whether or not it cured anything.
type Work struct {
	Kind  diagnosis.WorkKind
	Stage string // machine.Stage id
	Key   string // replica key; empty for a stage of which there is one
	// With is the replica key that the stage was exchanged with in a swap.
	With string `json:",omitempty"`
	// Back says that the swap with the same Stage, Key and With was undone.
	Back bool `json:",omitempty"`
}

// Opening records that the recorder was opened further, or put together again as far.
type Opening struct {
	Opening string // machine.Opening id
	Closed  bool   `json:",omitempty"` // it was put back, and with it all that hangs on it
}

// Capture records an audio file, known by its hash, and what was measured on it.
type Capture struct {
	File    string // name as given
	SHA256  string
	Bytes   int64
	Tape    string // test-tape name; empty for the replay of a record programme
	TapeSHA string
	// Programme is the record programme that was replayed, by name, where no test tape
	// was played.
	Programme    string `json:",omitempty"`
	ProgrammeSHA string `json:",omitempty"`
	// Interface is the capture interface whose looped-back response was taken off;
	// empty where none was. InterfaceSHA is that of the [Loopback].
	Interface    string `json:",omitempty"`
	InterfaceSHA string `json:",omitempty"`
	// WhileRecording says that the capture was taken while the programme was recorded.
	WhileRecording bool   `json:",omitempty"`
	Function       string // play, or record-play for the machine's own recording
	Tracks         []int  // channel n of the file is track Tracks[n-1]
	Voids          []Void `json:",omitempty"` // not believed: samples are missing there or repeated
	Report         measure.Report
}

// Played is the name of what was played: a test tape or a record programme.
func (c Capture) Played() string {
	if c.Programme != "" {
		return c.Programme
	}
	return c.Tape
}
