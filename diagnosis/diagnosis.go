package diagnosis

import (
	"context"
	"errors"
	"fmt"

	"headstack/machine"
)

// Options set how a diagnosis is made. The zero value is the usual one.
type Options struct {
	// MaxFaults is the number of simultaneous faults considered in each scope:
	// the shared stages, each group, each track: 1 or 2. 0 means 2.
	MaxFaults int
	// Open lists the openings (machine.Opening ids) that are open now; what
	// lies behind them costs no opening minutes.
	Open []string
	// Instrument and Session are those in hand; a further reading of a sibling
	// with them shares their offset. Empty: those of the last reading.
	Instrument, Session string
}

// Engine diagnoses jobs on machines of one definition. It keeps nothing
// between calls and may be used from several goroutines.
type Engine struct {
	def   *machine.Definition
	opt   Options
	atlas *atlas
}

// New prepares an engine for a definition, which must have passed machine.Load.
// The error says which function cannot be resolved.
func New(def *machine.Definition, opt Options) (*Engine, error) {
	if def == nil {
		return nil, errors.New("diagnosis: no machine definition")
	}
	if opt.MaxFaults == 0 {
		opt.MaxFaults = 2
	}
	if opt.MaxFaults < 1 || opt.MaxFaults > 2 {
		return nil, fmt.Errorf("diagnosis: %d faults at once in one scope; 1 or 2 can be considered", opt.MaxFaults)
	}
	a, err := newAtlas(def)
	if err != nil {
		return nil, err
	}
	return &Engine{def: def, opt: opt, atlas: a}, nil
}

// Diagnose says what the evidence means. The order of the evidence does not
// matter. The error says which entry cannot be understood.
func (e *Engine) Diagnose(ev Evidence) (*Verdict, error) {
	w, err := e.Weigh(context.Background(), ev)
	if err != nil {
		return nil, err
	}
	return w.Verdict(context.Background())
}
