package job

import (
	"math"
	"strings"
	"testing"

	"headstack/machine"
)

func TestParseValue(t *testing.T) {
	for _, c := range []struct {
		in, understood string
		value          float64
		unit           string
	}{
		{"38 mV", "mV", 38, "mV"},
		{"38mV", "V", 38, "mV"},
		{"38mv", "V", 38, "mV"},
		{"38", "mV", 38, "mV"},
		{"38m", "V", 38, "mV"},
		{"38m", "mV", 38, "mV"},
		{"4m7", "V", 4.7, "mV"},
		{"3k3ohm", "ohm", 3.3, "kohm"},
		{"3k3 Ω", "ohm", 3.3, "kohm"},
		{"3k3", "ohm", 3.3, "kohm"},
		{"2Meg2", "ohm", 2.2, "Mohm"},
		{"1,10 V", "V", 1.10, "V"},
		{"−11.5 V", "V", -11.5, "V"},
		{"-10 dBV", "mV", -10, "dBV"},
		{"+4dBu", "V", 4, "dBu"},
		{"5 uA", "A", 5, "µA"},
		{"5 μA", "A", 5, "µA"},
		{"92k", "Hz", 92, "kHz"},
		{"92 khz", "Hz", 92, "kHz"},
		{"1.05 N", "N", 1.05, "N"},
		{"30 mNm", "N·m", 30, "mN·m"},
		{"1e-3V", "V", 1e-3, "V"},
		{"0.06", "%", 0.06, "%"},
	} {
		v, unit, err := parseValue(c.in, c.understood)
		if err != nil || v != c.value || unit != c.unit {
			t.Errorf("%q: got %g %s (%v), want %g %s", c.in, v, unit, err, c.value, c.unit)
		}
	}
	for _, in := range []string{"", "mV", "V38", "3 8k 2k mV", "1.2.3", "0x10 V", "NaN", "inf V", "1_000 V", "38 furlong", "4m7m V", "k3", "1.5k3", "3k ohm3"} {
		if v, unit, err := parseValue(in, "V"); err == nil {
			t.Errorf("%q: read as %g %s", in, v, unit)
		}
	}
}

func TestInBase(t *testing.T) {
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
		got, base, ok := inBase(c.value, c.unit)
		if !ok || base != c.base || math.Abs(got-c.want) > c.tolerance {
			t.Errorf("%g %s = %g %s (%v), want %g %s", c.value, c.unit, got, base, ok, c.want, c.base)
		}
	}
}

// Every unit in which a definition may state an expected value can be read in.
func TestUnitsOfDefinitions(t *testing.T) {
	for _, name := range machine.BuiltinNames() {
		d, _ := machine.Builtin(name)
		for i := range d.TestPoints {
			tp := &d.TestPoints[i]
			value, base, ok := inBase(1, tp.Expect.Unit)
			if want := tp.ExpectedSI(); !ok || base != want.Unit {
				t.Errorf("%s %s: %q is read as %g %s (%v); the definition's base unit is %s", name, tp.ID, tp.Expect.Unit, value, base, ok, want.Unit)
			}
		}
	}
}

func TestParsePoint(t *testing.T) {
	d, ok := machine.Builtin("hexastrand")
	if !ok {
		t.Fatal("no hexastrand")
	}
	for _, c := range []struct{ s, key, id, wantKey string }{
		{"TP21-a", "", "TP21", "a"},
		{"tp21-A", "", "TP21", "a"},
		{" TP21-a ", "", "TP21", "a"},
		{"TP21", "a", "TP21", "a"},
		{"TP21/b", "", "TP21", "b"},
		{"TP21-a", "a", "TP21", "a"},
		{"TP10-6", "", "TP10", "6"},
		{"TP1", "", "TP1", ""},
	} {
		id, key, err := ParsePoint(d, c.s, c.key)
		if err != nil || id != c.id || key != c.wantKey {
			t.Errorf("ParsePoint(%q, %q) = %q, %q, %v; want %q, %q", c.s, c.key, id, key, err, c.id, c.wantKey)
		}
	}
	for _, c := range []struct{ s, key, want string }{
		{"TP21-a", "b", "TP21-a"},
		{"TP10-7", "", "TP10-6"},
		{"TP10", "7", "6"},
		{"TP100", "", "TP10"},
		{"", "", "TP"},
	} {
		if id, key, err := ParsePoint(d, c.s, c.key); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("ParsePoint(%q, %q) = %q, %q, %v; want an error that names %s", c.s, c.key, id, key, err, c.want)
		}
	}
}

func TestParseReading(t *testing.T) {
	d, _ := machine.Builtin("hexastrand")
	r, err := ParseReading(d, "TP10-2", "39")
	if err != nil || r != (Reading{TestPoint: "TP10", Key: "2", Value: 39, Unit: "mV"}) {
		t.Errorf("got %+v, %v", r, err)
	}
	if r, err := ParseReading(d, "TP10-2", "39 Hz"); err == nil {
		t.Errorf("read as %+v", r)
	}
}

// Wagner and Fischer's distance of "kitten" and "sitting" is 3; these two have
// no common beginning. (Textbook example, common practice, no source.)
func TestDistance(t *testing.T) {
	if got := distance("kitten", "sitting"); got != 3 {
		t.Errorf("distance = %d, want 3", got)
	}
}

func FuzzParseValue(f *testing.F) {
	for _, s := range []string{"38 mV", "4m7", "3k3ohm", "−10 dBV", "1e309 V", "5 µA", "k", "1.5k3", "9e9k9"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, unit, err := parseValue(s, "mV")
		if err != nil {
			return
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Errorf("%q: %g", s, v)
		}
		if _, _, ok := splitUnit(unit); !ok {
			t.Errorf("%q: unit %q is not known", s, unit)
		}
	})
}

func FuzzParsePoint(f *testing.F) {
	d, _ := machine.Builtin("hexastrand")
	for _, s := range []string{"TP21-a", "TP21/a", "TP1", "/", "-", "tp10-6"} {
		f.Add(s, "")
	}
	f.Fuzz(func(t *testing.T, s, key string) {
		id, k, err := ParsePoint(d, s, key)
		if err != nil {
			return
		}
		if again, k2, err := ParsePoint(d, id, k); err != nil || again != id || k2 != k {
			t.Errorf("ParsePoint(%q, %q) = %q, %q, which reads as %q, %q, %v", s, key, id, k, again, k2, err)
		}
	})
}
