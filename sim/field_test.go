package sim_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"headstack/measure"
	"headstack/sim"
	"headstack/sim/field"
	"headstack/tape"
	"headstack/testtape"
	"headstack/unit"
)

// places is the geometry of one of the two demo recorders.
func places(k field.Kind) tape.Geometry {
	width, first, pitch, core, n := 3.81e-3, 0.355e-3, 0.62e-3, 0.38e-3, 6
	if k == field.OpenReel {
		width, first, pitch, core, n = 12.7e-3, 1.1e-3, 1.5e-3, 0.99e-3, 8
	}
	g := tape.Geometry{TapeWidth: unit.Metre(width)}
	for i := range n {
		g.Tracks = append(g.Tracks, tape.TrackPlace{Centre: unit.Metre(first + float64(i)*pitch), Width: unit.Metre(core)})
	}
	return g
}

// inMemory is a rendered capture as measure reads it.
func inMemory(m *sim.Memory, tracks int) measure.Source {
	all := make([]int, tracks)
	for i := range all {
		all[i] = i + 1
	}
	return measure.Source{Name: "rendered", Tracks: all, Open: m.Open}
}

// A capture of either recorder with faults from the field, 45 dB of signal to noise
// and 0.1 % of flutter is found and measured throughout, and what is measured is what
// the heads gave: level, response and delay within 5 of the stated half intervals and
// within what a fit can bear.
func TestFieldCapture(t *testing.T) {
	for _, kind := range []field.Kind{field.Cassette, field.OpenReel} {
		g, tt := places(kind), sim.FieldTape(kind, testtape.FullWidth)
		faults := make([]field.Fault, len(g.Tracks))
		for i := range faults {
			faults[i].AzimuthRad = 3 * float64(tape.Arcminute)
		}
		faults[2] = faults[2].Evenly(0.5e-6)
		faults[4].HighCornerHz = 9000
		flicker := make([]sim.Flicker, len(faults))
		flicker[5] = sim.Flicker{DepthDB: 2, RateHz: 3, TrebleOnly: true}
		off := make([]float64, len(tt.Sections))
		r := rand.New(rand.NewPCG(3, 4))
		for i := range off {
			off[i] = 0.6*r.Float64() - 0.3
		}
		sc, err := sim.FieldScenario(tt, g, faults, sim.FieldOptions{Kind: kind, Seed: 5, ToneErrorsDB: off, Flicker: flicker})
		if err != nil {
			t.Fatal(err)
		}
		var m sim.Memory
		truth, err := m.Render(context.Background(), sc)
		if err != nil {
			t.Fatal(err)
		}
		rep, err := measure.TestTape(context.Background(), []measure.Source{inMemory(&m, len(g.Tracks))}, measure.Options{Tape: tt, Geometry: g})
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range rep.Sections {
			if !s.Found {
				t.Errorf("kind %d: section not found: %+v", kind, s)
			}
		}
		checkFieldFigures(t, kind, rep, truth)
	}
}

func checkFieldFigures(t *testing.T, kind field.Kind, rep measure.Report, truth sim.Truth) {
	t.Helper()
	// White noise 45 dB down over 20 kHz is 88 dB down in the 1 Hz that a second of tone
	// leaves: 0.0003 dB r.m.s. and, at 40 Hz, 0.2 µs between two tracks.
	tolerance := map[string]float64{"level": 0.003, "response": 0.004, "delay": 1}
	count, worst := map[string]int{}, map[string]float64{}
	for _, x := range rep.Measures {
		if x.Name == "flicker_treble" && x.Track == 6 {
			count[x.Name]++
			if x.Refused != "" || x.Lo <= 0 {
				t.Errorf("kind %d: flicker of contact is not heard: %+v", kind, x)
			}
		}
		most, checked := tolerance[x.Name]
		want, ok := truth.Find(x.Name, x.Track, x.TrackB, x.Section)
		if !checked || !ok || x.Track == 6 || x.TrackB == 6 {
			continue // under flicker the truth is a mean over many of its periods
		}
		count[x.Name]++
		d := math.Abs(x.Value - want)
		worst[x.Name] = max(worst[x.Name], d)
		if x.Refused != "" || d > most || d > 5*(x.Hi-x.Lo)/2+1e-4 {
			t.Errorf("kind %d: %s track %d %d %q: %.4f [%.4f, %.4f], want %.4f (refused %q)", kind, x.Name, x.Track, x.TrackB, x.Section, x.Value, x.Lo, x.Hi, want, x.Refused)
		}
	}
	t.Logf("kind %d: checked %v, worst %v", kind, count, worst)
	for name, least := range map[string]int{"level": 100, "response": 100, "delay": 100, "flicker_treble": 1} {
		if count[name] < least {
			t.Errorf("kind %d: only %d figures %s were checked, want %d", kind, count[name], name, least)
		}
	}
}

