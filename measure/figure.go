package measure

import (
	"strconv"
	"strings"

	"headstack/unit"
)

// Figure is the result as a person reads it. Responses, speed errors, delays
// and angles are deviations and always carry their sign.
func (r Result) Figure() unit.Figure {
	f := unit.Figure{Value: r.Value, Lo: r.Lo, Hi: r.Hi, Unit: r.Unit, Refused: r.Refused}
	switch r.Name {
	case "response", "speed_error", "delay", "azimuth", "azimuth_line", "drift":
		f.Difference = true
	case "polarity":
		f.Difference, f.Exact = true, true
	case "identity":
		f.Exact = true
	}
	return f
}

// Bound is the level that a refused figure surely lies below (95 %), in its unit: what was
// looked for is less than the noise. ok is false where the refusal says no such level.
func (r Result) Bound() (most float64, ok bool) {
	_, rest, ok := strings.Cut(r.Refused, boundWord)
	number, _, is := strings.Cut(rest, " "+r.Unit+" (95 %)")
	if !ok || !is {
		return 0, false
	}
	most, err := strconv.ParseFloat(number, 64)
	return most, err == nil
}

// boundWord stands before the level in such a refusal. Records hold it: [Result.Bound] must
// go on reading it.
const boundWord = "below "
