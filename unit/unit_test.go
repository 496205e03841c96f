package unit_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

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

func TestParseQuantity(t *testing.T) {
	for _, c := range []struct {
		text, unit string
		want       float64
	}{
		{"38mV", "V", 0.038}, {"38 mV", "V", 0.038}, {"38m", "V", 0.038}, {"0,038", "V", 0.038}, {" 1.228 V ", "V", 1.228},
		{"38 mv", "V", 0.038}, {"2V2", "V", 2.2}, {"4k7", "Ω", 4700}, {"4k7Ω", "Ω", 4700}, {"4R7", "Ω", 4.7}, {"4,7 kohm", "Ω", 4700},
		{"1M", "Ω", 1e6}, {"3k15", "Hz", 3150}, {"92 kHz", "Hz", 92000}, {"0.4mA", "A", 4e-4}, {"400uA", "A", 4e-4}, {"400 µA", "A", 4e-4},
		{"400 μA", "A", 4e-4}, {"10n", "F", 1e-8}, {"-10 dBV", "dBV", -10}, {unit.Minus + "10", "dBV", -10}, {"1e-3", "V", 1e-3}, {"+5", "V", 5},
		{"0.12 %", "%", 0.12}, {"5 minutes", "min", 5}, {".5", "V", 0.5},
	} {
		got, err := unit.ParseQuantity(c.text, c.unit)
		if err != nil || math.Abs(got-c.want) > 1e-12*math.Abs(c.want) {
			t.Errorf("%q as %s: %g, %v; want %g", c.text, c.unit, got, err, c.want)
		}
	}
}

func TestParseQuantityRefuses(t *testing.T) {
	for _, c := range []struct {
		text, unit string
		at         int
		part       string
	}{
		{"", "V", 0, "number is expected"}, {"mV", "V", 0, "number is expected"}, {"38mA", "V", 2, "unit V"},
		{"1,234.5", "V", 1, "one decimal mark"}, {"38x", "V", 2, "not \"x\""}, {"4k7k", "Ω", 1, "unit Ω"}, {"4.1k7", "Ω", 3, "expected"},
		{"38 m%", "%", 3, "unit %"}, {"12 34", "V", 2, "expected"}, {"1e999", "V", 0, "no number"}, {"--3", "V", 0, "number"},
		{"5kdB", "dB", 1, "unit dB"}, {"OL", "V", 0, "number"},
	} {
		_, err := unit.ParseQuantity(c.text, c.unit)
		qe, ok := errors.AsType[*unit.QuantityError](err)
		if !ok {
			t.Errorf("%q as %s: error %v, want a QuantityError", c.text, c.unit, err)
			continue
		}
		if !strings.Contains(err.Error(), c.part) || qe.At < c.at-1 || qe.At > c.at+1 {
			t.Errorf("%q as %s: %v (at %d), want %q near %d", c.text, c.unit, err, qe.At, c.part, c.at)
		}
	}
}

func TestParseQuantityNeverPanics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.OneOf(rapid.String(), rapid.StringMatching(`[-+]?[0-9.,]{0,6} ?[pnuµmkMGVRe0-9 ]{0,4}`)).Draw(t, "text")
		v, err := unit.ParseQuantity(s, rapid.SampledFrom([]string{"V", "Ω", "dB", "%", ""}).Draw(t, "unit"))
		if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
			t.Fatalf("%q gives %g", s, v)
		}
	})
}

func ExampleFigure() {
	f := unit.Figure{Value: -3.4213, Lo: -3.5413, Hi: -3.3013, Unit: "dB", Difference: true}
	fmt.Println(strings.ReplaceAll(f.String(), unit.ThinSpace, " "))
	// Output: −3.42 ±0.12 dB
}

func ExampleParseQuantity() {
	v, _ := unit.ParseQuantity("4k7", "Ω")
	fmt.Println(v)
	_, err := unit.ParseQuantity("38mA", "V")
	fmt.Println(err)
	// Output:
	// 4700
	// reading "38mA", position 3: the unit V, with a prefix such as m or k, or nothing is expected, not "mA"
}
