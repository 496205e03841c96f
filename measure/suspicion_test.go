package measure

import (
	"context"
	"math"
	"strings"
	"testing"

	"headstack/tape"
	"headstack/testtape"
	"headstack/unit"
)

// responsesOf are figures of a machine with the given deviation at each tone.
func responsesOf(tracks int, dev func(track int, hz float64) float64) []Result {
	var out []Result
	for tr := 1; tr <= tracks; tr++ {
		for _, hz := range []float64{63, 125, 315, 1000, 3150, 6300, 10000, 12500} {
			out = append(out, Result{Name: "response", Track: tr, ToneHz: hz, Value: dev(tr, hz)})
		}
	}
	return out
}

func TestWrongSwitchIsSuspectedFromTheShape(t *testing.T) {
	recorded := tape.Equalisation{HighUs: 70, LowUs: 3180}
	// IEC 60094-1 clause 15 by its formula: what a tape of 70 µs plays like at 120 µs.
	err120 := func(hz float64) float64 {
		f := func(us float64) float64 { return -10 * math.Log10(1+math.Pow(2*math.Pi*hz*us*1e-6, 2)) }
		return f(70) - f(120)
	}
	ref := err120(315)
	wobble := func(tr int, hz float64) float64 { return 0.3 * math.Sin(float64(tr)*7+hz) }
	spacing := func(hz, um float64) float64 {
		return -float64(tape.SpacingLoss(unit.Metre(um*1e-6), tape.Wavelength(0.09525, unit.Hertz(hz))))
	}
	for name, c := range map[string]struct {
		dev  func(tr int, hz float64) float64
		want string
	}{
		"in order":        {wobble, ""},
		"120 µs":          {func(tr int, hz float64) float64 { return err120(hz) - ref + wobble(tr, hz) }, "120 + 3180 µs"},
		"spacing":         {func(tr int, hz float64) float64 { return spacing(hz, 0.6) + wobble(tr, hz) }, ""},
		"one track only":  {func(tr int, hz float64) float64 { return map[bool]float64{true: err120(hz) - ref}[tr == 1] }, ""},
		"level of tracks": {func(tr int, hz float64) float64 { return float64(tr) }, ""},
	} {
		s := &session{opt: Options{Tape: &testtape.Tape{EqualisationUs: testtape.Equalisation{High: recorded.HighUs, Low: recorded.LowUs}, Reference: testtape.Reference{ToneHz: 315}}}}
		got := strings.Join(s.wrongSwitch(responsesOf(6, c.dev)), "; ")
		if (c.want == "") != (got == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

func TestWrongSpeedIsSuspected(t *testing.T) {
	s := &synth{rate: 32000, tape: tapeOf(3, 315, 1000, 3150, 6300), tracks: 1, speed: 2, amp: constant(0.25), noise: 1e-3, seed: 5}
	m, _ := s.render()
	rep, err := TestTape(context.Background(), []Source{m.source("fast.wav")}, Options{Tape: s.tape, Geometry: heads(1)})
	if err != nil {
		t.Fatal(err)
	}
	if w := strings.Join(rep.Warnings, "\n"); !strings.Contains(w, "fast.wav") || !strings.Contains(w, "2 times its speed") {
		t.Errorf("a tape at twice its speed: %s", w)
	}
	quiet := &synth{rate: 32000, tape: tapeOf(3, 0, 0, 0), tracks: 1, speed: 1, noise: 1e-3, seed: 5}
	m, _ = quiet.render()
	rep, err = TestTape(context.Background(), []Source{m.source("hiss.wav")}, Options{Tape: s.tape, Geometry: heads(1)})
	if err != nil {
		t.Fatal(err)
	}
	if w := strings.Join(rep.Warnings, "\n"); strings.Contains(w, "speed switch") {
		t.Errorf("hiss: %s", w)
	}
}