// A track whose response says what gain and azimuth say elsewhere renders the same
// samples and the same truth, wander and crosstalk included.
func TestResponseTakesThePlaceOfGainAndAzimuth(t *testing.T) {
	plain := sim.Perfect(testTape(1), geometry())
	plain.AzimuthArcmin = 4
	plain.AzimuthWander = sim.Wander{RMSArcmin: 0.5, LowHz: 0.2, HighHz: 2}
	plain.Tracks[2].GainDB = -3
	plain.Tracks[2].PolarityReversed = true
	plain.Tracks[1].CrosstalkDB = -40
	plain.Tracks[1].SpacingUm = 0.3
	own := plain
	own.Tracks = append([]sim.Track(nil), plain.Tracks...)
	late := float64(plain.Geometry.Tracks[2].Centre-plain.Geometry.Tracks[0].Centre) / (plain.Tape.SpeedCmS / 100) * math.Tan(4*float64(tape.Arcminute))
	own.Tracks[2].GainDB = 17 // not looked at
	own.Tracks[2].Response = func(toneHz, _ float64) complex128 {
		lambda := tape.Wavelength(unit.MetrePerSecond(plain.Tape.SpeedCmS/100), unit.Hertz(toneHz))
		db := -3 - float64(tape.AzimuthLoss(plain.Geometry.Tracks[2].Width, 4*tape.Arcminute, lambda))
		if plain.Tape.TrackLayout == testtape.FullWidth && !plain.Tape.FringingCompensated {
			db += float64(tape.FringingGain(plain.Geometry, 3, lambda))
		}
		return cmplx.Rect(math.Pow(10, db/20), -2*math.Pi*toneHz*late)
	}
	a, wantTruth := render(t, plain)
	b, gotTruth := render(t, own)
	for c := range a {
		for i := range a[c] {
			if math.Abs(a[c][i]-b[c][i]) > 2e-7 { // a step or two of 24 bit
				t.Fatalf("channel %d frame %d: %g, want %g", c, i, b[c][i], a[c][i])
			}
		}
	}
	if len(wantTruth.Measures) != len(gotTruth.Measures) {
		t.Fatalf("%d true measures, want %d", len(gotTruth.Measures), len(wantTruth.Measures))
	}
	for i, want := range wantTruth.Measures {
		if got := gotTruth.Measures[i]; math.Abs(got.Value-want.Value) > 1e-6 || got.Name != want.Name {
			t.Errorf("true measure %+v, want %+v", got, want)
		}
	}
}

// The capture in memory is that of the file, to the rounding of either.
func TestMemoryIsTheFile(t *testing.T) {
	sc := sim.Perfect(testTape(1), geometry())
	sc.Tracks[0].Noise = &sim.Noise{LevelDBFS: -60}
	want, _ := render(t, sc)
	var m sim.Memory
	for range 2 { // the second time in used storage
		if _, err := m.Render(context.Background(), sc); err != nil {
			t.Fatal(err)
		}
	}
	s, closing, err := m.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer closing()
	got := readAll(t, s)
	for c := range want {
		if len(got[c]) != len(want[c]) {
			t.Fatalf("channel %d: %d frames, want %d", c, len(got[c]), len(want[c]))
		}
		for i := range want[c] {
			if math.Abs(got[c][i]-want[c][i]) > 1.2e-7 {
				t.Fatalf("channel %d frame %d: %g, want %g", c, i, got[c][i], want[c][i])
			}
		}
	}
}

