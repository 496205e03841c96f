package web

import (
	"math"

	"headstack/job"
	"headstack/unit"
)

// siOf is a recorded reading in its base unit; a unit that is not known is its own
// base.
func siOf(r job.Reading) (value float64, base string) {
	if v, base, ok := unit.ToBase(r.Value, r.Unit); ok {
		return v, base
	}
	return r.Value, r.Unit
}

// baseOf is the base unit of a unit.
func baseOf(name string) string {
	_, base := siOf(job.Reading{Unit: name})
	return base
}

// engineering writes a value in the base unit with the prefix that leaves one to
// three figures before the point.
func engineering(v float64, base string) string {
	if base == "%" || base == "dB" || v == 0 {
		return number(v) + "\u2009" + base
	}
	for _, p := range []struct {
		letter string
		factor float64
	}{{"M", 1e6}, {"k", 1e3}, {"", 1}, {"m", 1e-3}, {"µ", 1e-6}, {"n", 1e-9}} {
		if math.Abs(v) >= p.factor*0.9999 {
			return number(v/p.factor) + "\u2009" + p.letter + base
		}
	}
	return number(v) + "\u2009" + base
}
