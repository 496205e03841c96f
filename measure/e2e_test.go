package measure

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
)

// The public call on a capture whose sections nobody pointed out: noise before the
// first tone, speed 3 % off, one dead track.
func TestTestTapeFindsAndMeasures(t *testing.T) {
	s := &synth{rate: 48000, tape: tapeOf(5, 315, 1000, 6300, 10000, 0), tracks: 3, speed: 1.03, seed: 77}
	s.tape.Sections[3].LevelDB = -10
	s.lines = flutterOf(rand.New(rand.NewPCG(5, 5)), 0.001)
	s.noise = 5e-4
	s.behind = []float64{0, 50e-6, 20e-6}
	s.amp = func(k, i int) float64 {
		if k == 2 {
			return 0
		}
		if i == 3 {
			return 0.2 * math.Pow(10, -11.5/20)
		}
		return 0.2
	}
	m, _ := s.render()
	// Two seconds of leader.
	r := rand.New(rand.NewPCG(6, 6))
	for c := range m.ch {
		lead := make([]float64, 2*48000)
		for i := range lead {
			lead[i] = s.noise * r.NormFloat64()
		}
		m.ch[c] = append(lead, m.ch[c]...)
	}
	rep, err := TestTape(context.Background(), []Source{m.source("found.wav")}, Options{Tape: s.tape, Geometry: heads(3)})
	if err != nil {
		t.Fatal(err)
	}
	for i, sec := range rep.Sections {
		if !sec.Found || math.Abs(sec.StartS-(2+float64(i)*5/1.03)) > 0.3 {
			t.Errorf("section %+v, want a start near %.2f s", sec, 2+float64(i)*5/1.03)
		}
	}
	near := func(r Result, want, tol float64) {
		t.Helper()
		if r.Refused != "" || math.Abs(r.Value-want) > tol {
			t.Errorf("%s %q %d %d: %.4f, want %.4f within %g (refused %q)", r.Name, r.Section, r.Track, r.TrackB, r.Value, want, tol, r.Refused)
		}
	}
	for _, sec := range []string{"a", "b", "c"} {
		near(get(t, rep, "level", sec, 2, 0), 20*math.Log10(0.2), 0.05)
	}
	near(get(t, rep, "response", "d", 1, 0), -1.5, 0.05)
	near(get(t, rep, "speed_error", "", 0, 0), 3, 0.01)
	near(get(t, rep, "delay", "d", 1, 2), 50/1.03, 1)
	near(get(t, rep, "azimuth", "", 1, 2), math.Atan(50e-6*0.09525/0.62e-3)*arcminPerRadian, 0.2)
	near(get(t, rep, "noise", "e", 1, 0), 20*math.Log10(5e-4/(0.2/math.Sqrt2))+10*math.Log10(19980.0/24000), 0.2)
	wantRefused(t, get(t, rep, "level", "a", 3, 0), "tone absent")
}
