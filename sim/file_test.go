package sim_test

import (
	"bytes"
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"headstack/capture"
	"headstack/sim"
	"headstack/tape"
)

func TestSameSeedSameBytes(t *testing.T) {
	sc := sim.Perfect(testTape(0.5), geometry())
	sc.RandomFlutter = sim.RandomFlutter{RMSPercent: 0.1, LowHz: 1, HighHz: 30}
	sc.AzimuthWander = sim.Wander{RMSArcmin: 1, LowHz: 0.2, HighHz: 2}
	for i := range sc.Tracks {
		sc.Tracks[i].Noise = &sim.Noise{LevelDBFS: -60}
		sc.Tracks[i].Flicker = sim.Flicker{DepthDB: 1, RateHz: 2}
	}
	var files [3]file
	for i := range files {
		if i == 2 {
			sc.Seed++
		}
		if _, err := sim.Render(context.Background(), &files[i], sc); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(files[0].b, files[1].b) {
		t.Error("the same seed gave other bytes")
	}
	if bytes.Equal(files[0].b, files[2].b) {
		t.Error("another seed gave the same bytes")
	}
}

func TestImpossibleScenarios(t *testing.T) {
	for name, spoil := range map[string]func(*sim.Scenario){
		"no tape":      func(sc *sim.Scenario) { sc.Tape = nil },
		"tracks":       func(sc *sim.Scenario) { sc.Tracks = sc.Tracks[:3] },
		"channel":      func(sc *sim.Scenario) { sc.Channels = []int{7} },
		"rate":         func(sc *sim.Scenario) { sc.SampleRate = 12000 },
		"flutter":      func(sc *sim.Scenario) { sc.Flutter = []sim.Line{{Hz: 1, PercentPeak: 60}} },
		"cuts":         func(sc *sim.Scenario) { sc.CutHeadS, sc.CutTailS = 1000, 1000 },
		"skips":        func(sc *sim.Scenario) { sc.SkipHead = 9 },
		"lead-in":      func(sc *sim.Scenario) { sc.LeadInS = math.NaN() },
		"spacing":      func(sc *sim.Scenario) { sc.Tracks[0].SpacingUm = -1 },
		"crosstalk":    func(sc *sim.Scenario) { sc.Tracks[0].CrosstalkDB = 3 },
		"drop-out":     func(sc *sim.Scenario) { sc.Tracks[0].DropOuts = []sim.DropOut{{AtS: 1}} },
		"noise colour": func(sc *sim.Scenario) { sc.Tracks[0].Noise = &sim.Noise{Pole: 1} },
	} {
		sc := sim.Perfect(testTape(1), geometry())
		spoil(&sc)
		var f file
		if _, err := sim.Render(context.Background(), &f, sc); !errors.Is(err, sim.ErrScenario) {
			t.Errorf("%s: error %v, want ErrScenario", name, err)
		}
		if len(f.b) > 0 {
			t.Errorf("%s: %d bytes were written all the same", name, len(f.b))
		}
	}
}

func TestRenderStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	sc := sim.Perfect(testTape(1), geometry())
	sc.Progress = func(done float64) {
		if done > 0.5 {
			cancel()
		}
	}
	if _, err := sim.Render(ctx, &file{}, sc); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want context.Canceled", err)
	}
}

// RenderFile leaves the capture and its truth side by side.
func TestRenderFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "capture.wav")
	want, err := sim.RenderFile(context.Background(), path, sim.Perfect(testTape(0.2), geometry()))
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(sim.TruthPath(path))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	got, err := sim.ReadTruth(f)
	if err != nil {
		t.Fatal(err)
	}
	if got.Frames != want.Frames || len(got.Measures) != len(want.Measures) {
		t.Errorf("truth beside the file: %d frames and %d measures, want %d and %d", got.Frames, len(got.Measures), want.Frames, len(want.Measures))
	}
	r, err := capture.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if n, known := r.Frames(); !known || n != want.Frames {
		t.Errorf("file of %d frames (known %v), want %d", n, known, want.Frames)
	}
}

func TestTruthRoundTrip(t *testing.T) {
	sc := sim.Perfect(testTape(0.5), geometry())
	sc.Tracks[2] = sim.Track{GainDB: -3, Eq: &tape.Equalisation{HighUs: 120, LowUs: 3180}, Noise: &sim.Noise{LevelDBFS: -50}}
	sc.Flutter = []sim.Line{{Hz: 7, PercentPeak: 0.05}}
	_, truth := render(t, sc)
	var first, second bytes.Buffer
	if err := sim.WriteTruth(&first, truth); err != nil {
		t.Fatal(err)
	}
	back, err := sim.ReadTruth(bytes.NewReader(first.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	if err := sim.WriteTruth(&second, back); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(first.Bytes(), second.Bytes()) {
		t.Error("the truth changed on its way through JSON")
	}
	// What was read renders the same file.
	var a, b file
	for f, s := range map[*file]sim.Scenario{&a: sc, &b: back.Scenario} {
		if _, err := sim.Render(context.Background(), f, s); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(a.b, b.b) {
		t.Error("the scenario read back renders another file")
	}
	if _, err := sim.ReadTruth(bytes.NewReader([]byte(`{"truth": 2}`))); err == nil {
		t.Error("format 2 was read")
	}
}
