package programme_test

import (
	"context"
	"testing"

	"headstack/programme"
	"headstack/sim"
)

// Through a machine with flutter, drift-like slow wow, crosstalk, distortion, noise and
// swapped cables, several rounds in one capture: each is found on its own tracks.
func TestLocateSimulated(t *testing.T) {
	p, err := programme.New(programme.Options{Tracks: 2, SpeedCmS: 9.525, TracksPerRound: 1})
	if err != nil {
		t.Fatal(err)
	}
	r := sim.PerfectRecording(p)
	r.Rounds = []int{0, 1}
	r.LeadInS, r.TailS = 6, 5
	r.RecordSpeedErrorPercent, r.ReplaySpeedErrorPercent = 2, -1.5
	r.RecordFlutter = []sim.Line{{Hz: 0.004, PercentPeak: 0.15}, {Hz: 0.7, PercentPeak: 0.2, PhaseDeg: 50}, {Hz: 9, PercentPeak: 0.1}}
	r.ReplayFlutter = []sim.Line{{Hz: 0.7, PercentPeak: 0.2, PhaseDeg: 200}, {Hz: 9, PercentPeak: 0.1, PhaseDeg: 90}}
	r.RecordCables = []int{2, 1}
	for i := range r.Tracks {
		r.Tracks[i].MOLDB, r.Tracks[i].SaturationDB = new(4.0), new(-6.0)
		r.Tracks[i].Noise = &sim.Noise{LevelDBFS: -58, Pole: 0.5}
		r.Tracks[i].Hum = &sim.Hum{LevelDBFS: -60, HarmonicsDB: []float64{-10, -3}}
		r.Tracks[i].SpacingUm = float64(i)
		r.Tracks[i].DropOuts = []sim.DropOut{{AtS: 20, LengthS: 0.2, DepthDB: 30}, {AtS: 85, LengthS: 0.1, DepthDB: 20}}
	}
	r.Tracks[1].NoiseReduction = sim.CompanderEncode
	r.Leaks = []sim.Leak{{From: 1, To: 2, DB: -38}, {From: 2, To: 1, DB: -40}}
	for round := range 2 {
		s, truth, err := r.Play()
		if err != nil {
			t.Fatal(err)
		}
		f, err := p.Locate(context.Background(), s, []int{1, 2}, round)
		if err != nil {
			t.Fatal(err)
		}
		worst := 0.0
		for _, want := range truth.Parts {
			if want.Round != round {
				continue
			}
			got := f.Parts[want.Index]
			off := max(got.StartS-want.StartS, want.StartS-got.StartS, got.EndS-want.EndS, want.EndS-got.EndS)
			worst = max(worst, off)
			if !got.Found || got.Partial || off > 0.1 {
				t.Errorf("round %d, %q: %+v, want %.3f s to %.3f s", round+1, want.Name, got, want.StartS, want.EndS)
			}
		}
		t.Logf("round %d: worst place %.3f s off, speed %.5f, warnings %q", round+1, worst, f.SpeedRatio, f.Warnings)
	}
}

// BenchmarkLocate times finding the parts of an 8-track programme at 48 kHz with the
// making of its sound, and BenchmarkSignal that making alone.
func BenchmarkLocate(b *testing.B) {
	p, err := programme.New(programme.Options{Tracks: 8, SpeedCmS: 38.1})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		s, err := p.Signal(0, 48000)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := p.Locate(context.Background(), s, []int{1, 2, 3, 4, 5, 6, 7, 8}, 0); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(p.Seconds()*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}

func BenchmarkSignal(b *testing.B) {
	p, err := programme.New(programme.Options{Tracks: 8, SpeedCmS: 38.1})
	if err != nil {
		b.Fatal(err)
	}
	block := make([][]float64, 8)
	for c := range block {
		block[c] = make([]float64, 4096)
	}
	for b.Loop() {
		s, err := p.Signal(0, 48000)
		if err != nil {
			b.Fatal(err)
		}
		for err == nil {
			_, err = s.Read(block)
		}
	}
	b.ReportMetric(p.Seconds()*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
