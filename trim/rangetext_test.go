package trim_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"headstack/machine"
	"headstack/trim"
)

func TestParseRange(t *testing.T) {
	for _, c := range []struct {
		text string
		want trim.Range
	}{
		{"±6 dB", trim.Range{Lo: -6, Hi: 6, Unit: "dB", Middle: true, Law: trim.Linear, Travel: 270, TravelUnit: trim.Degrees}},
		{"+/-6 dB", trim.Range{Lo: -6, Hi: 6, Unit: "dB", Middle: true, Law: trim.Linear, Travel: 270, TravelUnit: trim.Degrees}},
		{"±4 dB at 10 kHz", trim.Range{Lo: -4, Hi: 4, Unit: "dB", ToneHz: 10000, Middle: true, Law: trim.Linear, Travel: 270, TravelUnit: trim.Degrees}},
		{"±3 dB at 60 Hz", trim.Range{Lo: -3, Hi: 3, Unit: "dB", ToneHz: 60, Middle: true, Law: trim.Linear, Travel: 270, TravelUnit: trim.Degrees}},
		{"±40 arcminutes", trim.Range{Lo: -40, Hi: 40, Unit: "arcmin", Middle: true, Law: trim.Screw, Travel: 1, TravelUnit: trim.Turns}},
		{"2 to 7 mA", trim.Range{Lo: 2, Hi: 7, Unit: "mA", Law: trim.Linear, Travel: 270, TravelUnit: trim.Degrees}},
		{"84 to 100 kHz", trim.Range{Lo: 84, Hi: 100, Unit: "kHz", Law: trim.Linear, Travel: 270, TravelUnit: trim.Degrees}},
		{"−3 to 5 dB", trim.Range{Lo: -3, Hi: 5, Unit: "dB", Law: trim.Linear, Travel: 270, TravelUnit: trim.Degrees}},
		{"6 dB", trim.Range{Lo: 0, Hi: 6, Unit: "dB", Law: trim.Linear, Travel: 270, TravelUnit: trim.Degrees}},
		{"±6 dB over 12 turns", trim.Range{Lo: -6, Hi: 6, Unit: "dB", Middle: true, Law: trim.MultiTurn, Travel: 12, TravelUnit: trim.Turns}},
		{"±6 dB over 300°", trim.Range{Lo: -6, Hi: 6, Unit: "dB", Middle: true, Law: trim.Linear, Travel: 300, TravelUnit: trim.Degrees}},
		{"±40 arcminutes over 1.5 turns", trim.Range{Lo: -40, Hi: 40, Unit: "arcmin", Middle: true, Law: trim.Screw, Travel: 1.5, TravelUnit: trim.Turns}},
		{"4 turns, tune for least", trim.Range{Law: trim.Dip, Travel: 4, TravelUnit: trim.Turns}},
		{"tune for most", trim.Range{Law: trim.Peak, Travel: 4, TravelUnit: trim.Turns}},
	} {
		got, err := trim.ParseRange(c.text)
		if err != nil || got != c.want {
			t.Errorf("%q: %+v, %v; want %+v", c.text, got, err, c.want)
		}
	}
}

func TestParseRangeSaysWhatWasExpected(t *testing.T) {
	for _, c := range []struct{ text, offset, expected string }{
		{"", "", "±6 dB"},
		{"some", "some", "±6 dB"},
		{"± dB", " dB", "a number"},
		{"±0 dB", " dB", "above 0"},
		{"±6", "", "a unit"},
		{"±6 furlongs", "furlongs", "a unit"},
		{"±4 dB at kHz", " kHz", "a tone"},
		{"±4 dB at 10", "", "Hz or kHz"},
		{"7 to 2 mA", " mA", "the lower end first"},
		{"2 to mA", " mA", "the upper end"},
		{"4 turns", "", "tune for least"},
		{"4 turns, tune for fun", " fun", "most"},
		{"±6 dB over", "", "a travel"},
		{"±6 dB over 12", "", "turns, degrees"},
		{"±6 dB or so", "or so", "the end"},
	} {
		_, err := trim.ParseRange(c.text)
		re, ok := errors.AsType[*trim.RangeError](err)
		if !ok {
			t.Errorf("%q: error %v", c.text, err)
			continue
		}
		if got := strings.TrimSpace(c.text[re.Offset:]); got != strings.TrimSpace(c.offset) || !strings.Contains(re.Expected, c.expected) {
			t.Errorf("%q: at %q expected %q; want at %q something of %q", c.text, got, re.Expected, c.offset, c.expected)
		}
	}
}

