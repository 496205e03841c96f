package measure

import (
	"context"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"headstack/dsp"
	"headstack/programme"
)

// played is a programme played by formula: every sine of every part with a gain that
// depends on track and frequency, a speed, and noise. It shares nothing with the code
// under test.
type played struct {
	p     *programme.Programme
	rate  float64
	speed float64
	gain  func(track int, hz float64) float64 // dB, at the frequency played
	noise float64                             // r.m.s., white
	seed  uint64
}

func (pl played) render() (*memory, finding) {
	r := rand.New(rand.NewPCG(pl.seed, 7))
	m := &memory{rate: pl.rate, ch: make([][]float64, pl.p.Tracks)}
	f := finding{ratio: pl.speed}
	t := 0.5
	for i, part := range pl.p.Parts {
		f.places = append(f.places, place{index: i, found: true, startS: t, endS: t + part.Seconds/pl.speed})
		t += part.Seconds / pl.speed
	}
	n := int((t + 0.5) * pl.rate)
	for c := range m.ch {
		m.ch[c] = make([]float64, n)
		for i := range m.ch[c] {
			m.ch[c][i] = pl.noise * r.NormFloat64()
		}
		for i, part := range pl.p.Parts {
			from, to := int(f.places[i].startS*pl.rate), int(f.places[i].endS*pl.rate)
			for _, s := range part.On(c + 1) {
				hz := s.Hz * pl.speed
				a := math.Pow(10, (pl.p.ReferenceDBFS+s.LevelDB+pl.gain(c+1, hz))/20)
				for k := from; k < to; k++ {
					m.ch[c][k] += a * math.Sin(2*math.Pi*hz*float64(k-from)/pl.rate+s.PhaseDeg*math.Pi/180)
				}
			}
		}
	}
	return m, f
}

// whereTold is a locator that has been told, for programmes.
func whereTold(f finding) locateRound {
	return func(context.Context, dsp.Stream, []int, int) (finding, error) { return f, nil }
}

// combProgramme holds a reference tone and a third-octave comb with random phases.
func combProgramme(tracks int, topHz float64) *programme.Programme {
	r := rand.New(rand.NewPCG(3, 3))
	p := &programme.Programme{Format: 1, Name: "test", Tracks: tracks, SpeedCmS: 9.525, ReferenceHz: 315, ReferenceDBFS: -14}
	all := []int{}
	for i := range tracks {
		all = append(all, i+1)
	}
	p.Rounds = [][]int{all}
	p.Parts = []programme.Part{{Name: "reference", Kind: programme.Tone, Seconds: 6, All: []programme.Sine{{Hz: 315}}}}
	comb := programme.Part{Name: "comb", Kind: programme.Comb, Seconds: 12}
	for _, hz := range []float64{31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300} {
		if hz <= topHz {
			comb.All = append(comb.All, programme.Sine{Hz: hz, LevelDB: -22, PhaseDeg: 360 * r.Float64()})
		}
	}
	p.Parts = append(p.Parts, comb)
	return p
}

// A first-order corner of the electronics, the closed form of a test of response.
func corner(lowHz, highHz float64) func(int, float64) float64 {
	return func(_ int, hz float64) float64 {
		return -10*math.Log10(1+math.Pow(lowHz/hz, 2)) - 10*math.Log10(1+math.Pow(hz/highHz, 2))
	}
}

