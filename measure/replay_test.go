package measure_test

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"headstack/capture"
	"headstack/dsp"
	"headstack/measure"
	"headstack/programme"
	"headstack/sim"
)

// wavSource opens a WAV file as often as it is asked to.
func wavSource(path string, tracks ...int) measure.Source {
	return measure.Source{Name: filepath.Base(path), Tracks: tracks, Open: func() (dsp.Stream, func() error, error) {
		r, err := capture.Open(path)
		if err != nil {
			return nil, nil, err
		}
		return r, r.Close, nil
	}}
}

// worn is a machine with a fault of each kind that a programme is to show.
func worn(p *programme.Programme) sim.Recording {
	rec := sim.PerfectRecording(p)
	for i := range rec.Tracks {
		mol, sat := 5.0+float64(i), -8.0 // so low that the steps reach it
		t := &rec.Tracks[i]
		t.MOLDB, t.SaturationDB, t.EraseDepthDB = &mol, &sat, 58+3*float64(i)
		t.EvenPercent = 0.2
		t.Noise = &sim.Noise{LevelDBFS: -70}
	}
	rec.Tracks[1].HighCornerHz, rec.Tracks[1].GainDB = 9000, -2
	rec.Tracks[2].PolarityReversed = true
	rec.Tracks[0].Hum = &sim.Hum{LevelDBFS: -62, HarmonicsDB: []float64{-6, -12}}
	rec.Leaks = []sim.Leak{{From: 1, To: 2, DB: -48}, {From: 3, To: 2, DB: -63}}
	rec.RecordFlutter = []sim.Line{{Hz: 0.7, PercentPeak: 0.05}, {Hz: 9, PercentPeak: 0.04}}
	rec.ReplayFlutter = []sim.Line{{Hz: 0.7, PercentPeak: 0.05, PhaseDeg: 90}, {Hz: 9, PercentPeak: 0.04, PhaseDeg: 30}}
	rec.ReplaySpeedErrorPercent = 0.8
	rec.Seed = 4
	return rec
}

// The standard programme through a worn machine: what the simulator knows to be true
// is what is measured, for every name of the contract that it knows.
func TestStandardProgrammeThroughAWornMachine(t *testing.T) {
	if testing.Short() {
		t.Skip("renders and measures three minutes")
	}
	p, err := programme.New(programme.Options{Tracks: 3, SpeedCmS: 9.525})
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "own.wav")
	truth, err := sim.RenderRecordingFile(context.Background(), path, worn(p))
	if err != nil {
		t.Fatal(err)
	}
	rep, err := measure.Recording(context.Background(), []measure.Source{wavSource(path, 1, 2, 3)}, p, measure.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range rep.Sections {
		if !s.Found {
			t.Errorf("part %q not found: %s", s.Name, s.Reason)
		}
	}
	// Beyond the interval: what the truth leaves out, by its method texts.
	slack := map[string]float64{"speed_error": 1e-3, "wow_rms": 0.025 /* the two passes beat slowly */, "flutter_rms": 0.005, "mol_3pct": 0.1, "sol": 0.15, "noise": 0.3, "level": 0.02, "response": 0.02, "erase_depth": 1, "crosstalk": 0.5, "thd": 0.02, "harmonic_2": 0.02, "harmonic_3": 0.02}
	compared := map[string]int{}
	for _, m := range truth.Measures {
		switch {
		case m.Name == "erase_depth": // the fall there, what is left here
			m.Value = -m.Value
		case m.Name == "noise_reduction_left_on": // yes or no there, a slope here
			continue
		case m.Name == "response" && m.Section == "comb": // re the reference part there, which compresses a little
			at, _ := truth.Find("response", m.Track, 0, "comb", 316)
			m.Value -= at
		case m.Name == "intermodulation_2": // over the mean of the tones there, over their sum here
			m.Value /= 2
		case m.Name == "crosstalk" && m.ToneHz > 1000: // re the tracks' references there, re the same tone here
			continue
		}
		r, ok := find(rep, m)
		if !ok {
			continue
		}
		compared[m.Name]++
		what := fmt.Sprintf("%s of track %d/%d in %q at %g Hz", m.Name, m.Track, m.TrackB, m.Section, m.ToneHz)
		if r.Refused != "" {
			if m.Name == "crosstalk" && m.Value < -85 || strings.HasPrefix(m.Name, "harmonic") && m.Value < 0.02 {
				continue // below the noise
			}
			t.Errorf("%s: refused: %s; want %.3f", what, r.Refused, m.Value)
			continue
		}
		if half := math.Max(r.Hi-r.Value, r.Value-r.Lo); math.Abs(r.Value-m.Value) > 2*half+slack[m.Name] {
			t.Errorf("%s: %.4f [%.4f, %.4f], want %.4f (%s)", what, r.Value, r.Lo, r.Hi, m.Value, m.Method)
		}
	}
	t.Logf("compared: %v", compared)
	for _, name := range []string{"speed_error", "level", "response", "identity", "polarity", "thd", "harmonic_3", "mol_3pct", "sol", "crosstalk", "erase_depth", "noise"} {
		if compared[name] == 0 {
			t.Errorf("no %s was compared", name)
		}
	}
	// Names of the contract that the simulator gives no single true value for.
	for _, name := range []string{"wow_flutter_2sigma", "wow_flutter_quasi_peak", "wow_flutter_rms", "wow_rms", "flutter_rms", "drift", "noise_a", "noise_468", "hum", "dropouts", "flicker", "noise_reduction_left_on"} {
		given := 0
		for _, r := range rep.Measures {
			if r.Name == name && r.Refused == "" {
				given++
			}
		}
		if given == 0 {
			t.Errorf("no %s was given", name)
		}
	}
}

