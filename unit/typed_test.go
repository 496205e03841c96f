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

func TestParseTypedKeepsTheUnitTyped(t *testing.T) {
	for _, c := range []struct {
		in, understood string
		value          float64
		unit           string
	}{
		{"38 mV", "mV", 38, "mV"}, {"38mV", "V", 38, "mV"}, {"38mv", "V", 38, "mV"}, {"38", "mV", 38, "mV"},
		{"38m", "V", 38, "mV"}, {"38m", "mV", 38, "mV"}, {"0.038 V", "mV", 0.038, "V"}, {"4m7", "V", 4.7, "mV"}, {"4 m7", "V", 4.7, "mV"},
		{"3k3ohm", "ohm", 3.3, "kohm"}, {"3k3 Ω", "ohm", 3.3, "kohm"}, {"3k3", "ohm", 3.3, "kohm"}, {"2Meg2", "ohm", 2.2, "Mohm"},
		{"4k7", "ohm", 4.7, "kohm"}, {"2.2M", "ohm", 2.2, "Mohm"}, {"260 Ω", "ohm", 260, "ohm"}, {"260 \u2126", "ohm", 260, "ohm"}, {"4R7", "ohm", 4.7, "ohm"},
		{"1,10 V", "V", 1.10, "V"}, {"−11.5 V", "V", -11.5, "V"}, {"−11.5", "V", -11.5, "V"}, {"-11.5V", "V", -11.5, "V"}, {"- 11.5 V", "V", -11.5, "V"},
		{"-10 dBV", "mV", -10, "dBV"}, {"−10\u2009dBV", "V", -10, "dBV"}, {"+4dBu", "V", 4, "dBu"}, {"38\u202fmV", "dBu", 38, "mV"}, {"38\u00a0mV", "V", 38, "mV"},
		{"5 uA", "A", 5, "µA"}, {"5 μA", "A", 5, "µA"}, {"5u", "A", 5, "µA"}, {"92k", "Hz", 92, "kHz"}, {"92 khz", "Hz", 92, "kHz"}, {"92K", "Hz", 92, "kHz"},
		{"1.05 N", "N", 1.05, "N"}, {"1.05 n", "N", 1.05, "N"}, {"5 mn", "N", 5, "mN"}, {"4n7", "N", 4.7, "nN"}, {"5 uf", "F", 5, "µF"}, {"30 mNm", "N·m", 30, "mN·m"},
		{"1e-3V", "V", 1e-3, "V"}, {"1e-3", "V", 1e-3, "V"}, {"0.06", "%", 0.06, "%"}, {"21", "°C", 21, "°C"}, {"5m", "s", 5, "ms"}, {"5m", "min", 5, "min"},
	} {
		v, name, err := unit.ParseTyped(c.in, c.understood)
		if err != nil || v != c.value || name != c.unit {
			t.Errorf("%q as %s: got %g %s (%v), want %g %s", c.in, c.understood, v, name, err, c.value, c.unit)
		}
	}
}

func TestParseTypedInBase(t *testing.T) {
	for _, c := range []struct {
		text, unit string
		want       float64
	}{
		{"38mV", "V", 0.038}, {"38 mV", "V", 0.038}, {"38m", "V", 0.038}, {"0,038", "V", 0.038}, {" 1.228 V ", "V", 1.228},
		{"38 mv", "V", 0.038}, {"2V2", "V", 2.2}, {"4k7", "Ω", 4700}, {"4k7Ω", "Ω", 4700}, {"4R7", "Ω", 4.7}, {"4,7 kohm", "Ω", 4700},
		{"1M", "Ω", 1e6}, {"3k15", "Hz", 3150}, {"92 kHz", "Hz", 92000}, {"0.4mA", "A", 4e-4}, {"400uA", "A", 4e-4}, {"400 µA", "A", 4e-4},
		{"400 μA", "A", 4e-4}, {"10n", "F", 1e-8}, {"1e-3", "V", 1e-3}, {"+5", "V", 5},
		{"0.12 %", "%", 0.12}, {"5 minutes", "min", 5}, {".5", "V", 0.5},
	} {
		v, name, err := unit.ParseTyped(c.text, c.unit)
		got, _, ok := unit.ToBase(v, name)
		if err != nil || !ok || math.Abs(got-c.want) > 1e-12*math.Abs(c.want) {
			t.Errorf("%q as %s: %g, %v; want %g", c.text, c.unit, got, err, c.want)
		}
	}
	// A level re a voltage stays as typed.
	for _, text := range []string{"-10 dBV", unit.Minus + "10"} {
		if v, name, err := unit.ParseTyped(text, "dBV"); err != nil || v != -10 || name != "dBV" {
			t.Errorf("%q: %g %s, %v", text, v, name, err)
		}
	}
}