func TestFieldScenarioRefuses(t *testing.T) {
	g, tt := places(field.Cassette), sim.FieldTape(field.Cassette, testtape.PerTrack)
	crooked := make([]field.Fault, 6)
	crooked[3].AzimuthRad = 0.001
	for name, c := range map[string]struct {
		faults []field.Fault
		o      sim.FieldOptions
	}{
		"too few faults":      {make([]field.Fault, 5), sim.FieldOptions{}},
		"two azimuths":        {crooked, sim.FieldOptions{}},
		"tone errors too few": {make([]field.Fault, 6), sim.FieldOptions{ToneErrorsDB: []float64{1}}},
		"flicker too few":     {make([]field.Fault, 6), sim.FieldOptions{Flicker: make([]sim.Flicker, 2)}},
		"impossible fault":    {[]field.Fault{{}, {GapM: -1}, {}, {}, {}, {}}, sim.FieldOptions{}},
	} {
		if _, err := sim.FieldScenario(tt, g, c.faults, c.o); !errors.Is(err, sim.ErrScenario) {
			t.Errorf("%s: error %v, want ErrScenario", name, err)
		}
	}
	sc := sim.Perfect(tt, g)
	sc.Tracks[1].Response = func(float64, float64) complex128 { return cmplx.NaN() }
	if _, err := sim.Render(context.Background(), &discard{}, sc); !errors.Is(err, sim.ErrScenario) {
		t.Errorf("a response of no number: error %v, want ErrScenario", err)
	}
}

// A truth leaves the response out and can be read back.
func TestTruthWithoutResponse(t *testing.T) {
	sc, err := sim.FieldScenario(sim.FieldTape(field.Cassette, testtape.PerTrack), places(field.Cassette), make([]field.Fault, 6), sim.FieldOptions{SNDB: 60})
	if err != nil {
		t.Fatal(err)
	}
	sc.SampleRate, sc.SkipTail = 32000, 18
	truth, err := sim.Render(context.Background(), &discard{}, sc)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := sim.WriteTruth(&b, truth); err != nil {
		t.Fatal(err)
	}
	if _, err := sim.ReadTruth(&b); err != nil {
		t.Fatal(err)
	}
}

func BenchmarkFieldCapture(b *testing.B) {
	for _, kind := range []field.Kind{field.Cassette, field.OpenReel} {
		g, tt := places(kind), sim.FieldTape(kind, testtape.FullWidth)
		var m sim.Memory
		b.Run(fmt.Sprintf("render %d tracks", len(g.Tracks)), func(b *testing.B) {
			for b.Loop() {
				sc, err := sim.FieldScenario(tt, g, make([]field.Fault, len(g.Tracks)), sim.FieldOptions{Kind: kind, Seed: 5})
				if err != nil {
					b.Fatal(err)
				}
				if _, err := m.Render(context.Background(), sc); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(fmt.Sprintf("measure %d tracks", len(g.Tracks)), func(b *testing.B) {
			for b.Loop() {
				if _, err := measure.TestTape(context.Background(), []measure.Source{inMemory(&m, len(g.Tracks))}, measure.Options{Tape: tt, Geometry: g}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// A cassette recorder with dirt under track 3, its heads integrated from their field.
func ExampleFieldScenario() {
	faults := make([]field.Fault, 6)
	faults[2] = faults[2].Evenly(0.5e-6)
	sc, err := sim.FieldScenario(sim.FieldTape(field.Cassette, testtape.PerTrack), places(field.Cassette), faults, sim.FieldOptions{Kind: field.Cassette, Seed: 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	var capture sim.Memory
	truth, err := capture.Render(context.Background(), sc) // then measure.Source{Open: capture.Open}
	if err != nil {
		fmt.Println(err)
		return
	}
	response, _ := truth.Find("response", 3, 0, "10000 Hz")
	fmt.Printf("track 3 at 10 kHz %.2f dB\n", response)
	// Output:
	// track 3 at 10 kHz -2.77 dB
}
