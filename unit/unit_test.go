package unit_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"headstack/unit"
)

func ascii(s string) string {
	return strings.NewReplacer(unit.Minus, "-", unit.ThinSpace, "_").Replace(s)
}

func TestFigure(t *testing.T) {
	for _, c := range []struct {
		f    unit.Figure
		want string
	}{
		{unit.Figure{Value: -3.4213, Lo: -3.5413, Hi: -3.3013, Unit: "dB", Difference: true}, "-3.42_±0.12_dB"},
		{unit.Figure{Value: 1.2, Lo: 1.1004, Hi: 1.2996, Unit: "dB", Difference: true}, "+1.20_±0.10_dB"},
		{unit.Figure{Value: 1253, Lo: 1213, Hi: 1293, Unit: "µs"}, "1253_±40_µs"},
		{unit.Figure{Value: 12530, Lo: 11000, Hi: 14060, Unit: "µs"}, "12500_±1500_µs"},
		{unit.Figure{Value: 0.31, Lo: 0.02, Hi: 1.4, Unit: "dB", Difference: true}, "+0.31_(+0.02 to +1.40)_dB"},
		{unit.Figure{Value: -0.001, Lo: -0.051, Hi: 0.049, Unit: "dB", Difference: true}, "-0.001_±0.050_dB"},
		{unit.Figure{Value: -0.0001, Lo: -0.0501, Hi: 0.0499, Unit: "dB", Difference: true}, "0.000_±0.050_dB"},
		{unit.Figure{Value: 0.5, Lo: 0.4999999, Hi: 0.5000001, Unit: "%", Difference: true}, "+0.5000_±<0.0001_%"},
		{unit.Figure{Value: 5, Lo: 3, Hi: 7}, "5.0_±2.0"},
		{unit.Figure{Value: 5, Lo: math.NaN(), Hi: 7, Unit: "V"}, "5.0000_V"},
		{unit.Figure{Value: math.NaN(), Lo: 1, Hi: 2, Unit: "V"}, "unknown_V"},
	} {
		if got := ascii(c.f.String()); got != c.want {
			t.Errorf("%+v: %s, want %s", c.f, got, c.want)
		}
	}
}

func TestFrequency(t *testing.T) {
	for f, want := range map[unit.Hertz]string{40: "40_Hz", 315: "315_Hz", 3150: "3.15_kHz", 10000: "10_kHz", 12500: "12.5_kHz"} {
		if got := ascii(unit.Frequency(f)); got != want {
			t.Errorf("%g: %s, want %s", float64(f), got, want)
		}
	}
}

func ExampleFigure() {
	f := unit.Figure{Value: -3.4213, Lo: -3.5413, Hi: -3.3013, Unit: "dB", Difference: true}
	fmt.Println(strings.ReplaceAll(f.String(), unit.ThinSpace, " "))
	// Output: −3.42 ±0.12 dB
}
