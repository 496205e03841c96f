package field_test

import (
	"errors"
	"math"
	"math/cmplx"
	"sync"
	"testing"

	"headstack/sim/field"
)

const arcminute = math.Pi / (180 * 60)

// single is a lone core in the middle of a recording of its own width.
func single(t testing.TB, speed, width float64) *field.Player {
	t.Helper()
	centres, widths := []float64{2e-3}, []float64{width}
	p, err := field.NewPlayer(field.Cassette.Head(centres, widths), field.Tape{
		SpeedMS: speed, CoatingM: 4e-6, WidthM: 4e-3, CentresM: centres, WidthsM: widths, Curve: field.Curve{HighUs: 70, LowUs: 3180},
	})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func db(r complex128) float64 { return 20 * math.Log10(cmplx.Abs(r)) }

func near(t *testing.T, name string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.5f, want %.5f ± %g", name, got, want, tolerance)
	}
}

// A sound track on a recording of its own width is the reference itself.
func TestSoundIsOne(t *testing.T) {
	p := single(t, 0.09525, 0.38e-3)
	for _, hz := range []float64{40, 315, 12500} {
		if r := p.Response(1, field.Fault{}, hz, 0); cmplx.Abs(r-1) > 1e-12 {
			t.Errorf("%g Hz: %v, want 1", hz, r)
		}
	}
}

// Spacing loses 54.6 dB a wavelength. R. L. Wallace, BSTJ 30(4), 1951; the factor is
// given as 54.6, rounded: half a unit of its last place.
func TestWallace(t *testing.T) {
	p := single(t, 0.09525, 0.38e-3)
	for _, hz := range []float64{315, 4000, 12500} {
		for _, d := range []float64{0.1e-6, 1e-6, 3e-6} {
			waves := d * hz / 0.09525
			near(t, "spacing loss", -db(p.Response(1, field.Fault{}.Evenly(d), hz, 0)), 54.6*waves, 0.05*waves+1e-5)
		}
	}
}

// Spacing that runs from nothing to d over the core: the mean of exp(-kd·u), u from 0
// to 1, which is (1 - exp(-kd))/kd.
func TestRamp(t *testing.T) {
	p := single(t, 0.09525, 0.38e-3)
	for _, d := range []float64{0.2e-6, 1e-6, 4e-6} {
		for _, hz := range []float64{315, 12500} {
			kd := 2 * math.Pi * hz / 0.09525 * d
			want := 20 * math.Log10(-math.Expm1(-kd)/kd)
			near(t, "upward ramp", db(p.Response(1, field.Fault{SpacingHighM: d}, hz, 0)), want, 0.001)
			near(t, "downward ramp", db(p.Response(1, field.Fault{SpacingLowM: d}, hz, 0)), want, 0.001)
		}
	}
}

// Azimuth over a core of width w loses |sin x/x|, x = πw·tan(α)/λ; it vanishes where
// w·tan(α) = λ. Textbook law, from memory.
func TestAzimuthLoss(t *testing.T) {
	const w, v = 0.5e-3, 0.09525
	p := single(t, v, w)
	for _, a := range []float64{1, 10, 30} {
		x := math.Pi * w * math.Tan(a*arcminute) / (v / 10000)
		got := p.Response(1, field.Fault{AzimuthRad: a * arcminute}, 10000, 0)
		near(t, "azimuth loss", db(got), 20*math.Log10(math.Sin(x)/x), 1e-4)
	}
	null := math.Atan(v / 10000 / w)
	if got := p.Response(1, field.Fault{AzimuthRad: null}, 10000, 0); cmplx.Abs(got) > 1e-6 {
		t.Errorf("at the null: %v", got)
	}
}

// "1 min, 10 kHz, 9.5 cm/s, 6.3 mm tape, about 45 degrees" between the outer tracks:
// J. G. McKnight, "Azimuth in a Magnetic Tape Recorder". The centres of two tracks at
// the edges of a 6.3 mm tape are somewhat nearer: 4.4 mm (from memory) make 48°.
func TestAzimuthDelay(t *testing.T) {
	centres, widths := []float64{0.95e-3, 5.35e-3}, []float64{1.9e-3, 1.9e-3}
	p, err := field.NewPlayer(field.OpenReel.Head(centres, widths), field.Tape{SpeedMS: 0.09525, CoatingM: 12e-6, WidthM: 6.3e-3, CentresM: centres, WidthsM: widths})
	if err != nil {
		t.Fatal(err)
	}
	f := field.Fault{AzimuthRad: arcminute}
	between := p.Response(2, f, 10000, 0) / p.Response(1, f, 10000, 0)
	near(t, "phase of track 2, degrees", cmplx.Phase(between)*180/math.Pi, -45, 5)
	near(t, "delay of track 2, µs", -cmplx.Phase(between)/(2*math.Pi*10000)*1e6, 4.4e-3*math.Tan(arcminute)/0.09525*1e6, 1e-3)
}

