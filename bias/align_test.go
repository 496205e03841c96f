package bias

import (
	"math"
	"testing"
)

// Two staircases replayed apart refer each to the low tone at its own first step. Aligned they
// give what one reference gives; as they come they do not, for the first steps differ in bias.
func TestAlign(t *testing.T) {
	w := Want{Tones: studio, Aim: Aim{FallDB: 3}}
	var falls, apart []float64
	for seed := range 6 {
		b := newBench(seed, 0.25, 0.03)
		first := b.record(b.positions(t))
		one, err := Fit(b.trim, studio, first)
		if err != nil {
			t.Fatal(err)
		}
		plan, err := Next(w, one)
		if err != nil {
			t.Fatal(err)
		}
		own := []Staircase{zeroed(first), zeroed(b.record(plan.Tracks[0].Positions))}
		for k, passes := range [][]Staircase{Align(own...), own} {
			c, err := Fit(b.trim, studio, passes...)
			if err != nil || len(passes) != 2 {
				t.Fatalf("%d passes, %v", len(passes), err)
			}
			miss := 3.0 // none is as bad
			if s := c.Set(w.Aim); s.At != nil {
				miss = b.fallAt(s.At.Position) - 3
			}
			if k == 0 {
				falls = append(falls, miss)
			} else {
				apart = append(apart, miss)
			}
		}
	}
	rms, _, _ := shares(falls)
	bad, _, _ := shares(apart)
	t.Logf("fall of 3 dB: %.3f dB r.m.s. aligned, %.3f as they come", rms, bad)
	if rms > 0.3 || rms > bad {
		t.Errorf("aligned %.3f dB r.m.s., as they come %.3f", rms, bad)
	}
	// Without two steps in common the earlier one is left out.
	at := func(p ...float64) (s Staircase) {
		for _, x := range p {
			s.Readings = append(s.Readings, Reading{Position: x, Treble: &Level{Value: x}, Low: &Level{Value: -x}})
		}
		return s
	}
	if got := Align(at(0.1, 0.2, 0.3, 0.4), at(0.4, 0.5, 0.6, 0.7)); len(got) != 1 || got[0].Readings[0].Position != 0.4 {
		t.Errorf("kept %d staircases of which one step is shared", len(got))
	}
	got := Align(zeroed(at(0.1, 0.2, 0.3, 0.4)), zeroed(at(0.15, 0.25, 0.35, 0.45)))
	if len(got) != 2 || math.Abs(got[0].Readings[0].Low.Value-0.05) > 1e-12 || math.Abs(got[0].Readings[0].Treble.Value-0.25) > 1e-12 {
		t.Errorf("%+v", got)
	}
}

// zeroed refers a staircase to the low tone at its first step.
func zeroed(s Staircase) Staircase {
	zero := s.Readings[0].Low.Value
	var out Staircase
	for _, r := range s.Readings {
		r.Treble, r.Low = r.Treble.plus(-zero), r.Low.plus(-zero)
		out.Readings = append(out.Readings, r)
	}
	return out
}
