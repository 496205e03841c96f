package measure

import "headstack/unit"

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
