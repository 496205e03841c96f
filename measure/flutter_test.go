package measure

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"headstack/dsp"
	"headstack/testtape"
)

// flutterScene is a played tone whose speed is given by formulas: lines, a random part,
// a drift, and jitter of single tracks. It shares nothing with the code under test.
type flutterScene struct {
	rate, seconds, tone float64
	tracks              int
	lines               []flutterLine
	random              func(r *rand.Rand, rate float64) func() float64 // relative deviation, sample by sample
	driftPerS           float64                                         // relative
	jitter              [][]flutterLine                                 // by track
	noiseDB             float64                                         // r.m.s. of noise over the whole band, re the tone's
	drops               []float64                                       // times of drop-outs of 10 ms, s
	seed                uint64
}

func (f *flutterScene) render() (*memory, finding, *testtape.Tape) {
	tp := tapeOf(f.seconds, f.tone)
	tp.Reference.ToneHz = f.tone
	r := rand.New(rand.NewPCG(f.seed, 77))
	n := int(f.seconds * f.rate)
	m := &memory{rate: f.rate, ch: make([][]float64, f.tracks)}
	var draw func() float64
	if f.random != nil {
		draw = f.random(r, f.rate)
	}
	place0 := 0.0 // integral of the random part, s
	const amp = 0.3
	sd := 0.0
	if f.noiseDB != 0 {
		sd = amp / math.Sqrt2 * math.Pow(10, f.noiseDB/20)
	}
	for k := range m.ch {
		m.ch[k] = make([]float64, n)
	}
	for i := range n {
		t := float64(i) / f.rate
		u := t + f.driftPerS*t*t/2 + ahead(f.lines, t)
		if draw != nil {
			u += place0
			place0 += draw() / f.rate
		}
		for k := range m.ch {
			w := u
			if f.jitter != nil {
				w += ahead(f.jitter[k], t)
			}
			c := f.tone * w
			a := amp
			for _, d := range f.drops {
				if t > d && t < d+0.01 {
					a = 0.001
				}
			}
			m.ch[k][i] = a*math.Sin(2*math.Pi*(c-math.Floor(c))) + sd*r.NormFloat64()
		}
	}
	fd := finding{ratio: 1, places: []place{{index: 0, found: true, startS: 0, endS: f.seconds}}}
	return m, fd, tp
}

// ahead is how far the lines have brought the tape at t, in seconds of tape: the
// integral of Σ amp·sin(2π·hz·t + phase).
func ahead(lines []flutterLine, t float64) float64 {
	u := 0.0
	for _, l := range lines {
		u += l.amp / (2 * math.Pi * l.hz) * (math.Cos(l.phase) - math.Cos(2*math.Pi*l.hz*t+l.phase))
	}
	return u
}

func (f *flutterScene) measure(t testing.TB, opt Options) Report {
	t.Helper()
	m, fd, tp := f.render()
	opt.Tape = tp
	rep, err := measureTape(context.Background(), []Source{m.source("flutter")}, opt, known(fd))
	if err != nil {
		t.Fatalf("measuring: %v", err)
	}
	return rep
}

// Rates of the meter per second, as dsp's doc comment gives them.
const meterAttack, meterDecay, meterLag = 19.42, 1.497, 9.02

// meterOnSine is the part of a steady sine's peak that the quasi-peak meter shows. It has
// the dynamics that the pulses of IEC 60386 ask for, so below 4 Hz it falls back between
// the swings. Steady state of its equations (doc comment of [dsp.DetectorFlutter]) by
// small Euler steps.
func meterOnSine(hz float64) float64 {
	steady := func(hz float64) float64 {
		const dt = 1e-4
		var p, n, v, top float64
		end := 20 + 4/hz
		for i := range int(end / dt) {
			x := math.Sin(2 * math.Pi * hz * float64(i) * dt)
			d := meterDecay * (p - n) / 2
			p, n = p-d*dt, n+d*dt
			p += meterAttack * math.Max(0, x-p) * dt
			n += meterAttack * math.Min(0, x-n) * dt
			v += meterLag * ((p-n)/2 - v) * dt
			if float64(i)*dt > end-2/hz {
				top = math.Max(top, v)
			}
		}
		return top
	}
	return steady(hz) / steady(4)
}