// At short waves a core that has moved reads the part of the recording it still
// covers; beyond the edge of the tape it reads nothing.
func TestHeight(t *testing.T) {
	p := single(t, 0.09525, 0.4e-3)
	near(t, "half beside its track", db(p.Response(1, field.Fault{HeightM: 0.2e-3}, 12500, 0)), 20*math.Log10(0.5), 0.3)
	if far := db(p.Response(1, field.Fault{HeightM: 0.6e-3}, 12500, 0)); far > -60 {
		t.Errorf("well beside its track: %.1f dB", far)
	}
	centres, widths := []float64{0.3e-3, 1.5e-3}, []float64{0.4e-3, 0.4e-3}
	full, err := field.NewPlayer(field.Cassette.Head(centres, widths), field.Tape{SpeedMS: 0.09525, CoatingM: 4e-6, WidthM: 3e-3, FullWidth: true})
	if err != nil {
		t.Fatal(err)
	}
	down := field.Fault{HeightM: -0.3e-3} // core 1 half over the edge, core 2 still inside
	near(t, "half over the tape's edge", db(full.Response(1, down, 12500, 0)), 20*math.Log10(0.5), 0.1)
	near(t, "inside the tape", db(full.Response(2, down, 12500, 0)/full.Response(2, field.Fault{}, 12500, 0)), 0, 1e-6)
}

// A full-width tape plays louder at long waves and not at short ones, unless its maker
// made up for it.
func TestFringing(t *testing.T) {
	centres, widths := []float64{0.4e-3, 1.1e-3, 1.8e-3}, []float64{0.4e-3, 0.4e-3, 0.4e-3}
	tape := field.Tape{SpeedMS: 0.09525, CoatingM: 4e-6, WidthM: 2.2e-3, FullWidth: true}
	play := func(hz float64) float64 {
		p, err := field.NewPlayer(field.Cassette.Head(centres, widths), tape)
		if err != nil {
			t.Fatal(err)
		}
		return db(p.Response(2, field.Fault{}, hz, 0))
	}
	// Far below, both neighbours leave half the room: (0.4 + 0.3)/0.4.
	near(t, "long waves", play(1), 20*math.Log10(0.7/0.4), 0.01)
	near(t, "short waves", play(20000), 0, 0.04)
	tape.Compensated = true
	near(t, "compensated", play(63), 0, 1e-9)
}

// IEC 60094-1:1981 clause 15; values of a table computed from that clause elsewhere,
// rounded to 0.01 dB, and -3.01 dB (half power) at a transition frequency.
func TestCurve(t *testing.T) {
	c := field.Curve{HighUs: 120, LowUs: 3180}
	for hz, want := range map[float64]float64{20: 8.61, 63: 2.12, 315: -0.13, 1000: -1.94, 2500: -6.58} {
		near(t, "flux level", c.FluxDB(hz), want, 0.005)
	}
	near(t, "35 µs at 4547.28 Hz", field.Curve{HighUs: 35}.FluxDB(4547.28), -3.0103, 1e-4)
	near(t, "70 µs at 2273.64 Hz", field.Curve{HighUs: 70}.FluxDB(2273.64), -3.0103, 1e-4)
}

// The chain follows the difference of two curves, and first-order corners are 3.01 dB
// and 45 degrees down at their frequency (circuit theory).
func TestElectronics(t *testing.T) {
	p := single(t, 0.09525, 0.38e-3)
	wrong := field.Curve{HighUs: 120, LowUs: 3180}
	for _, hz := range []float64{63, 1000, 10000} {
		near(t, "wrong curve", db(p.Response(1, field.Fault{Replay: &wrong}, hz, 0)), field.Curve{HighUs: 70, LowUs: 3180}.FluxDB(hz)-wrong.FluxDB(hz), 1e-9)
	}
	low := p.Response(1, field.Fault{LowCornerHz: 100}, 100, 0)
	near(t, "low corner", db(low), -3.0103, 1e-4)
	near(t, "low corner, degrees", cmplx.Phase(low)*180/math.Pi, 45, 1e-9)
	high := p.Response(1, field.Fault{HighCornerHz: 5000}, 5000, 0)
	near(t, "high corner", db(high), -3.0103, 1e-4)
	near(t, "high corner, degrees", cmplx.Phase(high)*180/math.Pi, -45, 1e-9)
	near(t, "two low corners", db(p.Response(1, field.Fault{LowCornerHz: 100, LowCorner2Hz: 100}, 100, 0)), -6.0206, 1e-4)
	treble := field.Fault{TrebleHz: 1000, TrebleDB: 6}
	near(t, "treble part, far above", db(p.Response(1, treble, 1e6, 0)), -6, 0.001)
	near(t, "treble part, far below", db(p.Response(1, treble, 20, 0)), 0, 0.01)
	near(t, "gain", db(p.Response(1, field.Fault{GainDB: -4}, 1000, 0)), -4, 1e-9)
	open := field.Fault{OpenDB: -60}
	near(t, "open head at 1 kHz", db(p.Response(1, open, 1000, 0)), -60, 1e-9)
	near(t, "open head an octave up", db(p.Response(1, open, 2000, 0)), -60+6.0206, 1e-4)
}