func TestCombGivesTheResponseAtOnce(t *testing.T) {
	runs := longRuns(8)
	hit, all, worst := 0, 0, 0.0
	var mu sync.Mutex
	seeds(runs, func(seed int) {
		p := combProgramme(1, 6300)
		pl := played{p: p, rate: 16000, speed: 1.013, gain: corner(40, 5000), noise: math.Pow(10, (-14-3-45)/20.), seed: uint64(seed)}
		m, f := pl.render()
		rep, err := recording(context.Background(), []Source{m.source("x", 1)}, p, Options{}, whereTold(f))
		if err != nil {
			t.Error(err)
			return
		}
		mu.Lock()
		defer mu.Unlock()
		n := 0
		for _, r := range rep.Measures {
			if r.Name != "response" || r.Section != "comb" {
				continue
			}
			if r.Refused != "" {
				t.Errorf("seed %d, %g Hz: %s", seed, r.ToneHz, r.Refused)
				continue
			}
			n++
			want := pl.gain(1, r.ToneHz*pl.speed) - pl.gain(1, 315*pl.speed)
			if r.ToneHz == 315 {
				continue // 0 by definition
			}
			all++
			worst = math.Max(worst, math.Abs(r.Value-want))
			if r.Lo <= want && want <= r.Hi {
				hit++
			}
		}
		if n != 24 {
			t.Errorf("seed %d: %d tones of the comb measured, want 24", seed, n)
		}
	})
	cover := float64(hit) / float64(all)
	t.Logf("%d figures: %.3f covered, worst error %.3f dB", all, cover, worst)
	lo, hi := 0.92, 0.98
	if runs < 500 {
		lo, hi = 0.87, 1
	}
	if cover < lo || cover > hi {
		t.Errorf("%.3f of the intervals cover the truth, want %.2f to %.2f (seeds from 0)", cover, lo, hi)
	}
	if worst > 0.3 {
		t.Errorf("worst error %.2f dB", worst)
	}
}

// What a loop of cable shows of the interface is taken off a capture made through it,
// and the capture then reads as through a perfect one.
func TestLoopbackIsTakenOff(t *testing.T) {
	p := combProgramme(2, 6300)
	face := func(track int, hz float64) float64 {
		return corner(20, 9000)(track, hz) - 0.3*float64(track)*math.Log10(hz/315)
	}
	loop := played{p: p, rate: 16000, speed: 1, gain: face, noise: 1e-5, seed: 1}
	m, f := loop.render()
	when := time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC)
	got, err := loopback(context.Background(), m.source("loop.wav", 1, 2), p, "bench", when, whereTold(f))
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Warnings) > 0 || len(got.Channels) != 2 || len(got.Channels[1].Points) != 24 {
		t.Fatalf("loop-back: %+v", got)
	}
	machine := corner(30, 4000)
	through := played{p: p, rate: 16000, speed: 0.99, noise: 1e-5, seed: 2, gain: func(track int, hz float64) float64 { return machine(track, hz) + face(track, hz) }}
	m, f = through.render()
	rep, err := recording(context.Background(), []Source{m.source("x.wav", 1, 2)}, p, Options{Interface: &got}, whereTold(f))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, r := range rep.Measures {
		if r.Name != "response" || r.Section != "comb" || r.ToneHz == 315 {
			continue
		}
		n++
		want := machine(r.Track, r.ToneHz*0.99) - machine(r.Track, 315*0.99)
		// Straight interpolation between thirds of a first-order curve is within 0.02 dB.
		if math.Abs(r.Value-want) > 0.02 || !strings.Contains(r.Method, "taken off") {
			t.Errorf("track %d, %g Hz: %.3f dB, want %.3f; %s", r.Track, r.ToneHz, r.Value, want, r.Method)
		}
	}
	if n != 46 {
		t.Errorf("%d responses, want 46", n)
	}
	if w := strings.Join(rep.Warnings, "\n"); !strings.Contains(w, "looped back on 4 March 2026") {
		t.Errorf("the report does not name the loop-back: %s", w)
	}
	if e, ok := got.GainDB(1, 20); ok {
		t.Errorf("a gain of %v dB at 20 Hz, where nothing was measured", e)
	}
	if _, ok := got.GainDB(3, 1000); ok {
		t.Error("a gain for a channel that was not looped back")
	}
}

func TestLoopbackThroughATapeIsNoticed(t *testing.T) {
	p := combProgramme(1, 6300)
	pl := played{p: p, rate: 16000, speed: 1.004, gain: func(int, float64) float64 { return 0 }, noise: 1e-4}
	m, f := pl.render()
	got, err := loopback(context.Background(), m.source("x", 1), p, "x", time.Time{}, whereTold(f))
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Warnings) != 1 || !strings.Contains(got.Warnings[0], "0.400 %") {
		t.Errorf("warnings %q", got.Warnings)
	}
}