func TestParseTypedRefuses(t *testing.T) {
	for _, c := range []struct {
		text, unit string
		at         int
		part       string
	}{
		{"", "V", 0, "number is expected"}, {"mV", "V", 0, "number is expected"}, {"38mA", "V", 2, "unit V"},
		{"1,234.5", "V", 1, "one decimal mark"}, {"38x", "V", 2, "not \"x\""}, {"4k7k", "Ω", 1, "unit Ω"}, {"4.1k7", "Ω", 3, "expected"},
		{"38 m%", "%", 3, "unit %"}, {"12 34", "V", 2, "expected"}, {"1e999", "V", 0, "no number"}, {"--3", "V", 0, "number"},
		{"5kdB", "dB", 1, "unit dB"}, {"OL", "V", 0, "number"},
		{"1 234 V", "V", 2, "thousands"}, {"1\u2009234 V", "V", 3, "thousands"}, {"1,234,567", "V", 1, "thousands"},
		{"1e308 MV", "V", 0, "reach of an instrument"}, {"1e6 dBV", "V", 0, "reach of an instrument"}, {"5m", "dBu", 1, "unit dBu"},
		{"-10 dBv", "V", 4, "unit V"}, // has meant both dBu and dBV
	} {
		_, _, err := unit.ParseTyped(c.text, c.unit)
		te, ok := errors.AsType[*unit.TypedError](err)
		if !ok {
			t.Errorf("%q as %s: error %v, want a TypedError", c.text, c.unit, err)
			continue
		}
		if !strings.Contains(err.Error(), c.part) || te.At < c.at-1 || te.At > c.at+1 {
			t.Errorf("%q as %s: %v (at %d), want %q near %d", c.text, c.unit, err, te.At, c.part, c.at)
		}
	}
	for understood, list := range map[string][]string{
		"V":  {"", "mV", "V38", "3 8k 2k mV", "1.2.3", "0x10 V", "NaN", "inf V", "1_000 V", "38 furlong", "4m7m V", "k3", "1.5k3", "3k ohm3"},
		"mV": {"", "V", "mV", "nan", "inf", "0x10", "1_000", "38 mA", "3 8 x", "--1", "1e999", "4m7m", "m7"},
	} {
		for _, in := range list {
			if v, name, err := unit.ParseTyped(in, understood); err == nil {
				t.Errorf("%q as %s: read as %g %s", in, understood, v, name)
			}
		}
	}
}

func TestParseTypedNamesTheOtherUnit(t *testing.T) {
	_, _, err := unit.ParseTyped("39 khz", "mV")
	if te, ok := errors.AsType[*unit.TypedError](err); !ok || te.Unit != "kHz" {
		t.Errorf("39 khz: %v", err)
	}
	_, _, err = unit.ParseTyped("39 furlong", "mV")
	if te, ok := errors.AsType[*unit.TypedError](err); !ok || te.Unit != "" {
		t.Errorf("39 furlong: %v", err)
	}
}

func TestTypedErrorCountsCharacters(t *testing.T) {
	_, _, err := unit.ParseTyped("−5\u2009x", "V") // 3 bytes, 1, 3 and x
	te, ok := errors.AsType[*unit.TypedError](err)
	if !ok || te.At != 7 || te.Position() != 4 {
		t.Errorf("%v: %+v", err, te)
	}
}

func TestParseTypedNeverPanics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.OneOf(rapid.String(), rapid.StringMatching(`[-+]?[0-9.,]{0,6} ?[pnuµmkMGVRe0-9 ]{0,4}`)).Draw(t, "text")
		v, name, err := unit.ParseTyped(s, rapid.SampledFrom([]string{"V", "Ω", "dB", "%", ""}).Draw(t, "unit"))
		if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
			t.Fatalf("%q gives %g %s", s, v, name)
		}
	})
}

func FuzzParseTyped(f *testing.F) {
	for _, s := range []string{"38 mV", "4m7", "92k", "3k3ohm", "−10 dBV", "−11.5", "1e309 V", "1e999", "5 µA", "k", "1.5k3", "9e9k9", "mmm", "µ"} {
		f.Add(s, "mV")
	}
	f.Add("0m", "C ") // a unit understood with a space after it
	f.Fuzz(func(t *testing.T, s, understood string) {
		v, name, err := unit.ParseTyped(s, understood)
		if te, ok := errors.AsType[*unit.TypedError](err); ok && (te.At < 0 || te.At > len(s)) {
			t.Errorf("%q: trouble at %d", s, te.At)
		}
		if err != nil {
			return
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Errorf("%q: %g", s, v)
		}
		_, base, known := unit.ToBase(1, understood)
		if si, got, ok := unit.ToBase(v, name); known && (!ok || got != base || math.IsInf(si, 0) || math.IsNaN(si)) {
			t.Errorf("%q as %s: %g %s is %g %s (%v)", s, understood, v, name, si, got, ok)
		}
	})
}

func TestToBase(t *testing.T) {
	for _, c := range []struct {
		value     float64
		unit      string
		want      float64
		base      string
		tolerance float64
	}{
		{38, "mV", 0.038, "V", 1e-15},
		{4.7, "kohm", 4700, "ohm", 1e-9},
		{92, "kHz", 92000, "Hz", 1e-9},
		{0.4, "mA", 0.0004, "A", 1e-15},
		{100, "nF", 1e-7, "F", 1e-20},
		// Definition of dBu and dBV, to the decimals given there: AES17 and EBU R 68
		// speak of dBu re 0.775 V; 0.774597 V = sqrt(1 mW · 600 Ω).
		{0, "dBu", 0.774597, "V", 5e-7},
		{4, "dBu", 1.227653, "V", 5e-7},
		{6, "dBu", 1.545524, "V", 5e-7},
		{0, "dBV", 1, "V", 1e-15},
		{-10, "dBV", 0.316228, "V", 5e-7},
	} {
		got, base, ok := unit.ToBase(c.value, c.unit)
		if !ok || base != c.base || math.Abs(got-c.want) > c.tolerance {
			t.Errorf("%g %s = %g %s (%v), want %g %s", c.value, c.unit, got, base, ok, c.want, c.base)
		}
	}
	if v, base, ok := unit.ToBase(1, "furlong"); ok {
		t.Errorf("1 furlong = %g %s", v, base)
	}
}

func ExampleParseTyped() {
	fmt.Println(unit.ParseTyped("4k7", "ohm"))
	_, _, err := unit.ParseTyped("38mA", "V")
	fmt.Println(err)
	// Output:
	// 4.7 kohm <nil>
	// reading "38mA", position 3: the unit V, with a prefix such as m or k, or nothing is expected, not "mA"
}