// TestFlutterOfOneLine is the bar: sine deviation of 0.02 to 1 % at 0.2 to 200 Hz,
// noise 45 dB down, within 2 % of truth and 0.003 percentage points.
func TestFlutterOfOneLine(t *testing.T) {
	rates := []float64{0.2, 0.315, 0.5, 0.8, 1.6, 4, 6, 10, 25, 63, 100, 160, 200}
	if testing.Short() {
		rates = []float64{0.2, 0.8, 4, 25, 200}
	}
	for _, hz := range rates {
		t.Run(fmt.Sprintf("%g Hz", hz), func(t *testing.T) {
			t.Parallel()
			weighting := math.Pow(10, dsp.WeightingFlutter(hz)/20)
			meter := meterOnSine(hz)
			for _, peak := range []float64{0.02, 1} {
				f := &flutterScene{rate: 48000, seconds: 30, tone: 3150, tracks: 1, noiseDB: -45, seed: uint64(1000 * hz)}
				f.lines = []flutterLine{{hz: hz, amp: peak / 100, phase: hz}}
				rep := f.measure(t, Options{})
				rms := peak / math.Sqrt2
				want := map[string]float64{
					"flutter_unweighted_rms": rms,
					"wow_flutter_rms":        weighting * rms,
					"wow_flutter_2sigma":     weighting * peak * math.Sin(0.95*math.Pi/2),
					"wow_flutter_quasi_peak": weighting * peak * meter,
					"wow_rms":                rms * wowShare(hz),
					"flutter_rms":            rms * math.Sqrt(1-wowShare(hz)*wowShare(hz)),
					"flutter_line":           peak,
				}
				for name, truth := range want {
					r := get(t, rep, name, "a", 0, 0)
					if r.Refused != "" {
						t.Fatalf("%s refused: %s", name, r.Refused)
					}
					if tol := 0.02*truth + 0.003; math.Abs(r.Value-truth) > tol {
						t.Errorf("%g %% at %g Hz: %s %.5f (%.5f to %.5f), truth %.5f, tolerance %.4f", peak, hz, name, r.Value, r.Lo, r.Hi, truth, tol)
					}
				}
			}
		})
	}
}

// wowShare is 1 below the crossing of wow and flutter, 0 above, √½ at 6 Hz.
func wowShare(hz float64) float64 {
	switch {
	case hz < 5:
		return 1
	case hz == 6:
		return math.Sqrt(0.5)
	}
	return 0
}

// TestFlutterOfTracks: common speed and the rest of each track, drop-outs bridged, lines
// named, drift found.
func TestFlutterOfTracks(t *testing.T) {
	f := &flutterScene{rate: 32000, seconds: 24, tone: 3150, tracks: 3, noiseDB: -45, seed: 5, driftPerS: 1e-5}
	f.lines = []flutterLine{{hz: 2.3, amp: 0.0008, phase: 1}, {hz: 0.6, amp: 0.0004}, {hz: 6.9, amp: 0.0003}, {hz: 33, amp: 0.0003}}
	f.jitter = [][]flutterLine{{{hz: 50, amp: 0.0004}}, nil, nil}
	f.drops = []float64{5, 12}
	rep := f.measure(t, Options{OnceRound: []Rotation{{"capstan", 2.3, 2.3}, {"take-up reel", 0.4, 0.9}, {"idler", 4, 4}}})
	near := func(r Result, want, tol float64) {
		t.Helper()
		if r.Refused != "" || math.Abs(r.Value-want) > tol {
			t.Errorf("%s of track %d: %s, want %g ± %g", r.Name, r.Track, r.Figure(), want, tol)
		}
	}
	common := math.Sqrt(0.08*0.08+0.04*0.04+0.03*0.03*2) / math.Sqrt2
	third := 0.04 / math.Sqrt2 / 3 // tracks are equally noisy, so the mean is a plain one
	near(get(t, rep, "flutter_unweighted_rms", "a", 0, 0), math.Hypot(common, third), 0.02*common)
	near(get(t, rep, "flutter_unweighted_rms", "a", 2, 0), common, 0.02*common)
	near(get(t, rep, "flutter_track_rms", "a", 1, 0), 2*third, 0.0005)
	near(get(t, rep, "flutter_track_rms", "a", 3, 0), third, 0.0005)
	near(get(t, rep, "drift", "a", 0, 0), 0.06, 0.002)
	names := map[string]float64{}
	for _, r := range rep.Measures {
		if r.Name == "flutter_line" {
			what := r.Method[strings.Index(r.Method, ": ")+2 : strings.Index(r.Method, ";")]
			names[what] = r.Value
		}
	}
	for what, peak := range map[string]float64{"capstan": 0.08, "take-up reel": 0.04, "3× capstan": 0.03} {
		if math.Abs(names[what]-peak) > 0.02*peak {
			t.Errorf("line of the %s: %.4f %%, want %.4f; lines %v", what, names[what], peak, names)
		}
	}
	if w := strings.Join(get(t, rep, "wow_flutter_rms", "a", 0, 0).Warnings, " "); !strings.Contains(w, "drop-outs") {
		t.Errorf("drop-outs are not mentioned: %q", w)
	}
	for _, tr := range rep.Traces {
		if len(tr.Points) > 600 {
			t.Errorf("trace %s has %d points", tr.Name, len(tr.Points))
		}
		if tr.Name == "speed_spectrum" && (len(tr.Marks) < 4 || tr.Marks[0].Label != "capstan") {
			t.Errorf("marks of the spectrum: %v", tr.Marks)
		}
	}
}