// TestBuiltinRanges reads the range of each trim of the built-in recorders.
func TestBuiltinRanges(t *testing.T) {
	for _, id := range machine.BuiltinNames() {
		d, ok := machine.Builtin(id)
		if !ok {
			continue
		}
		n := 0
		for i := range d.Trims {
			r, err := trim.RangeOf(&d.Trims[i])
			if err != nil {
				t.Errorf("%s: %v", id, err)
			}
			if r.Law != trim.Dip && r.Law != trim.Peak && !(r.Hi > r.Lo) {
				t.Errorf("%s %s: range %+v", id, d.Trims[i].ID, r)
			}
			n++
		}
		for _, sp := range d.Speeds {
			m, err := trim.ForMachine(d, trim.Options{SpeedCmS: sp.CmS, Tones: []float64{6300, 12500}})
			if err != nil {
				t.Fatalf("%s: %v", id, err)
			}
			e, err := trim.Extrema(d, trim.Options{SpeedCmS: sp.CmS})
			if err != nil {
				t.Fatalf("%s: %v", id, err)
			}
			t.Logf("%s at %g cm/s: %d trims, %d to tune for least or most", id, sp.CmS, len(m.Trims()), len(e))
			if len(m.Trims()) == 0 || len(e) == 0 {
				t.Errorf("%s: nothing to turn", id)
			}
		}
	}
}

func FuzzParseRange(f *testing.F) {
	for _, s := range []string{"±6 dB", "2 to 7 mA", "4 turns, tune for least", "±40 arcminutes over 1.5 turns", "−3 to 5 dB"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		r, err := trim.ParseRange(s)
		if err != nil {
			re, ok := errors.AsType[*trim.RangeError](err)
			if !ok || re.Offset < 0 || re.Offset > len(s) {
				t.Fatalf("%q: %v", s, err)
			}
			return
		}
		if !(r.Travel > 0) || math.IsInf(r.Travel, 0) || r.Law != trim.Dip && r.Law != trim.Peak && !(r.Hi > r.Lo) {
			t.Fatalf("%q: %+v", s, r)
		}
	})
}

// TestClock: an hour is 30°, 12 o'clock the middle of the travel.
func TestClock(t *testing.T) {
	for _, c := range []struct {
		degrees float64
		clock   string
		hour    float64
	}{{0, "7:30 o'clock", 7.5}, {135, "12:00 o'clock", 12}, {270, "4:30 o'clock", 4.5}, {90, "10:30 o'clock", 10.5}} {
		if got := trim.Clock(c.degrees, 270); got != c.clock {
			t.Errorf("%g°: %s, want %s", c.degrees, got, c.clock)
		}
		if got, err := trim.ClockDegrees(c.hour, 270); err != nil || math.Abs(got-c.degrees) > 1e-9 {
			t.Errorf("%g h: %g, %v, want %g", c.hour, got, err, c.degrees)
		}
	}
	if _, err := trim.ClockDegrees(6, 270); err == nil || !strings.Contains(err.Error(), "7:30") {
		t.Errorf("6 o'clock lies beyond the stops: %v", err)
	}
	if got := trim.Clock(10, 720); got != "" {
		t.Errorf("two turns have no clock face: %q", got)
	}
}