// A 2:1 expander doubles decibels about its unity point, errors before it included.
func TestExpander(t *testing.T) {
	p := single(t, 0.09525, 0.38e-3)
	f := field.Fault{Expander: true, ExpanderUnityDB: -5, GainDB: -1}
	for _, level := range []float64{0, -5, -20} {
		out := level + db(p.Response(1, f, 1000, level))
		near(t, "expanded level", out, -5+2*(level-1+5), 1e-9)
	}
}

func TestImpossible(t *testing.T) {
	centres, widths := []float64{1e-3}, []float64{0.4e-3}
	sound := field.Tape{SpeedMS: 0.1, CoatingM: 4e-6, WidthM: 3e-3, FullWidth: true}
	for name, c := range map[string]struct {
		head  func(*field.Head)
		tape  func(*field.Tape)
		fault field.Fault
	}{
		"no gap":              {head: func(h *field.Head) { h.GapM = 0 }},
		"no side decay":       {head: func(h *field.Head) { h.SideDecay = math.NaN() }},
		"a core too few":      {head: func(h *field.Head) { h.WidthsM = nil }},
		"core off the tape":   {head: func(h *field.Head) { h.CentresM = []float64{9e-3} }},
		"face without ends":   {head: func(h *field.Head) { h.FaceM = 3e-3 }},
		"no speed":            {tape: func(t *field.Tape) { t.SpeedMS = 0 }},
		"no tracks":           {tape: func(t *field.Tape) { t.FullWidth = false }},
		"odd equalisation":    {tape: func(t *field.Tape) { t.Curve.LowUs = -1 }},
		"negative spacing":    {fault: field.Fault{SpacingLowM: -1e-6}},
		"endless gap":         {fault: field.Fault{GapM: math.Inf(1)}},
		"steep azimuth":       {fault: field.Fault{AzimuthRad: 1}},
		"gain of no number":   {fault: field.Fault{GainDB: math.NaN()}},
		"open head that adds": {fault: field.Fault{OpenDB: 3}},
		"odd replay curve":    {fault: field.Fault{Replay: &field.Curve{HighUs: math.NaN()}}},
	} {
		h, tape := field.Cassette.Head(centres, widths), sound
		if c.head != nil {
			c.head(&h)
		}
		if c.tape != nil {
			c.tape(&tape)
		}
		if _, err := field.Response(h, 1, tape, c.fault, 1000, 0); !errors.Is(err, field.ErrModel) {
			t.Errorf("%s: error %v, want ErrModel", name, err)
		}
	}
}

// One player serves many at once and says the same to all.
func TestTogether(t *testing.T) {
	p := benches(true)[0].player(t)
	f := field.Fault{SpacingHighM: 1e-6, AzimuthRad: 3 * arcminute}
	answers := make([]complex128, 8)
	var wg sync.WaitGroup
	for i := range answers {
		wg.Go(func() { answers[i] = p.Response(1+i%2*3, f, 8000, 0) })
	}
	wg.Wait()
	for i, a := range answers {
		if a != answers[i%2] {
			t.Errorf("answer %d: %v, another had %v", i, a, answers[i%2])
		}
	}
}

// The time of a response that shares nothing with an earlier one, spacing differing
// across the core.
func BenchmarkResponse(b *testing.B) {
	bench := benches(true)[0]
	p, i := bench.player(b), 0
	for b.Loop() {
		i++
		hz := bench.tones[i%len(bench.tones)]
		p.Response(2, field.Fault{SpacingHighM: 1e-6 + 1e-12*float64(i), AzimuthRad: 3 * arcminute}, hz, 0)
	}
}
