package signature

import (
	"errors"

	"headstack/measure"
)

// ErrNoTape is returned without Options.Tape.
var ErrNoTape = errors.New("no test tape given")

// Explain fits the report of one or more captures of a test tape with the causes that
// tape physics and electronics allow.
func Explain(rep measure.Report, opt Options) (Explanation, error) {
	if opt.Tape == nil {
		return Explanation{}, ErrNoTape
	}
	return Explanation{}, errors.New("not yet")
}

// Compare fits the difference of two reports of the same tape on the same machine, after
// less before, as changes of spacing, azimuth, gain or corner. Parameters are changes.
// between says what was done, as "pressing the shell".
func Compare(before, after measure.Report, between string, opt Options) (Explanation, error) {
	if opt.Tape == nil {
		return Explanation{}, ErrNoTape
	}
	return Explanation{}, errors.New("not yet")
}
