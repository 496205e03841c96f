package measure_test

import (
	"testing"

	"headstack/measure"
)

// The two-significant-digit rule is that of JCGM 100:2008 (GUM), 7.2.6.
func TestFigure(t *testing.T) {
	for _, c := range []struct {
		r    measure.Result
		want string
	}{
		{measure.Result{Name: "response", Value: -1.2342, Lo: -1.2692, Hi: -1.1992, Unit: "dB"}, "−1.234\u2009±0.035\u2009dB"},
		{measure.Result{Name: "level", Value: -20.5, Lo: -20.6, Hi: -20.4, Unit: "dBFS"}, "−20.50\u2009±0.10\u2009dBFS"},
		{measure.Result{Name: "delay", Value: 12.3, Lo: 10.3, Hi: 14.3, Unit: "µs"}, "+12.3\u2009±2.0\u2009µs"},
		{measure.Result{Name: "azimuth", Value: -2.3, Lo: -2.9, Hi: -1.7, Unit: "arcmin"}, "−2.30\u2009±0.60\u2009arcmin"},
		{measure.Result{Name: "speed_error", Value: 0.5, Lo: 0.48, Hi: 0.6, Unit: "%"}, "+0.500\u2009(+0.480 to +0.600)\u2009%"},
		{measure.Result{Name: "level", Refused: "tone absent"}, "not measured: tone absent"},
		{measure.Result{Name: "response", Value: 0, Lo: -0.0996, Hi: 0.0996, Unit: "dB"}, "0.00\u2009±0.10\u2009dB"},
	} {
		if got := c.r.Figure().String(); got != c.want {
			t.Errorf("%+v\n got %q\nwant %q", c.r, got, c.want)
		}
	}
}
