package signature_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"headstack/signature"
	"headstack/sim"
)

// Two captures of one simulated recorder, with 0.5 µm less spacing on tracks 4 to 6 in the
// second, as pressing on a shell may do; then a turned azimuth, and nothing at all.
func TestCompareSaysWhatChanged(t *testing.T) {
	var m sim.Memory
	b := benchOf(false)
	pressed := func(change func(s *scene)) signature.Explanation {
		s, _ := newScene(b, 77)
		for i := range 3 {
			s.spaced(3+i, 0.7e-6)
		}
		before := s.capture(t, &m)
		change(s)
		s.seed = 78 // other noise
		e, err := signature.Compare(before, s.capture(t, &m), "pressing the shell", b.opt)
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	e := pressed(func(s *scene) {
		for i := range 3 {
			s.spaced(3+i, -0.5e-6)
		}
	})
	f := e.Findings[0]
	if f.Cause != signature.Spacing || !slices.Equal(f.Tracks, []int{4, 5, 6}) || f.Probability < 0.9 {
		t.Fatalf("found %+v", e.Findings)
	}
	for _, p := range f.Parameters {
		if math.Abs(p.Value+0.5) > 0.02 || p.Lo > -0.5 || p.Hi < -0.5 {
			t.Errorf("track %d: %.3f (%.3f to %.3f) µm, want -0.5", p.Track, p.Value, p.Lo, p.Hi)
		}
	}
	if !strings.Contains(f.Sentence, "Pressing the shell removed 0.5") || !strings.Contains(f.Sentence, "tracks 4 to 6") {
		t.Errorf("sentence %q", f.Sentence)
	}
	e = pressed(func(s *scene) { s.arc += 3 })
	if f := e.Findings[0]; f.Cause != signature.Azimuth || math.Abs(f.Parameters[0].Value-3) > 0.2 {
		t.Errorf("turned by 3 arcminutes, found %+v", e.Findings)
	}
	e = pressed(func(*scene) {})
	if f := e.Findings[0]; f.Cause != signature.None || f.Probability < 0.9 {
		t.Errorf("nothing done, found %+v", e.Findings)
	}
}

// Changes of random size and kind, with their intervals.
func TestCompareParameters(t *testing.T) {
	n := runs(60, 4)
	held, count, right := 0, 0, 0
	for i := range n {
		var m sim.Memory
		b := benchOf(i%2 == 1)
		rng := rand.New(rand.NewPCG(uint64(i), 5))
		s, _ := newScene(b, uint64(500+i))
		k := rng.IntN(len(s.faults))
		s.spaced(k, 2e-6)
		before := s.capture(t, &m)
		by := -(0.2 + 1.5*rng.Float64())
		s.spaced(k, by*1e-6)
		s.seed += 1000
		e, err := signature.Compare(before, s.capture(t, &m), "cleaning", b.opt)
		if err != nil {
			t.Fatal(err)
		}
		f := e.Findings[0]
		if f.Cause != signature.Spacing || !slices.Equal(f.Tracks, []int{k + 1}) {
			t.Logf("%d: %.2f µm on track %d: %+v", i, by, k+1, e.Findings)
			continue
		}
		right++
		count++
		if p := f.Parameters[0]; p.Lo <= by && by <= p.Hi {
			held++
		} else {
			t.Logf("%d: %.4f µm, found %.4f (%.4f to %.4f)", i, by, p.Value, p.Lo, p.Hi)
		}
	}
	t.Logf("%d of %d right, %d of %d intervals hold", right, n, held, count)
	if right*10 < n*9 {
		t.Error("fewer than nine in ten changes found")
	}
	if long && float64(held) < 0.9*float64(count) {
		t.Error("fewer than 90 % of intervals hold")
	}
}
