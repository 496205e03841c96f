package measure_test

import (
	"context"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"headstack/capture"
	"headstack/dsp"
	"headstack/measure"
	"headstack/sim"
	"headstack/tape"
	"headstack/testtape"
	"headstack/unit"
)

// A simulated recorder: track 1 sound, track 2 with poor contact, track 3 with a joint
// that moves, track 4 with drop-outs and hum; 0.8 % fast. The simulator knows nothing
// of how any of this is measured.
func TestSimulatedFlickerDropOutsAndHum(t *testing.T) {
	tp := &testtape.Tape{Format: 1, Name: "sim", SpeedCmS: 9.525, TrackLayout: testtape.PerTrack,
		Reference:      testtape.Reference{FluxivityNWbM: 250, ToneHz: 315, Convention: "short-circuit"},
		EqualisationUs: testtape.Equalisation{High: 70},
		Sections: []testtape.Section{
			{Name: "low", ToneHz: 315, Seconds: 12}, {Name: "mid", ToneHz: 3150, Seconds: 12},
			{Name: "high", ToneHz: 10000, Seconds: 12}, {Name: "blank", Seconds: 10},
		}}
	g := tape.Geometry{TapeWidth: 3.81e-3}
	for i := range 4 {
		g.Tracks = append(g.Tracks, tape.TrackPlace{Centre: unit.Metre(0.3e-3 + 0.9e-3*float64(i)), Width: 0.5e-3})
	}
	sc := sim.Perfect(tp, g)
	sc.SpeedErrorPercent, sc.Seed = 0.8, 21
	for i := range sc.Tracks {
		sc.Tracks[i].Noise = &sim.Noise{LevelDBFS: -65}
	}
	sc.Tracks[1].Flicker = sim.Flicker{DepthDB: 4, RateHz: 2, TrebleOnly: true}
	sc.Tracks[2].Flicker = sim.Flicker{DepthDB: 3, RateHz: 2.6}
	start := 2/1.008 + 0.5 // inside the first section, clear of its edge
	for _, at := range []float64{1, 3, 4.4, 7.7} {
		sc.Tracks[3].DropOuts = append(sc.Tracks[3].DropOuts, sim.DropOut{AtS: start + at, LengthS: 0.08, DepthDB: 15})
	}
	sc.Tracks[3].Hum = &sim.Hum{LevelDBFS: -60, HarmonicsDB: []float64{-10, -4}}

	file := filepath.Join(t.TempDir(), "sim.wav")
	if _, err := sim.RenderFile(context.Background(), file, sc); err != nil {
		t.Fatal(err)
	}
	rep, err := measure.TestTape(context.Background(), []measure.Source{{Name: "sim.wav", Tracks: []int{1, 2, 3, 4},
		Open: func() (dsp.Stream, func() error, error) {
			r, err := capture.Open(file)
			if err != nil {
				return nil, nil, err
			}
			return r, r.Close, nil
		}}}, measure.Options{Tape: tp, Geometry: g})
	if err != nil {
		t.Fatal(err)
	}
	find := func(name, section string, track int) measure.Result {
		t.Helper()
		for _, r := range rep.Measures {
			if r.Name == name && r.Section == section && r.Track == track {
				return r
			}
		}
		t.Fatalf("no %s of track %d in %q", name, track, section)
		return measure.Result{}
	}
	near := func(r measure.Result, want, tol float64) {
		t.Helper()
		if r.Refused != "" || math.Abs(r.Value-want) > tol {
			t.Errorf("%s of track %d in %q: %.3f (%.3f to %.3f), want %.3f within %g (refused %q)", r.Name, r.Track, r.Section, r.Value, r.Lo, r.Hi, want, tol, r.Refused)
		}
	}
	says := func(r measure.Result, part string) {
		t.Helper()
		if !strings.Contains(strings.Join(r.Warnings, "\n"), part) {
			t.Errorf("%s of track %d: warnings %q, want %q", r.Name, r.Track, r.Warnings, part)
		}
	}
	// A loss that swings as a cosine between 0 and the depth has depth/√8 r.m.s.
	near(find("flicker", "high", 2), 4/math.Sqrt(8), 0.15)
	near(find("flicker", "low", 3), 3/math.Sqrt(8), 0.12)
	near(find("flicker_treble", "", 2), 4/math.Sqrt(8), 0.15)
	near(find("flicker_all_band", "", 3), 3/math.Sqrt(8), 0.12)
	says(find("flicker_treble", "", 2), "bass steady, treble flickers")
	says(find("flicker_all_band", "", 3), "bass and treble vary alike")
	if r := find("flicker", "high", 1); r.Refused != "" || r.Value > 0.02 {
		t.Errorf("flicker of the sound track %.3f dB (refused %q)", r.Value, r.Refused)
	}
	near(find("dropouts", "low", 4), 4/((12/1.008-0.72)/60), 1)
	near(find("dropouts", "low", 1), 0, 0)
	if m := find("dropouts", "low", 4).Method; !strings.Contains(m, "deepest 15 dB") {
		t.Errorf("method %q, want the depth of 15 dB", m)
	}
	// −60 dBFS, with −10 and −4 dB beside it, under a reference of −12 dBFS.
	hum := find("hum", "blank", 4)
	// Noise of −65 dBFS lies under it: three standard errors.
	near(hum, -48+10*math.Log10(1+0.1+math.Pow(10, -0.4)), 0.15)
	if !strings.Contains(hum.Method, "r.m.s. of 50.0") && !strings.Contains(hum.Method, "r.m.s. of 49.9") {
		t.Errorf("method %q: the mains' 50 Hz do not follow the tape's speed", hum.Method)
	}
	if r := find("hum", "blank", 1); !strings.Contains(r.Refused, "no hum found") {
		t.Errorf("track 1 hums %.1f dB, %s", r.Value, r.Method)
	}
}
