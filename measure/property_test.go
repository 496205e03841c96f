package measure

import (
	"context"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// quick is a short capture of two tracks with random content.
func quick(t *rapid.T) *synth {
	s := &synth{rate: 16000, tape: tapeOf(1.9, 315, 1250, 0), tracks: 2, noise: 1e-3}
	s.speed = rapid.Float64Range(0.95, 1.05).Draw(t, "speed")
	s.seed = rapid.Uint64Range(1, 1e6).Draw(t, "seed")
	a := rapid.Float64Range(0.05, 0.3).Draw(t, "amplitude")
	s.amp = constant(a)
	s.behind = []float64{0, rapid.Float64Range(-100e-6, 100e-6).Draw(t, "behind")}
	s.lines = []flutterLine{{hz: rapid.Float64Range(0.8, 20).Draw(t, "flutter"), amp: 0.001}}
	return s
}

func report(t *rapid.T, s *synth, m *memory, f finding, tracks ...int) Report {
	rep, err := measureTape(context.Background(), []Source{m.source("x", tracks...)}, Options{Tape: s.tape, Geometry: heads(2)}, known(f))
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

func find(t *rapid.T, rep Report, name, section string, track, trackB int) Result {
	for _, r := range rep.Measures {
		if r.Name == name && r.Section == section && r.Track == track && r.TrackB == trackB {
			return r
		}
	}
	t.Fatalf("no %s", name)
	return Result{}
}

// A gain moves levels by 20 log of it and nothing else; exchanged channels turn the
// delay round; a capture read in other pieces is the same capture.
func TestGainSwapAndPieces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := quick(t)
		m, f := s.render()
		base := report(t, s, m, f)
		k := rapid.Float64Range(0.1, 3).Draw(t, "gain")
		louder := &memory{rate: m.rate, ch: [][]float64{scaled(m.ch[0], k), scaled(m.ch[1], k)}}
		swapped := &memory{rate: m.rate, ch: [][]float64{m.ch[1], m.ch[0]}}
		pieces := &memory{rate: m.rate, ch: m.ch, chunk: rapid.IntRange(1, 3000).Draw(t, "piece")}
		up, turned, same := report(t, s, louder, f), report(t, s, swapped, f), report(t, s, pieces, f)
		near := func(what string, got, want, tol float64) {
			if math.Abs(got-want) > tol {
				t.Fatalf("%s: %.9g, want %.9g within %g", what, got, want, tol)
			}
		}
		for _, sec := range []string{"a", "b"} {
			near("level", find(t, up, "level", sec, 1, 0).Value, find(t, base, "level", sec, 1, 0).Value+20*math.Log10(k), 1e-9)
			near("response", find(t, up, "response", sec, 1, 0).Value, find(t, base, "response", sec, 1, 0).Value, 1e-9)
			near("speed", find(t, up, "speed_error", sec, 1, 0).Value, find(t, base, "speed_error", sec, 1, 0).Value, 1e-7)
			near("delay", find(t, up, "delay", sec, 1, 2).Value, find(t, base, "delay", sec, 1, 2).Value, 1e-6)
			near("delay of exchanged channels", find(t, turned, "delay", sec, 1, 2).Value, -find(t, base, "delay", sec, 1, 2).Value, 1e-6)
			near("level in pieces", find(t, same, "level", sec, 1, 0).Value, find(t, base, "level", sec, 1, 0).Value, 1e-12)
			near("delay in pieces", find(t, same, "delay", sec, 1, 2).Value, find(t, base, "delay", sec, 1, 2).Value, 1e-12)
		}
		near("noise", find(t, up, "noise", "c", 1, 0).Value, find(t, base, "noise", "c", 1, 0).Value, 1e-9)
		near("azimuth of exchanged channels", find(t, turned, "azimuth", "", 1, 2).Value, -find(t, base, "azimuth", "", 1, 2).Value, 1e-6)
	})
}

func scaled(x []float64, k float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = k * v
	}
	return y
}