// find is the result that a true value is of.
func find(rep measure.Report, m sim.TrueMeasure) (measure.Result, bool) {
	for _, r := range rep.Measures {
		if r.Name == m.Name && r.Track == m.Track && r.TrackB == m.TrackB && (m.Section == "" || r.Section == "" || r.Section == m.Section) &&
			(m.ToneHz == 0 || r.ToneHz == 0 || r.ToneHz == m.ToneHz) {
			return r, true
		}
	}
	return measure.Result{}, false
}

// A machine that records two tracks at once takes the programme in rounds; both are
// found in one capture and merged.
func TestRoundsAreMerged(t *testing.T) {
	if testing.Short() {
		t.Skip("renders and measures two rounds")
	}
	p, err := programme.New(programme.Options{Tracks: 4, SpeedCmS: 9.525, TracksPerRound: 2, Kinds: []programme.Kind{programme.Tone, programme.Identity, programme.Silence}})
	if err != nil {
		t.Fatal(err)
	}
	rec := sim.PerfectRecording(p)
	rec.Rounds = []int{0, 1}
	for i := range rec.Tracks {
		rec.Tracks[i].GainDB = -float64(i)
		rec.Tracks[i].Noise = &sim.Noise{LevelDBFS: -65}
	}
	path := filepath.Join(t.TempDir(), "rounds.wav")
	if _, err := sim.RenderRecordingFile(context.Background(), path, rec); err != nil {
		t.Fatal(err)
	}
	rep, err := measure.Recording(context.Background(), []measure.Source{wavSource(path, 1, 2, 3, 4)}, p, measure.Options{})
	if err != nil {
		t.Fatal(err)
	}
	i, _ := p.ReferencePart()
	for track := 1; track <= 4; track++ {
		n := 0
		for _, r := range rep.Measures {
			if r.Track != track || r.Refused != "" {
				continue
			}
			switch {
			case r.Name == "level" && r.Section == p.Parts[i].Name:
				n++
				if want := rec.ReferenceDBFS - float64(track-1); math.Abs(r.Value-want) > 0.02 {
					t.Errorf("level of track %d: %.3f dBFS, want %.3f", track, r.Value, want)
				}
			case r.Name == "identity":
				n++
				if r.Value != float64(track) {
					t.Errorf("track %d is told as %g", track, r.Value)
				}
			}
		}
		if n != 2 {
			t.Errorf("track %d has %d figures of level and identity, want one each", track, n)
		}
	}
}
