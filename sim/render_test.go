package sim_test

import (
	"math"
	"testing"

	"headstack/sim"
	"headstack/tape"
	"headstack/unit"
)

func lambda(f float64) unit.Metre { return unit.Metre(0.09525 / f) }

// A perfect recorder plays every level as stated, raised by the fringing alone;
// every tone at its frequency; all tracks together. The fit's own limit is the
// 24-bit rounding, far below the tolerances.
func TestPerfectRecorder(t *testing.T) {
	sc := sim.Perfect(testTape(0.7), geometry())
	x, truth := render(t, sc)
	for c := range x {
		for i, s := range sc.Tape.Sections {
			cut, first := section(t, x[c], truth, i)
			if s.Silent() {
				for _, v := range cut {
					if v != 0 {
						t.Fatalf("track %d: %g in silence", c+1, v)
					}
				}
				continue
			}
			fit := fitSine(cut, first, 48000, s.ToneHz)
			want := -12 + s.LevelDB + float64(tape.FringingGain(sc.Geometry, c+1, lambda(s.ToneHz)))
			if d := fit.levelDBFS() - want; math.Abs(d) > 1e-4 {
				t.Errorf("track %d %s: level off by %g dB", c+1, s.Name, d)
			}
			if e := fit.f/s.ToneHz - 1; math.Abs(e) > 1e-8 {
				t.Errorf("track %d %s: frequency off by %g", c+1, s.Name, e)
			}
			if got, ok := truth.Find("response", c+1, 0, s.Name); !ok || math.Abs(got) > 1e-9 {
				t.Errorf("track %d %s: true response %v, want 0", c+1, s.Name, got)
			}
			if got, ok := truth.Find("level", c+1, 0, s.Name); !ok || math.Abs(got-want) > 1e-9 {
				t.Errorf("track %d %s: true level %v, want %v", c+1, s.Name, got, want)
			}
		}
	}
}

// Each loss appears as package tape has it, at the wavelength of the recording
// although the tape runs 3 % fast; equalisation and corners at the frequency heard.
func TestLossesAppear(t *testing.T) {
	base := func() sim.Scenario {
		sc := sim.Perfect(testTape(0.6), geometry())
		sc.SpeedErrorPercent = 3
		sc.Channels = []int{2}
		return sc
	}
	db := func(x float64) float64 { return 20 * math.Log10(x) }
	first := func(f, corner float64) float64 { return db(math.Hypot(1, 1.03*f/corner)) }
	for _, c := range []struct {
		name string
		set  func(*sim.Scenario)
		gain func(f float64) float64
	}{
		{"gain", func(sc *sim.Scenario) { sc.Tracks[1].GainDB = -3 }, func(float64) float64 { return -3 }},
		{"spacing", func(sc *sim.Scenario) { sc.Tracks[1].SpacingUm = 0.5 },
			func(f float64) float64 { return -float64(tape.SpacingLoss(0.5e-6, lambda(f))) }},
		{"gap", func(sc *sim.Scenario) { sc.Tracks[1].GapUm = 3 },
			func(f float64) float64 { return -float64(tape.GapLoss(3e-6, lambda(f))) }},
		{"thickness", func(sc *sim.Scenario) { sc.Tracks[1].ThicknessUm = 4 },
			func(f float64) float64 { return -float64(tape.ThicknessLoss(4e-6, lambda(f))) }},
		{"azimuth", func(sc *sim.Scenario) { sc.AzimuthArcmin = -20 },
			func(f float64) float64 { return -float64(tape.AzimuthLoss(0.38e-3, 20*tape.Arcminute, lambda(f))) }},
		{"high corner", func(sc *sim.Scenario) { sc.Tracks[1].HighCornerHz = 6000 },
			func(f float64) float64 { return -first(f, 6000) }},
		{"low corner", func(sc *sim.Scenario) { sc.Tracks[1].LowCornerHz = 100 },
			func(f float64) float64 { return -db(math.Hypot(1, 100/(1.03*f))) }},
		{"equalisation", func(sc *sim.Scenario) { sc.Tracks[1].Eq = &tape.Equalisation{HighUs: 120} },
			func(f float64) float64 {
				return float64(tape.FluxDB(unit.Hertz(1.03*f), 70, 3180) - tape.FluxDB(unit.Hertz(1.03*f), 120, 0))
			}},
	} {
		t.Run(c.name, func(t *testing.T) {
			good, bad := base(), base()
			c.set(&bad)
			x, truth := render(t, good)
			y, trueBad := render(t, bad)
			for i, s := range good.Tape.Sections {
				if s.Silent() {
					continue
				}
				a, at := section(t, x[0], truth, i)
				b, _ := section(t, y[0], trueBad, i)
				f := s.ToneHz * 1.03
				got := fitSine(b, at, 48000, f).levelDBFS() - fitSine(a, at, 48000, f).levelDBFS()
				// 24-bit steps on a level of -60 dBFS: 1e-4 dB.
				if want := c.gain(s.ToneHz); math.Abs(got-want) > 2e-4 {
					t.Errorf("%v Hz: %+.5f dB, want %+.5f", s.ToneHz, got, want)
				}
			}
		})
	}
}

