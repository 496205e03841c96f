package lineup

import (
	"errors"
	"fmt"

	"headstack/machine"
	"headstack/programme"
)

// Order is the line-up of one recorder type: every step in an order that converges.
// Every step stands after all that it needs. Only [New] makes one.
type Order struct {
	Machine string `json:"machine"`
	Steps   []Step `json:"steps"`
	// ThreeHeads: record and play are heads of their own, so that a recording is heard
	// at once; else it is rewound and played.
	ThreeHeads bool `json:"three_heads"`

	def   *machine.Definition
	tapes []TapeAtHand
	at    map[string]int
	needs [][]int // for each step, the steps that it needs
	moved [][]int // for each step, the steps that it moves directly
}

// Options say what is at hand for a line-up.
type Options struct {
	// Tapes are the test tapes at hand; the first that fits a speed gives its sections.
	Tapes []TapeAtHand
	// Programmes are the record programmes at hand; without one for a speed, the parts are
	// named as in the standard one.
	Programmes []*programme.Programme
	// WarmMinutes is how long the recorder warms up; 0: 20. Common practice, no source:
	// 10 to 30 minutes.
	WarmMinutes float64
}

// warmMinutes is the middle of what the trade keeps to; common practice, no source.
const warmMinutes = 20

// ErrDefinition is the error of [New] for a definition that no order can be made of.
var ErrDefinition = errors.New("no line-up order")

// New makes the order of a definition, as [machine.Load] returns it. The error is
// [ErrDefinition]: a definition without tracks or speeds.
func New(d *machine.Definition, opt Options) (*Order, error) {
	if d == nil || d.Tracks.Count < 1 || len(d.Speeds) == 0 {
		return nil, fmt.Errorf("%w: the definition has no tracks or no speeds", ErrDefinition)
	}
	if opt.WarmMinutes == 0 {
		opt.WarmMinutes = warmMinutes
	}
	b := &builder{d: d, opt: opt, o: &Order{Machine: d.ID, def: d, tapes: opt.Tapes, ThreeHeads: threeHeads(d)}, standard: map[float64]*programme.Programme{}}
	b.gates()
	for i := range d.Trims {
		b.trim(&d.Trims[i])
	}
	b.readings()
	b.proofs()
	b.sort()
	b.join()
	return b.o, nil
}

// Step returns a step by its id.
func (o *Order) Step(id string) (*Step, bool) {
	i, ok := o.at[id]
	if !ok {
		return nil, false
	}
	return &o.Steps[i], true
}

// Trim returns the step at which a trim's replica is set; key is empty for a trim that
// does not repeat.
func (o *Order) Trim(trim, key string) (*Step, bool) {
	for i := range o.Steps {
		if s := &o.Steps[i]; s.Trim == trim && s.Key == key {
			return s, true
		}
	}
	return nil, false
}
