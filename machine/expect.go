package machine

import (
	"math"
	"slices"
)

// Expected is what a test point should read, in base units.
type Expected struct {
	// Value is the expected reading; for a range its geometric mean. It is 0
	// and Known is false when the definition gives none or a maximum only.
	Value float64
	Known bool
	// Unit is the base unit: V, A, ohm, Hz, H, F, N, N·m, s, % or dB.
	Unit string
	// Max, when not 0, is a limit that the reading must stay below.
	Max float64
	// SDLn is the standard deviation of ln(reading/Value) over good machines:
	// a definition's ± spread is read as about two standard deviations (95 %).
	// It is 0 where no spread is given.
	SDLn float64
}

// SDDB is the standard deviation in decibels.
func (e Expected) SDDB() float64 { return e.SDLn * 20 / math.Ln10 }

// ExpectedSI is the expected reading of any replica by the rule, before
// exceptions.
func (t *TestPoint) ExpectedSI() Expected {
	q := t.Expect
	base, factor, ok := baseUnit(q.Unit)
	if !ok {
		base, factor = q.Unit, 1
	}
	e := Expected{Unit: base, Max: q.Max * factor}
	switch {
	case q.Value != 0:
		e.Value, e.Known = q.Value*factor, true
		e.SDLn = spreadLn(q) / 2
	case q.Low > 0 && q.High > q.Low:
		e.Value, e.Known = math.Sqrt(q.Low*q.High)*factor, true
		e.SDLn = math.Log(q.High/q.Low) / 4
	}
	return e
}

// spreadLn is the ± spread as a natural logarithm of a ratio.
func spreadLn(q Quantity) float64 {
	if q.SpreadDB > 0 {
		return q.SpreadDB * math.Ln10 / 20
	}
	return math.Log1p(q.SpreadPercent / 100)
}

// Expected is the expected reading at a test point for one replica: the rule,
// times the factor of each exception among the parts that the point reads
// through.
func (d *Definition) Expected(tp *TestPoint, key string) Expected {
	e := tp.ExpectedSI()
	if len(d.Exceptions) == 0 {
		return e
	}
	path, err := d.TestPointPath(tp, key)
	if err != nil {
		return e
	}
	for _, x := range d.Exceptions {
		through := slices.ContainsFunc(path, func(in Instance) bool { return slices.Contains(partNames(in.Part()), x.Part) })
		if through && x.ExpectFactor != 0 {
			e.Value *= x.ExpectFactor
		}
	}
	return e
}

// units maps what a technician writes to a base unit and a factor.
var units = map[string]struct {
	base   string
	factor float64
}{
	"V": {"V", 1}, "mV": {"V", 1e-3}, "uV": {"V", 1e-6}, "µV": {"V", 1e-6}, "kV": {"V", 1e3},
	"A": {"A", 1}, "mA": {"A", 1e-3}, "uA": {"A", 1e-6}, "µA": {"A", 1e-6},
	"ohm": {"ohm", 1}, "mohm": {"ohm", 1e-3}, "kohm": {"ohm", 1e3}, "Mohm": {"ohm", 1e6},
	"Hz": {"Hz", 1}, "kHz": {"Hz", 1e3}, "MHz": {"Hz", 1e6},
	"H": {"H", 1}, "mH": {"H", 1e-3}, "uH": {"H", 1e-6}, "µH": {"H", 1e-6},
	"F": {"F", 1}, "uF": {"F", 1e-6}, "µF": {"F", 1e-6}, "nF": {"F", 1e-9}, "pF": {"F", 1e-12},
	"N": {"N", 1}, "mN": {"N", 1e-3}, "N·m": {"N·m", 1}, "mN·m": {"N·m", 1e-3},
	"s": {"s", 1}, "ms": {"s", 1e-3}, "%": {"%", 1}, "dB": {"dB", 1},
}

// baseUnit returns the base unit of a unit and what one of it is in base units.
func baseUnit(unit string) (base string, factor float64, ok bool) {
	u, ok := units[unit]
	return u.base, u.factor, ok
}

func unitNames() []string {
	return []string{"V", "mV", "µV", "kV", "A", "mA", "µA", "ohm", "mohm", "kohm", "Mohm", "Hz", "kHz", "MHz",
		"H", "mH", "µH", "F", "µF", "nF", "pF", "N", "mN", "N·m", "mN·m", "s", "ms", "%", "dB"}
}
