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
	Exact         bool   // counted or told, not measured: a whole number without an interval
	Refused       string // the reason where nothing was measured; then the rest means nothing
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
// The interval's two significant digits decide where both numbers are rounded (JCGM
// 100:2008, 7.2.6). An interval finer than the last decimal shown is written
// "±<0.0001", one without finite ends "(interval unknown)". A refusal is written as
// "not measured: " and its reason; a value that is not finite is one.
func (f Figure) String() string {
	if s := f.Spread(); s != "" {
		return f.Number() + ThinSpace + s + f.suffix()
	}
	if f.Exact && f.refusal() == "" {
		return f.Number() + f.suffix()
	}
	return f.Number()
}

// Parts is the figure in two, for a cell with the value above its interval:
// "−3.42 dB" and "±0.12", which is in the same unit. A refusal has no second part.
func (f Figure) Parts() (value, spread string) {
	if f.refusal() != "" {
		return f.Number(), ""
	}
	return f.Number() + f.suffix(), f.Spread()
}

func (f Figure) suffix() string {
	if f.Unit == "" {
		return ""
	}
	return ThinSpace + f.Unit
}

func (f Figure) refusal() string {
	if f.Refused == "" && !finite(f.Value) {
		return "no finite value"
	}
	return f.Refused
}

// Number is the value alone, rounded as the interval demands, or the refusal.
func (f Figure) Number() string {
	if why := f.refusal(); why != "" {
		return "not measured: " + why
	}
	if f.Exact {
		return signed(f.Value, strconv.FormatFloat(math.Abs(f.Value), 'f', 0, 64), f.Difference)
	}
	return f.number(f.Value)
}

// Spread is the interval alone: "±0.12", or "(−0.10 to +0.41)" where value and
// interval's middle differ by more than a fifth of its half width. It is empty for a
// refusal.
func (f Figure) Spread() string {
	if f.refusal() != "" {
		return ""
	}
	h := (f.Hi - f.Lo) / 2
	if f.Exact {
		return ""
	}
	if !finite(h) || h < 0 {
		return "(interval unknown)"
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
	return signed(x, f.round(math.Abs(x)), f.Difference)
}

// Signed writes a difference with a number of decimals and its sign; zero has none.
// It is for axes and for words in which a [Figure] has no place.
func Signed(x float64, decimals int) string {
	return signed(x, strconv.FormatFloat(math.Abs(x), 'f', decimals, 64), true)
}

// signed puts the sign of x before its digits.
func signed(x float64, digits string, plus bool) string {
	zero := strings.Trim(digits, "0.") == ""
	switch {
	case x < 0 && !zero:
		return Minus + digits
	case plus && !zero:
		return "+" + digits
	}
	return digits
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

// Frequency writes a tone as the trade does: 40 Hz, 315 Hz, 3.15 kHz, 10 kHz; a
// tone of 0 Hz is silence.
func Frequency(f Hertz) string {
	x := float64(f)
	if x == 0 {
		return "silence"
	}
	if math.Abs(x) >= 1000 {
		return strconv.FormatFloat(x/1000, 'g', 5, 64) + ThinSpace + "kHz"
	}
	return strconv.FormatFloat(x, 'g', 5, 64) + ThinSpace + "Hz"
}

// Probability writes a probability as percent with no false digits: whole percent,
// "under 1 %" and "over 99 %" at the ends. Only 1 itself is 100 %; 0 is "under 1 %" as
// well, for no evidence of a bench makes a fault impossible.
func Probability(p float64) string {
	switch {
	case math.IsNaN(p):
		return "unknown"
	case p < 0.01:
		return "under 1" + ThinSpace + "%"
	case p >= 1:
		return "100" + ThinSpace + "%"
	case p > 0.99:
		return "over 99" + ThinSpace + "%"
	}
	return strconv.Itoa(int(math.Round(p*100))) + ThinSpace + "%"
}
