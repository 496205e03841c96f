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
		{unit.Figure{Value: 5, Lo: math.NaN(), Hi: 7, Unit: "V"}, "5.0000_(interval unknown)_V"},
		{unit.Figure{Value: math.NaN(), Lo: 1, Hi: 2, Unit: "V"}, "not measured: no finite value"},
	} {
		if got := ascii(c.f.String()); got != c.want {
			t.Errorf("%+v: %s, want %s", c.f, got, c.want)
		}
	}
}

func TestFrequency(t *testing.T) {
	for f, want := range map[unit.Hertz]string{0: "silence", 40: "40_Hz", 315: "315_Hz", 3150: "3.15_kHz", 10000: "10_kHz", 12500: "12.5_kHz"} {
		if got := ascii(unit.Frequency(f)); got != want {
			t.Errorf("%g: %s, want %s", float64(f), got, want)
		}
	}
}

func TestFigureParts(t *testing.T) {
	for _, c := range []struct {
		f             unit.Figure
		value, spread string
	}{
		{unit.Figure{Value: -3.4213, Lo: -3.5413, Hi: -3.3013, Unit: "dB", Difference: true}, "-3.42_dB", "±0.12"},
		{unit.Figure{Value: 0.31, Lo: 0.02, Hi: 1.4, Unit: "dB", Difference: true}, "+0.31_dB", "(+0.02 to +1.40)"},
		{unit.Figure{Refused: "tone absent", Unit: "dB"}, "not measured: tone absent", ""},
		{unit.Figure{Value: -1, Lo: -1, Hi: -1, Difference: true, Exact: true}, "-1", ""},
		{unit.Figure{Value: math.Inf(1), Unit: "dB"}, "not measured: no finite value", ""},
	} {
		if value, spread := c.f.Parts(); ascii(value) != c.value || ascii(spread) != c.spread {
			t.Errorf("%+v: %s and %s, want %s and %s", c.f, value, spread, c.value, c.spread)
		}
	}
}

func TestSigned(t *testing.T) {
	for x, want := range map[float64]string{3.4: "+3", -12: "-12", 0: "0", -0.4: "0"} {
		if got := ascii(unit.Signed(x, 0)); got != want {
			t.Errorf("%g: %s, want %s", x, got, want)
		}
	}
}

func TestProbabilityHasNoFalseDigits(t *testing.T) {
	for p, want := range map[float64]string{0: "under 1", 0.004: "under 1", 0.123: "12", 0.994: "over 99", 1: "100"} {
		if got := unit.Probability(p); got != want+"\u2009%" {
			t.Errorf("Probability(%g) = %q, want %q", p, got, want)
		}
	}
}

func ExampleFigure() {
	f := unit.Figure{Value: -3.4213, Lo: -3.5413, Hi: -3.3013, Unit: "dB", Difference: true}
	fmt.Println(strings.ReplaceAll(f.String(), unit.ThinSpace, " "))
	// Output: −3.42 ±0.12 dB
}