// TestFlutterRefusals: no tone, too short, drop-outs all over.
func TestFlutterRefusals(t *testing.T) {
	low := &flutterScene{rate: 16000, seconds: 6, tone: 315, tracks: 1}
	if r := get(t, low.measure(t, Options{}), "wow_flutter_2sigma", "", 0, 0); !strings.Contains(r.Refused, "no tone section") {
		t.Errorf("a tone of 315 Hz: %q", r.Refused)
	}
	short := &flutterScene{rate: 16000, seconds: 2.5, tone: 3150, tracks: 1}
	if r := get(t, short.measure(t, Options{}), "wow_flutter_rms", "a", 0, 0); !strings.Contains(r.Refused, "too short") {
		t.Errorf("2.5 s: %q", r.Refused)
	}
	gaps := &flutterScene{rate: 16000, seconds: 6, tone: 3150, tracks: 1, noiseDB: -45}
	for at := 0.0; at < 6; at += 0.1 {
		gaps.drops = append(gaps.drops, at)
	}
	if r := get(t, gaps.measure(t, Options{}), "wow_flutter_rms", "a", 1, 0); r.Refused == "" {
		t.Errorf("drop-outs over a tenth of the time: %s, want a refusal", r.Figure())
	}
	other := &flutterScene{rate: 16000, seconds: 6, tone: 1000, tracks: 1, noiseDB: -45, lines: []flutterLine{{hz: 4, amp: 0.002}}}
	r := get(t, other.measure(t, Options{}), "wow_flutter_rms", "a", 0, 0)
	if truth := 0.2 / math.Sqrt2; math.Abs(r.Value-truth) > 0.03*truth+0.003 || !strings.Contains(strings.Join(r.Warnings, ""), "1000 Hz") {
		t.Errorf("on 1000 Hz: %s with %v, want %g and a warning", r.Figure(), r.Warnings, truth)
	}
}

// TestRepeatedStarts against the plain formulas on made-up figures.
func TestRepeatedStarts(t *testing.T) {
	var reps []Report
	for _, v := range []float64{0.05, 0.09, 0.07, 0.11} {
		reps = append(reps, Report{Measures: []Result{
			{Name: "wow_flutter_2sigma", Section: "s", Value: v, Unit: "%"},
			{Name: "wow_flutter_2sigma", Section: "s", Track: 1, Value: 9, Unit: "%"},
			{Name: "wow_flutter_rms", Section: "s", Refused: "no"}}})
	}
	out := RepeatedStarts(reps)
	if len(out) != 2 || out[0].Name != "wow_flutter_2sigma_starts" || out[1].Name != "wow_flutter_2sigma_next_start" {
		t.Fatalf("results %v", out)
	}
	// Mean 0.08, s = √(0.002/3); t(3, 0.975) = 3.182 (any table of Student's t).
	s := math.Sqrt(0.002 / 3)
	for i, half := range []float64{3.182 * s / 2, 3.182 * s * math.Sqrt(1.25)} {
		r := out[i]
		if math.Abs(r.Value-0.08) > 1e-9 || math.Abs(r.Hi-0.08-half) > 1e-4 || math.Abs(r.Lo-math.Max(0, 0.08-half)) > 1e-4 || !strings.Contains(r.Method, "4 starts") || !strings.Contains(r.Method, "worst 0.11") {
			t.Errorf("%s %g, %g to %g (%s), want 0.08 ± %g", r.Name, r.Value, r.Lo, r.Hi, r.Method, half)
		}
	}
}
