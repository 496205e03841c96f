package job

import (
	"errors"
	"strings"
	"testing"

	"headstack/machine"
	"headstack/unit"
)

// Every unit in which a definition may state an expected value can be read in.
func TestUnitsOfDefinitions(t *testing.T) {
	for _, name := range machine.BuiltinNames() {
		d, _ := machine.Builtin(name)
		for i := range d.TestPoints {
			tp := &d.TestPoints[i]
			value, base, ok := unit.ToBase(1, tp.Expect.Unit)
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
	for _, c := range []struct{ value, field, problem string }{
		{"39 Hz", "unit", "does not convert to mV, which TP10 is read in"},
		{"39 furlong", "value", `is not understood at position 4: the unit V, with a prefix such as m or k, or nothing is expected, not "furlong"`},
		{"1 234 mV", "value", "is not understood at position 3: "},
		{"", "value", "is not understood at position 1: a number is expected first, such as 38mV"},
	} {
		r, err := ParseReading(d, "TP10-2", c.value)
		ie, ok := errors.AsType[*InvalidError](err)
		if !ok || ie.Field != c.field || !strings.HasPrefix(ie.Problem, c.problem) || len(ie.Nearest) == 0 {
			t.Errorf("%q: read as %+v, %v; want %s %s", c.value, r, err, c.field, c.problem)
		}
	}
}

func TestParseValueNamesTheField(t *testing.T) {
	if v, name, err := ParseValue("tone", "10k", "Hz"); err != nil || v != 10 || name != "kHz" {
		t.Errorf("10k: %g %s, %v", v, name, err)
	}
	_, _, err := ParseValue("tone", "10 mV", "Hz")
	if ie, ok := errors.AsType[*InvalidError](err); !ok || ie.Field != "tone" || ie.Value != "10 mV" {
		t.Errorf("10 mV as a tone: %v", err)
	}
}

// Wagner and Fischer's distance of "kitten" and "sitting" is 3; these two have
// no common beginning. (Textbook example, common practice, no source.)
func TestDistance(t *testing.T) {
	if got := distance("kitten", "sitting"); got != 3 {
		t.Errorf("distance = %d, want 3", got)
	}
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
