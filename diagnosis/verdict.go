package diagnosis

import (
	"headstack/machine"
	"headstack/unit"
)

// Verdict is what the evidence says: what is proved good and by what, what is
// suspect, and what to do next.
type Verdict struct {
	// Sentences state the finding in plain bench words, most important first.
	Sentences []string
	// Explanations are the most probable fault sets, most probable first.
	Explanations []Explanation
	// Stages has every stage instance of the definition, in definition order.
	Stages []StageState
	// Next are the next checks, best first: information per minute.
	Next []Action
	// Doubts name evidence that is better taken again before it is built on.
	Doubts []Doubt
	// OutsideMass bounds the probability of what was not enumerated (more
	// simultaneous faults than MaxFaults in one scope).
	OutsideMass float64
	// OffsetsOutside estimates the share of the joint offsets of instruments and
	// captures that the sum did not reach. All fault sets are weighed at the
	// offsets that were reached, which are the most probable ones; a large share
	// makes the percentages rougher, it hides no fault. 0: all were summed.
	OffsetsOutside float64
	// PFaultFree is the probability that nothing is wrong.
	PFaultFree float64
	// WrongFix is the probability that repairing the leading explanation does
	// not cure the machine.
	WrongFix float64
}

// Explanation is a set of faults that accounts for the evidence.
type Explanation struct {
	Faults []Fault
	P      float64
}

// Fault is one stage instance in one fault mode.
type Fault struct {
	Stage string // machine.Stage id
	Key   string
	Part  string // "C31-a"
	Mode  machine.Mode
	Cause string
}

// Status of a stage instance.
type Status string

// The three states a stage can be in; shape and word first, colour second.
const (
	Proved  Status = "proved"
	Suspect Status = "suspect"
	Unknown Status = "unknown"
)

// StageState says what is known about one stage instance and by what.
type StageState struct {
	Stage, Key, Part, Name, Board string
	Status                        Status
	P                             float64 // probability that it is faulty
	Modes                         []ModeP // most probable first, faulty modes only
	ClearedBy, AccusedBy          []Because
}

// ModeP is one fault mode's share.
type ModeP struct {
	Mode  machine.Mode
	Cause string
	P     float64
}

// Because names one observation and how much it says, in bits for (+) or
// against (−) the fault.
type Because struct {
	Ref  string
	Text string // "C11-3 is cleared by reading 7: 98 mV at TP11-3, 100 mV expected"
	Bits float64
}

// Doubt is an observation that the rest contradicts.
type Doubt struct {
	Ref  string
	P    float64 // probability that it is wrong
	Text string  // all of it, in bench words
	// Kind is how a reading probably went wrong; empty of anything else.
	Kind WrongKind
	// Why says what contradicts it and how it probably went wrong, How how to take it
	// again.
	Why, How string
}

// Action is one thing to do next.
type Action struct {
	Kind      string // "check" or "reading"
	Text      string // "Read TP21-a (1.10 V expected) ..."
	Function  string // for a check
	TestPoint string // for a reading
	Key       string
	ToneHz    float64
	// Siblings are replica keys to be read too, with the same meter and tone,
	// because only the comparison tells; Minutes includes them.
	Siblings []string
	Where    string // board, connector side and pin
	Opening  string // opening it needs, empty when closed
	Expect   string // expected value with unit and spread
	Minutes  unit.Minutes
	GainBits float64 // expected reduction of the entropy of the explanations
	Why      string
	Cautions []string
}
