package sim_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"headstack/capture"
	"headstack/sim"
	"headstack/tape"
	"headstack/unit"
)

func lambda(f float64) unit.Metre { return unit.Metre(0.09525 / f) }

// A perfect recorder plays every level as stated, raised by the fringing alone;
// every tone at its frequency; all tracks together. The fit's own limit is the
// 24-bit rounding, far below the tolerances.
func TestPerfectRecorder(t *testing.T) {
	sc := sim.Perfect(testTape(2), geometry())
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

// Sections follow each other as laid out: 2 s of lead-in, half seconds between.
func TestSectionTimes(t *testing.T) {
	sc := sim.Perfect(testTape(2), geometry())
	sc.SpeedErrorPercent = 2
	sc.Channels = []int{1}
	x, truth := render(t, sc)
	for i, s := range truth.Sections {
		wantStart, wantEnd := (2+2.5*float64(i))/1.02, (4+2.5*float64(i))/1.02
		if math.Abs(s.StartS-wantStart) > 1e-9 || math.Abs(s.EndS-wantEnd) > 1e-9 {
			t.Errorf("%s: %v to %v s, want %v to %v", s.Name, s.StartS, s.EndS, wantStart, wantEnd)
		}
		if s.ToneHz == 0 {
			continue
		}
		// Heard from the first sample after the start to the last before the end.
		first, last := int(s.StartS*48000), int(s.EndS*48000)
		if x[0][first] != 0 || x[0][last+1] != 0 {
			t.Errorf("%s: sound outside its times", s.Name)
		}
		loud := 0.0
		for _, v := range x[0][first : first+480] {
			loud = math.Max(loud, math.Abs(v))
		}
		if loud < 0.01 {
			t.Errorf("%s: no sound within 10 ms of its start", s.Name)
		}
	}
}

// Each loss appears as package tape has it, at the wavelength of the recording
// although the tape runs 3 % fast; equalisation and corners at the frequency heard.
func TestLossesAppear(t *testing.T) {
	base := func() sim.Scenario {
		sc := sim.Perfect(testTape(1), geometry())
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

// Tracks heard through the same fault of azimuth differ in time as their centres
// do in place; the replayed delay is that of the actual speed. Wow and flutter do
// not touch it.
func TestDelay(t *testing.T) {
	for _, flutter := range []float64{0, 0.1} {
		sc := sim.Perfect(testTape(2), geometry())
		sc.AzimuthArcmin, sc.SpeedErrorPercent = 7, -1.5
		if flutter > 0 {
			sc.Flutter = []sim.Line{{Hz: 2.5, PercentPeak: flutter, PhaseDeg: 40}}
		}
		x, truth := render(t, sc)
		for _, pair := range [][2]int{{1, 2}, {1, 6}, {3, 5}} {
			const i = 2 // 3150 Hz
			a, first := section(t, x[pair[0]-1], truth, i)
			b, _ := section(t, x[pair[1]-1], truth, i)
			f := sc.Tape.Sections[i].ToneHz * 0.985
			fa, fb := fitSine(a, first, 48000, f), fitSine(b, first, 48000, f)
			got := math.Remainder(fa.phase()-fb.phase()+2*math.Pi*(fb.f-fa.f)*truth.Sections[i].StartS, 2*math.Pi) / (2 * math.Pi * f) * 1e6
			want := float64(pair[1]-pair[0]) * 0.62e-3 * math.Tan(7*math.Pi/10800) / (0.09525 * 0.985) * 1e6
			tolerance := 0.001
			if flutter > 0 {
				tolerance = 0.2 // the plain fit sees the flutter's beats
			}
			if math.Abs(got-want) > tolerance {
				t.Errorf("flutter %v, tracks %v: %.4f µs, want %.4f", flutter, pair, got, want)
			}
			if told, ok := truth.Find("delay", pair[0], pair[1], ""); !ok || math.Abs(told-want) > 1e-9 {
				t.Errorf("tracks %v: true delay %v µs, want %v", pair, told, want)
			}
		}
	}
}

// Flutter of a known line is what the phase of a tone shows: the peak of its
// modulation index is f·peak/flutter frequency, so that the carrier falls to J0 and
// the first side lines to J1 of it.
func TestFlutterSpectrum(t *testing.T) {
	sc := sim.Perfect(testTape(4), geometry())
	sc.Channels = []int{1}
	sc.Flutter = []sim.Line{{Hz: 5, PercentPeak: 0.1}}
	x, truth := render(t, sc)
	const index = 2
	at := int((truth.Sections[index].StartS + 0.1) * 48000)
	cut := x[0][at : at+3*48000] // whole periods of 5 Hz and of 3150 Hz
	line := func(f float64) float64 {
		var a, b float64
		for i, v := range cut {
			s, c := math.Sincos(2 * math.Pi * f * float64(i) / 48000)
			a, b = a+v*s, b+v*c
		}
		return 2 * math.Hypot(a, b) / float64(len(cut))
	}
	peak := math.Pow(10, (-22+float64(tape.FringingGain(sc.Geometry, 1, lambda(3150))))/20)
	m := 3150 * 0.001 / 5
	for f, want := range map[float64]float64{
		3150: math.J0(m), 3145: math.J1(m), 3155: math.J1(m), 3140: math.Jn(2, m), 3160: math.Jn(2, m),
	} {
		if got := line(f) / peak; math.Abs(got-want) > 1e-5 {
			t.Errorf("line at %v Hz: %.6f of the tone, want %.6f", f, got, want)
		}
	}
}

// The r.m.s. of the random flutter is as asked, within what 20 s can tell.
func TestRandomFlutter(t *testing.T) {
	sc := sim.Perfect(testTape(20), geometry())
	sc.Tape.Sections = sc.Tape.Sections[2:3]
	sc.Channels = []int{1}
	sc.RandomFlutter = sim.RandomFlutter{RMSPercent: 0.2, LowHz: 1, HighHz: 12}
	x, truth := render(t, sc)
	at := int((truth.Sections[0].StartS + 0.1) * 48000)
	// Instantaneous frequency from the upward zero crossings.
	var times []float64
	for i := at; i < at+19*48000; i++ {
		if x[0][i] < 0 && x[0][i+1] >= 0 {
			times = append(times, (float64(i)+x[0][i]/(x[0][i]-x[0][i+1]))/48000)
		}
	}
	sum, n := 0.0, 0
	for i := 0; i+30 < len(times); i += 30 { // about 10 ms
		w := 30/(times[i+30]-times[i])/3150 - 1
		sum, n = sum+w*w, n+1
	}
	got := 100 * math.Sqrt(sum/float64(n))
	if math.Abs(got/0.2-1) > 0.1 {
		t.Errorf("r.m.s. flutter %.4f %%, want 0.2", got)
	}
}

// The noise of a silent section is as defined in 20 Hz to 20 kHz: at a sampling
// rate of 40 kHz, where the band ends at half the rate, by plain r.m.s.
func TestNoiseLevel(t *testing.T) {
	for _, pole := range []float64{0, 0.6, -0.4} {
		sc := sim.Perfect(testTape(20), geometry())
		sc.Tape.Sections = sc.Tape.Sections[3:] // treble, then silence
		sc.Tape.Sections[0].Seconds, sc.Tape.Sections[0].ToneHz = 0.5, 315
		sc.Channels = []int{4}
		sc.SampleRate = 40000 // the band reaches up to half the rate
		sc.Tracks[3].Noise = &sim.Noise{LevelDBFS: -57, Pole: pole}
		x, truth := render(t, sc)
		cut, _ := section(t, x[0], truth, 1)
		mean, sum := 0.0, 0.0
		for _, v := range cut {
			mean += v / float64(len(cut))
		}
		for _, v := range cut {
			sum += (v - mean) * (v - mean)
		}
		got := 10*math.Log10(sum/float64(len(cut))) + 3.0103
		// 792 000 independent values: 0.007 dB; below 20 Hz lies 0.1 % of white
		// noise, up to 0.4 % with the pole: 0.02 dB.
		if math.Abs(got+57) > 0.045 {
			t.Errorf("pole %v: %.3f dBFS, want -57", pole, got)
		}
		level, _ := truth.Find("level", 4, 0, "treble")
		if told, ok := truth.Find("noise", 4, 0, ""); !ok || math.Abs(told-(-57-level)) > 1e-3 {
			t.Errorf("pole %v: true noise %v dB, want %v", pole, told, -57-level)
		}
	}
}

// At 96 kHz only the part of the noise below 20 kHz counts: measured by a direct
// Fourier sum over random lines of the band.
func TestNoiseBand(t *testing.T) {
	for _, pole := range []float64{0, 0.7} {
		sc := sim.Perfect(testTape(4), geometry())
		sc.Tape.Sections = sc.Tape.Sections[4:]
		sc.Tape.Reference.ToneHz = 1000 // there is no section of it
		sc.Channels, sc.SampleRate = []int{1}, 96000
		sc.Tracks[0].Noise = &sim.Noise{LevelDBFS: -40, Pole: pole}
		sc.Bits, sc.Encoding = 64, capture.Float
		x, _ := render(t, sc)
		const n = 2400 // 40 Hz lines, over 250 stretches: 0.03 dB over 500 lines
		power, stretches := 0.0, 0
		turn := make([][2]float64, n)
		for i := range turn {
			turn[i][0], turn[i][1] = math.Sincos(2 * math.Pi * float64(i) / n)
		}
		for at := 0; at+n <= len(x[0]); at += n {
			stretches++
			for k := 1; k <= 500; k += 9 { // every ninth line stands for nine
				var a, b float64
				for i := range n {
					j := i * k % n
					a, b = a+x[0][at+i]*turn[j][0], b+x[0][at+i]*turn[j][1]
				}
				power += 9 * 2 * (a*a + b*b) / (n * n)
			}
		}
		got := 10*math.Log10(power/float64(stretches)) + 3.0103
		// 56 lines of two degrees of freedom in each of 300 stretches: 0.034 dB;
		// the lines stand for 20 Hz to 20.02 kHz unevenly at a steep spectrum.
		if math.Abs(got+40) > 0.15 {
			t.Errorf("pole %v: %.3f dBFS in the band, want -40", pole, got)
		}
	}
}

func TestHum(t *testing.T) {
	sc := sim.Perfect(testTape(2), geometry())
	sc.Channels = []int{1}
	sc.MainsHz = 60
	sc.Tracks[0].Hum = &sim.Hum{LevelDBFS: -50, HarmonicsDB: []float64{-20, -6}}
	x, truth := render(t, sc)
	cut, first := section(t, x[0], truth, 4)
	for f, want := range map[float64]float64{60: -50, 120: -70, 180: -56} {
		// The other hum lines are orthogonal over whole periods of 60 Hz.
		fit := fitSine(cut[:len(cut)/800*800], first, 48000, f)
		if d := fit.levelDBFS() - want; math.Abs(d) > 0.002 {
			t.Errorf("%v Hz: off by %g dB", f, d)
		}
	}
	level, _ := truth.Find("level", 1, 0, "reference")
	want := 10*math.Log10(math.Pow(10, -5)+math.Pow(10, -7)+math.Pow(10, -5.6)) - level
	if told, _ := truth.Find("noise", 1, 0, ""); math.Abs(told-want) > 1e-4 {
		t.Errorf("true noise of hum %v dB, want %v", told, want)
	}
}

func TestTrackFaults(t *testing.T) {
	sc := sim.Perfect(testTape(3), geometry())
	sc.AzimuthArcmin = 0
	sc.Tracks[0].PolarityReversed = true
	sc.Tracks[1].Muted = true
	sc.Tracks[2].CrosstalkDB = -40
	sc.Tracks[3].ClipDBFS = -20
	sc.Tracks[4].DropOuts = []sim.DropOut{{AtS: 3, LengthS: 0.5, DepthDB: 20}}
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
	mid := fitSine(x[4][int(3.15*48000):int(3.35*48000)], 0, 48000, 315)
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

// Wander moves the delay about its mean by as much as asked.
func TestAzimuthWander(t *testing.T) {
	sc := sim.Perfect(testTape(30), geometry())
	sc.Tape.Sections = sc.Tape.Sections[2:3]
	sc.Tape.Reference.ToneHz = 3150
	sc.Channels = []int{1, 6}
	sc.AzimuthArcmin = 3
	sc.AzimuthWander = sim.Wander{RMSArcmin: 1, LowHz: 0.3, HighHz: 2}
	x, truth := render(t, sc)
	a, first := section(t, x[0], truth, 0)
	b, _ := section(t, x[1], truth, 0)
	mean, square, n := 0.0, 0.0, 0.0
	for at := 0; at+480 <= len(a); at += 480 {
		fa, fb := fitSine(a[at:at+480], first+at, 48000, 3150), fitSine(b[at:at+480], first+at, 48000, 3150)
		phaseA, phaseB := middle(fa, first+at+240), middle(fb, first+at+240)
		us := math.Remainder(phaseA-phaseB, 2*math.Pi) / (2 * math.Pi * 3150) * 1e6
		arcmin := us / 9.468 // 3.1 mm · tan(1') / 0.09525 m/s = 9.468 µs
		mean, square, n = mean+arcmin, square+arcmin*arcmin, n+1
	}
	mean /= n
	rms := math.Sqrt(square/n - mean*mean)
	if math.Abs(mean-3) > 0.1 || math.Abs(rms-1) > 0.1 {
		t.Errorf("azimuth %.3f' ± %.3f', want 3 ± 1", mean, rms)
	}
}

func middle(s sine, frame int) float64 {
	return math.Mod(2*math.Pi*s.f*float64(frame)/48000, 2*math.Pi) + s.phase()
}

// A capture may lack the tape's head and tail, or begin within a section.
func TestMissingParts(t *testing.T) {
	sc := sim.Perfect(testTape(2), geometry())
	sc.SkipHead, sc.SkipTail = 1, 1
	sc.CutHeadS = 2.5
	_, truth := render(t, sc)
	want := []struct {
		present, partial bool
		start, end       float64
	}{{}, {true, true, 0, 1.5}, {true, false, 2, 4}, {true, false, 4.5, 6.5}, {}}
	for i, s := range truth.Sections {
		w := want[i]
		if s.Present != w.present || s.Partial != w.partial || math.Abs(s.StartS-w.start)+math.Abs(s.EndS-w.end) > 1e-9 {
			t.Errorf("section %d: %+v, want %+v", i, s, w)
		}
	}
}

// Electronics that differ between tracks turn the phase; the truth says so apart
// from the azimuth.
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
	told, ok := truth.Find("electronic_delay", 1, 2, "treble")
	if want := math.Atan(10.0/8) / (2 * math.Pi * 1e4) * 1e6; !ok || math.Abs(told-want) > 1e-9 {
		t.Errorf("told %v µs, want %v", told, want)
	}
}

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

// discard is a file that keeps nothing.
type discard struct{ at int64 }

func (d *discard) Write(p []byte) (int, error) {
	d.at += int64(len(p))
	return len(p), nil
}
func (d *discard) Seek(o int64, whence int) (int64, error) {
	if whence == 1 {
		o += d.at
	}
	d.at = o
	return o, nil
}

func BenchmarkRender(b *testing.B) {
	sc := sim.Perfect(testTape(10), geometry())
	sc.AzimuthArcmin = 4
	sc.Flutter = []sim.Line{{Hz: 2.5, PercentPeak: 0.05}, {Hz: 9, PercentPeak: 0.03}}
	sc.RandomFlutter = sim.RandomFlutter{RMSPercent: 0.05, LowHz: 1, HighHz: 60}
	sc.AzimuthWander = sim.Wander{RMSArcmin: 0.5, LowHz: 0.2, HighHz: 2}
	for i := range sc.Tracks {
		sc.Tracks[i].Noise = &sim.Noise{LevelDBFS: -60, Pole: 0.3}
		sc.Tracks[i].Hum = &sim.Hum{LevelDBFS: -70, HarmonicsDB: []float64{-6, -10}}
		sc.Tracks[i].CrosstalkDB = -45
	}
	sc.Tracks[4].Flicker = sim.Flicker{DepthDB: 3, RateHz: 2, TrebleOnly: true}
	seconds := 0.0
	for b.Loop() {
		truth, err := sim.Render(context.Background(), &discard{}, sc)
		if err != nil {
			b.Fatal(err)
		}
		seconds += float64(truth.Frames) / 48000
	}
	b.ReportMetric(seconds/b.Elapsed().Seconds(), "x-realtime")
}

// A test tape played 0.4 % fast by a six-track recorder with a dirty track 5.
func ExampleRender() {
	sc := sim.Perfect(testTape(1), geometry())
	sc.SpeedErrorPercent = 0.4
	sc.AzimuthArcmin = 3
	sc.Tracks[4].SpacingUm = 0.5
	truth, err := sim.Render(context.Background(), &discard{}, sc) // a file, at a bench
	if err != nil {
		fmt.Println(err)
		return
	}
	response, _ := truth.Find("response", 5, 0, "treble")
	delay, _ := truth.Find("delay", 1, 6, "")
	fmt.Printf("track 5 at 10 kHz %.2f dB, track 6 after track 1 by %.1f µs\n", response, delay)
	// Output:
	// track 5 at 10 kHz -2.76 dB, track 6 after track 1 by 28.3 µs
}
