package diagnosis

import (
	"headstack/machine"
	"headstack/unit"
)

// Situation is what is at hand when advice is asked for.
type Situation struct {
	// Open are the openings (machine.Opening ids) that are open now.
	Open []string
	// Instrument and Session are those in hand; empty: those of the last reading.
	Instrument, Session string
	// Brief leaves out what is only for reading: by which evidence stages are
	// cleared and why, texts of actions. It saves most of the time.
	Brief bool
	// Fast plans one step ahead only.
	Fast bool
}

// Advice is what is known and what to do next, in the form of the contract for
// scripts. It is deterministic: the same evidence gives the same advice.
type Advice struct {
	Suspects    []SuspectStage `json:"suspects"` // most probable first
	Cleared     []ClearedStage `json:"cleared"`
	Recheck     []Recheck      `json:"recheck"` // most doubtful first
	Actions     []Step         `json:"actions"` // least expected total first
	Stop        Stop           `json:"stop"`
	MassLeftOut float64        `json:"mass_left_out"`
	// Unproven are symptoms that went without a proven cause.
	Unproven []Unproven `json:"unproven"`
	// Minutes is the expected time to a verified fix when the first action is taken and
	// planning goes on like this.
	Minutes unit.Minutes `json:"minutes"`
	// PFaultFree is the probability that nothing that matters to the evidence is wrong
	// now.
	PFaultFree float64 `json:"fault_free_probability"`
}

// SuspectStage is a stage instance that is probably faulty now in one of its modes.
type SuspectStage struct {
	Stage       string       `json:"stage"`
	Track       string       `json:"track"` // replica key; empty for a shared stage
	Mode        machine.Mode `json:"mode"`  // the most probable
	Probability float64      `json:"probability"`
	Part        string       `json:"part"`
	Cause       string       `json:"cause"`
	// By is a smallest set of observations that accuses it, Why says so in words.
	By  []string `json:"by"`
	Why string   `json:"why"`
}

// ClearedStage is a stage instance proved good, and a smallest set of observations
// that suffices for it.
type ClearedStage struct {
	Stage string   `json:"stage"`
	Track string   `json:"track"`
	Part  string   `json:"part"`
	By    []string `json:"by"`
	Why   string   `json:"why"`
}

// Recheck is an observation to be made again before it is built on.
type Recheck struct {
	Reading          string  `json:"reading"`
	ProbabilityWrong float64 `json:"probability_wrong"`
	Why              string  `json:"why"` // what contradicts it and how it probably went wrong
	How              string  `json:"how"` // how to take it again
}

// StepKind is the kind of an action.
type StepKind string

// The kinds of action.
const (
	StepCheck   StepKind = "check"   // try a function
	StepReading StepKind = "reading" // read a test point
	StepProvoke StepKind = "provoke" // try a function while pressing, warming ...
	StepClean   StepKind = "clean"
	StepSwap    StepKind = "swap" // exchange siblings, try, exchange back
	StepRepair  StepKind = "repair"
	StepClose   StepKind = "close" // put it together and try it in the state in which it failed
)

// Step is one action that could be taken next.
type Step struct {
	ID          string       `json:"id"` // the same action has the same id
	Kind        StepKind     `json:"kind"`
	Target      string       `json:"target"` // designator, or function and key
	Minutes     unit.Minutes `json:"minutes"`
	Opening     string       `json:"opening"`      // the opening it needs, empty when none more than open already
	GainMinutes float64      `json:"gain_minutes"` // lowers the expected total by, against going straight to the repairs
	Predicts    []Prediction `json:"predicts"`

	Text     string   `json:"text"`
	Where    string   `json:"where"` // board, connector side, pin
	Expect   string   `json:"expect"`
	Why      string   `json:"why"`
	Cautions []string `json:"cautions"`

	// What an executor needs to know.
	Function  string      `json:"function,omitempty"`
	TestPoint string      `json:"test_point,omitempty"`
	Key       string      `json:"key,omitempty"`
	ToneHz    float64     `json:"tone_hz,omitempty"`
	Siblings  []string    `json:"siblings,omitempty"` // to be read too; the minutes include them
	Provoked  Provocation `json:"provoked,omitempty"`
	Stage     string      `json:"stage,omitempty"` // of a work
	With      string      `json:"with,omitempty"`  // of a swap
	Open      []string    `json:"open,omitempty"`  // openings to make, outermost first
	Close     []string    `json:"close,omitempty"` // openings to put back first, innermost first
	// Again says that it repeats an observation with a fresh probe setting.
	Again bool `json:"again,omitempty"`
}

// Prediction is one outcome of an action.
type Prediction struct {
	Outcome     string  `json:"outcome"` // "works", "dull", "about 0.31 V", "cured"
	Probability float64 `json:"probability"`
}

// Stop says whether anything is left that lowers the expected total.
type Stop struct {
	Reached             bool    `json:"reached"`
	WrongFixProbability float64 `json:"wrong_fix_probability"`
	Reason              string  `json:"reason"`
	// Lowers says what would lower the chance of a wrong fix, and its price.
	Lowers string `json:"lowers"`
}

// Unproven is a work after which a symptom was gone though no cause was shown.
type Unproven struct {
	Work    string   `json:"work"`
	Symptom string   `json:"symptom"`
	Returns float64  `json:"returns_probability"` // that it comes back
	Asks    []string `json:"asks"`                // what would prove it
}
