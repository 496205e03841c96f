package unit

import (
	"math"
	"strconv"
	"strings"
)

// Typographic marks of figures: a true minus sign as wide as the plus, and a space
// that does not break between number and unit.
const (
	Minus     = "\u2212"
	ThinSpace = "\u2009"
)

// Figure is a number with its 95 % interval, to be written for a person.
type Figure struct {
	Value, Lo, Hi float64
	Unit          string // "dB", "µs", "%"; empty for a pure number
	Difference    bool   // a difference or deviation, whose sign is always written
}

// maxDecimals keeps the figures of a noiseless test signal readable; a bench has no
// use for more.
const maxDecimals = 4

// String writes value, interval and unit:
//
//	−3.42 ±0.12 dB
//	1250 ±40 µs
//	+0.31 (+0.02 to +1.40) dB   where the interval is lopsided
//
// The interval's two significant digits decide where both numbers are rounded. An
// interval finer than the last decimal shown is written "±<0.0001". Values that are
// not finite are written as "unknown".
func (f Figure) String() string {
	unit := ""
	if f.Unit != "" {
		unit = ThinSpace + f.Unit
	}
	if s := f.Spread(); s != "" {
		return f.Number() + ThinSpace + s + unit
	}
	return f.Number() + unit
}

// Number is the value alone, rounded as the interval demands.
func (f Figure) Number() string { return f.number(f.Value) }

// Spread is the interval alone: "±0.12", or "(−0.10 to +0.41)" where value and
// interval's middle differ by more than a fifth of its half width, or "" when the
// interval has no finite ends.
func (f Figure) Spread() string {
	h := (f.Hi - f.Lo) / 2
	if !finite(f.Value) || !finite(h) || h < 0 {
		return ""
	}
	if math.Abs((f.Hi+f.Lo)/2-f.Value) > 0.2*h {
		return "(" + f.number(f.Lo) + " to " + f.number(f.Hi) + ")"
	}
	if least := math.Pow(10, -maxDecimals); h < least/2 {
		return "±<" + strconv.FormatFloat(least, 'f', maxDecimals, 64)
	}
	return "±" + f.round(h)
}

// number writes x with sign where the figure is a difference.
func (f Figure) number(x float64) string {
	if !finite(x) {
		return "unknown"
	}
	s := f.round(math.Abs(x))
	zero := strings.Trim(s, "0.") == ""
	switch {
	case x < 0 && !zero:
		return Minus + s
	case f.Difference && !zero:
		return "+" + s
	}
	return s
}

// round writes x ≥ 0 to the place of the interval's second significant digit.
func (f Figure) round(x float64) string {
	place := f.place()
	if place >= 0 {
		return strconv.FormatFloat(x, 'f', place, 64)
	}
	p := math.Pow(10, float64(-place))
	return strconv.FormatFloat(math.Round(x/p)*p, 'f', 0, 64)
}

// place is the number of decimals; below 0 it counts places before the point.
func (f Figure) place() int {
	h := (f.Hi - f.Lo) / 2
	if !finite(h) || h <= 0 {
		return maxDecimals
	}
	// Rounded to two digits first: 0.0996 becomes 0.10, whose second digit is
	// the hundredths.
	_, exp, _ := strings.Cut(strconv.FormatFloat(h, 'e', 1, 64), "e")
	e, err := strconv.Atoi(exp)
	if err != nil {
		panic("unit: exponent " + exp) // strconv always writes one
	}
	return min(maxDecimals, 1-e)
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// Frequency writes a tone as the trade does: 40 Hz, 315 Hz, 3.15 kHz, 10 kHz.
func Frequency(f Hertz) string {
	x := float64(f)
	if math.Abs(x) >= 1000 {
		return strconv.FormatFloat(x/1000, 'g', 5, 64) + ThinSpace + "kHz"
	}
	return strconv.FormatFloat(x, 'g', 5, 64) + ThinSpace + "Hz"
}
