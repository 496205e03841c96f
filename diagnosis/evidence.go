package diagnosis

import (
	"headstack/measure"
	"headstack/signature"
)

// Evidence is everything observed on one job so far.
type Evidence struct {
	Checks   []Check
	Readings []Reading
	Measures []Measured
	// Works are what was done to the recorder, by Seq.
	Works []Work
	// Instruments are those that readings name, by [Instrument.ID]. A reading with an
	// instrument that is not among them is taken with an ordinary meter that nothing is
	// known of.
	Instruments []Instrument
}

// Check is the outcome of trying one function on one replica by ear or meter:
// "record on track 3: weak".
type Check struct {
	Ref      string // how the record names it, used in sentences: "check 12"
	Function string // machine.Function id
	Key      string // replica key, usually the track number
	Outcome  Outcome
	Symptom  Symptom // when faulty; empty where nobody said
	Case     measure.CaseState
	// Seq orders observations and works: a work changes what is observed with a
	// higher Seq. 0 is before everything.
	Seq      int64
	Provoked Provocation
}

// Outcome of a check.
type Outcome string

// The outcomes a person can give.
const (
	Works        Outcome = "works"
	Faulty       Outcome = "faulty"
	Intermittent Outcome = "intermittent"
	NotFitted    Outcome = "not fitted"
	NotTried     Outcome = "not tried"
)

// Symptom says how a function is faulty.
type Symptom string

// The symptoms that fault modes explain.
const (
	SymptomUnknown Symptom = ""
	SymptomDead    Symptom = "dead"
	SymptomWeak    Symptom = "weak" // all frequencies low
	SymptomDull    Symptom = "dull" // treble low
	SymptomThin    Symptom = "thin" // bass low
	SymptomNoisy   Symptom = "noisy"
)

// Reading is one instrument reading at a test point.
type Reading struct {
	Ref        string
	TestPoint  string  // machine.TestPoint id
	Key        string  // replica key
	Value      float64 // in the base unit of Unit: V, A, ohm, Hz
	Unit       string
	ToneHz     float64 // 0: the test point's own tone
	Instrument string
	Session    string // readings of one session with one instrument share an unknown offset
	Setting    string // probe setting: repeats within one are one piece of evidence
	Case       measure.CaseState
	Seq        int64 // as in Check
	Provoked   Provocation
}

// Measured is a set of figures from a capture of a function (play of a test
// tape, record-play of the machine's own recording).
type Measured struct {
	Ref      string
	Function string
	Results  []measure.Result
	Seq      int64 // as in Check
	// Shapes weighs the causes of the losses on its tracks by their shape; nil where
	// nothing of the kind is known. On the tracks that it judges it stands in place of
	// the treble and bass figures, which hold the same data. Captures that were weighed
	// together have one Shapes: what it says of all tracks is then booked once.
	Shapes *signature.Evidence `json:"-"`
}
