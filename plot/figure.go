package plot

import (
	"math"
	"strconv"
	"strings"

	"headstack/measure"
)

const (
	minus = "\u2212"
	thin  = "\u2009"
)

// Figure writes a result as a person reads it: value, 95 % interval and unit,
// decimals from the interval (two significant digits of it), U+2212 as minus
// sign, a thin space before the unit and a sign always where the figure is a
// difference. A refusal reads "not measured: " and its reason.
//
// An interval that lies evenly about the value is written ±, any other as its
// two ends.
func Figure(r measure.Result) string {
	if r.Refused != "" {
		return "not measured: " + r.Refused
	}
	return Interval(r.Value, r.Lo, r.Hi, r.Unit, Signed(r))
}

// Signed reports whether a result is a difference or a deviation, whose sign is
// always written.
func Signed(r measure.Result) bool {
	switch r.Name {
	case "response", "speed_error", "delay", "azimuth":
		return true
	}
	return false
}

// FigureParts is [Figure] in two parts, for a cell with the value above its
// interval: "−1.23 dB" and "± 0.04 dB". A refusal has no parts.
func FigureParts(r measure.Result) (value, spread string) {
	if r.Refused != "" {
		return "", ""
	}
	return parts(r.Value, r.Lo, r.Hi, r.Unit, Signed(r))
}

// Interval writes value, 95 % interval and unit; signed puts + before a positive value.
func Interval(value, lo, hi float64, unit string, signed bool) string {
	v, spread := parts(value, lo, hi, unit, signed)
	switch {
	case spread == "":
		return v
	case strings.HasPrefix(spread, "±"):
		return strings.TrimSuffix(v, unitSuffix(unit)) + thin + spread
	}
	return v + " (" + spread + ")"
}

func parts(value, lo, hi float64, unit string, signed bool) (v, spread string) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return "not measured: no finite value", ""
	}
	up, down := hi-value, value-lo
	half := math.Max(up, down)
	if !(half > 0) || math.IsInf(half, 0) {
		return Number(value, decimals(math.Abs(value)*1e-3), signed) + unitSuffix(unit), ""
	}
	d := decimals(half)
	v = Number(value, d, signed) + unitSuffix(unit)
	if math.Abs(up-down) <= 0.2*half {
		return v, "±" + thin + Number(half, d, false) + unitSuffix(unit)
	}
	return v, Number(lo, d, signed) + " to " + Number(hi, d, signed)
}

// Number writes v with d decimals, U+2212 for minus; signed puts + before a
// positive value. Zero has no sign.
func Number(v float64, d int, signed bool) string {
	s := strconv.FormatFloat(math.Abs(v), 'f', d, 64)
	zero := strings.Trim(s, "0.") == ""
	switch {
	case zero:
		return s
	case v < 0:
		return minus + s
	case signed:
		return "+" + s
	}
	return s
}

// decimals gives the number of decimals that shows two significant digits of half.
func decimals(half float64) int {
	if !(half > 0) {
		return 2
	}
	d := 1 - int(math.Floor(math.Log10(half)))
	// Rounding 0.0996 to two digits gives 0.10: one decimal fewer says the same.
	if math.Round(half*math.Pow(10, float64(d))) >= 100 {
		d--
	}
	return min(max(d, 0), 6)
}

func unitSuffix(unit string) string {
	switch unit {
	case "":
		return ""
	case "arcmin", "arcminute", "arcminutes":
		unit = "′"
		return unit
	case "us":
		unit = "µs"
	case "um":
		unit = "µm"
	}
	return thin + unit
}

// UnitName writes a unit as it is printed in a heading: us as µs.
func UnitName(unit string) string {
	switch unit {
	case "us":
		return "µs"
	case "um":
		return "µm"
	}
	return unit
}

// Percent writes a probability as percent with no false digits: whole percent,
// "under 1 %" and "over 99 %" at the ends. 0 and 1 themselves are 0 % and 100 %.
func Percent(p float64) string {
	switch {
	case math.IsNaN(p):
		return "unknown"
	case p <= 0:
		return "0" + thin + "%"
	case p < 0.01:
		return "under 1" + thin + "%"
	case p >= 1:
		return "100" + thin + "%"
	case p > 0.99:
		return "over 99" + thin + "%"
	}
	return strconv.Itoa(int(math.Round(p*100))) + thin + "%"
}

// Tone names a frequency in hertz: 315 Hz, 6.3 kHz; 0 is silence.
func Tone(hz float64) string {
	switch {
	case hz == 0:
		return "silence"
	case hz < 1000:
		return strconv.FormatFloat(hz, 'g', 5, 64) + thin + "Hz"
	}
	return strconv.FormatFloat(hz/1000, 'g', 5, 64) + thin + "kHz"
}