func TestTrackFaults(t *testing.T) {
	sc := sim.Perfect(testTape(2), geometry())
	sc.AzimuthArcmin = 0
	sc.Tracks[0].PolarityReversed = true
	sc.Tracks[1].Muted = true
	sc.Tracks[2].CrosstalkDB = -40
	sc.Tracks[3].ClipDBFS = -20
	sc.Tracks[4].DropOuts = []sim.DropOut{{AtS: 2.8, LengthS: 0.5, DepthDB: 20}}
	sc.Tracks[5].Flicker = sim.Flicker{DepthDB: 4, RateHz: 3, TrebleOnly: true}
	x, truth := render(t, sc)
	fit := func(track, index int) sine {
		cut, first := section(t, x[track-1], truth, index)
		return fitSine(cut, first, 48000, sc.Tape.Sections[index].ToneHz)
	}
	fringed := func(track int, f float64) float64 { return float64(tape.FringingGain(sc.Geometry, track, lambda(f))) }

	turn := math.Remainder(fit(1, 0).phase()-fit(6, 0).phase(), 2*math.Pi)
	if math.Abs(math.Abs(turn)-math.Pi) > 1e-4 {
		t.Errorf("reversed track is %v rad from another, want π", turn)
	}
	for _, v := range x[1] {
		if v != 0 {
			t.Fatalf("muted track plays %v", v)
		}
	}
	if _, ok := truth.Find("level", 2, 0, "reference"); ok {
		t.Error("the muted track has a true level")
	}
	// Track 2 is muted, so only track 4 is heard in track 3.
	want := -12 + 20*math.Log10(math.Pow(10, fringed(3, 315)/20)+0.01*math.Pow(10, fringed(4, 315)/20))
	if got := fit(3, 0).levelDBFS(); math.Abs(got-want) > 1e-4 {
		t.Errorf("with crosstalk %v dBFS, want %v", got, want)
	}
	top := 0.0
	for _, v := range x[3] {
		top = math.Max(top, math.Abs(v))
	}
	if math.Abs(top-0.1) > 1e-6 {
		t.Errorf("clipped at %v, want 0.1", top)
	}
	// In the middle of the drop-out the level is 20 dB lower.
	mid := fitSine(x[4][int(2.95*48000):int(3.15*48000)], 0, 48000, 315)
	if got, want := mid.levelDBFS(), -32+fringed(5, 315); math.Abs(got-want) > 1e-3 {
		t.Errorf("in the drop-out %v dBFS, want %v", got, want)
	}
	testFlicker(t, x[5], truth)
}

// testFlicker reads the level of short stretches: between 0 and 4 dB of loss at
// 10 kHz, 0.13 dB at 315 Hz.
func testFlicker(t *testing.T, x []float64, truth sim.Truth) {
	for index, deepest := range map[int]float64{3: 4, 0: 4 * 0.0315} {
		s := truth.Scenario.Tape.Sections[index]
		cut, _ := section(t, x, truth, index)
		low, high := math.Inf(1), math.Inf(-1)
		for at := 0; at+960 <= len(cut); at += 960 { // 20 ms: 6.3 periods of 315 Hz
			l := fitSine(cut[at:at+960], 0, 48000, s.ToneHz).levelDBFS()
			low, high = math.Min(low, l), math.Max(high, l)
		}
		if d := high - low; math.Abs(d-deepest) > 0.05*deepest+0.005 {
			t.Errorf("flicker at %v Hz spans %.3f dB, want %.3f", s.ToneHz, d, deepest)
		}
	}
}

// Electronics that differ between tracks turn the phase; the truth has it at the tone
// and not in the delay by azimuth.
func TestElectronicDelay(t *testing.T) {
	sc := sim.Perfect(testTape(1), geometry())
	sc.Channels = []int{1, 2}
	sc.Tracks[1].HighCornerHz = 8000
	x, truth := render(t, sc)
	a, first := section(t, x[0], truth, 3)
	b, _ := section(t, x[1], truth, 3)
	got := math.Remainder(fitSine(a, first, 48000, 1e4).phase()-fitSine(b, first, 48000, 1e4).phase(), 2*math.Pi)
	if want := math.Atan(10.0 / 8); math.Abs(got-want) > 1e-4 {
		t.Errorf("phase %v, want %v", got, want)
	}
	told, ok := truth.Find("delay", 1, 2, "treble")
	if want := math.Atan(10.0/8) / (2 * math.Pi * 1e4) * 1e6; !ok || math.Abs(told-want) > 1e-9 {
		t.Errorf("told %v µs, want %v", told, want)
	}
	if told, ok := truth.Find("delay", 1, 2, ""); !ok || told != 0 {
		t.Errorf("told %v µs by azimuth, want 0", told)
	}
}

// With crosstalk, azimuth and a reversed winding as well, the delay at the tone is
// the one that a fit to the samples shows.
func TestDelayWithCrosstalk(t *testing.T) {
	sc := sim.Perfect(testTape(1), geometry())
	sc.Channels = []int{1, 2}
	sc.AzimuthArcmin, sc.SpeedErrorPercent = 5, 2
	sc.Tracks[1] = sim.Track{HighCornerHz: 8000, CrosstalkDB: -25, PolarityReversed: true}
	x, truth := render(t, sc)
	for index, s := range sc.Tape.Sections {
		if s.Silent() {
			continue
		}
		a, first := section(t, x[0], truth, index)
		b, _ := section(t, x[1], truth, index)
		f := s.ToneHz * 1.02
		// The reversed track's fit is turned back by half a turn.
		phase := math.Remainder(fitSine(a, first, 48000, f).phase()-fitSine(b, first, 48000, f).phase()-math.Pi, 2*math.Pi)
		told, ok := truth.Find("delay", 1, 2, s.Name)
		want := phase / (2 * math.Pi * f) * 1e6
		// Half a turn is ambiguous at 10 kHz only beyond 50 µs; the delay is about 45.
		if !ok || math.Abs(told-want) > 0.02 {
			t.Errorf("%s: told %.4f µs, the samples show %.4f", s.Name, told, want)
		}
		if s.ToneHz == 3150 && math.Abs(told-9.28) < 5 {
			t.Errorf("told %.4f µs: corner and crosstalk are not in it", told)
		}
	}
}
