package measure

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"strings"
	"sync"
	"testing"

	"headstack/programme"
)

// mixed is a programme heard through a matrix: channel c hears what track k carries
// with the complex gain mix(c, k). Phase follows a flutter that all share.
type mixed struct {
	p     *programme.Programme
	rate  float64
	speed float64
	mix   func(channel, track int) complex128 // channel and track from 1
	noise float64                             // r.m.s., white
	seed  uint64
	erase float64 // amplitude that is left from the middle of an erase part on
	wow   float64 // peak, relative, at 0.9 Hz
}

func (m mixed) render() (*memory, finding) {
	r := rand.New(rand.NewPCG(m.seed, 11))
	out := &memory{rate: m.rate, ch: make([][]float64, m.p.Tracks)}
	f := finding{ratio: m.speed}
	t := 0.3
	for i, part := range m.p.Parts {
		f.places = append(f.places, place{index: i, found: true, startS: t, endS: t + part.Seconds/m.speed})
		t += part.Seconds / m.speed
	}
	n := int((t + 0.3) * m.rate)
	phase := 6.28 * r.Float64()
	pos := func(i int) float64 { // seconds of tape that have passed
		at := float64(i) / m.rate
		return m.speed * (at - m.wow/(2*math.Pi*0.9)*math.Cos(2*math.Pi*0.9*at+phase))
	}
	for c := range out.ch {
		x := make([]float64, n)
		for i := range x {
			x[i] = m.noise * r.NormFloat64()
		}
		for i, part := range m.p.Parts {
			from, to := int(f.places[i].startS*m.rate), int(f.places[i].endS*m.rate)
			for track := 1; track <= m.p.Tracks; track++ {
				g := m.mix(c+1, track)
				if g == 0 {
					continue
				}
				for _, s := range part.On(track) {
					a := math.Pow(10, (m.p.ReferenceDBFS+s.LevelDB)/20)
					for k := from; k < to; k++ {
						th := 2*math.Pi*s.Hz*pos(k) + s.PhaseDeg*math.Pi/180
						v := a * (real(g)*math.Sin(th) + imag(g)*math.Cos(th))
						if part.Kind == programme.Erase && k > (from+to)/2 {
							v *= m.erase
						}
						x[k] += v
					}
				}
			}
		}
		out.ch[c] = x
	}
	return out, f
}

func (m mixed) run(t testing.TB, opt Options) Report {
	t.Helper()
	mem, f := m.render()
	rep, err := recording(context.Background(), []Source{mem.source("x")}, m.p, opt, whereTold(f))
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// partsProgramme is a programme of the given parts on some tracks, all in one round.
func partsProgramme(tracks int, parts ...programme.Part) *programme.Programme {
	p := &programme.Programme{Format: 1, Name: "test", Tracks: tracks, SpeedCmS: 9.525, ReferenceHz: 1000, ReferenceDBFS: -14, Parts: parts, Rounds: [][]int{nil}}
	for i := range tracks {
		p.Rounds[0] = append(p.Rounds[0], i+1)
	}
	return p
}

// oneTrackParts carries a tone on each track in turn.
func oneTrackParts(tracks int, seconds float64, tones ...float64) []programme.Part {
	var out []programme.Part
	for i := range tracks {
		p := programme.Part{Name: fmt.Sprintf("track %d alone", i+1), Kind: programme.OneTrack, Seconds: seconds, Each: make([][]programme.Sine, tracks)}
		for _, hz := range tones {
			p.Each[i] = append(p.Each[i], programme.Sine{Hz: hz})
		}
		out = append(out, p)
	}
	return out
}

// fromDB is an amplitude with a phase in turns.
func fromDB(db, turns float64) complex128 {
	s, c := math.Sincos(2 * math.Pi * turns)
	a := math.Pow(10, db/20)
	return complex(a*c, a*s)
}

// seeds calls f for seeds 0 to n-1 on all processors.
func seeds(n int, f func(seed int)) {
	var wg sync.WaitGroup
	ch := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for s := range ch {
				f(s)
			}
		})
	}
	for s := range n {
		ch <- s
	}
	close(ch)
	wg.Wait()
}

// longRuns is [coverRuns] without a short form.
func longRuns(few int) int {
	runs, _ := coverRuns(few, few)
	return runs
}

// checkCover wants 92 to 98 % of 500 runs, or what chance allows of fewer.
func checkCover(t *testing.T, what string, hit, all int) {
	t.Helper()
	got := float64(hit) / float64(all)
	lo, hi := 0.92, 0.98
	if all < 500 {
		lo, hi = 0.95-3.3*math.Sqrt(0.95*0.05/float64(all)), 1.0
	}
	t.Logf("%s: %.3f of %d intervals cover the truth", what, got, all)
	if got < lo || got > hi {
		t.Errorf("%s: %.3f of %d intervals cover the truth, want %.3f to %.3f (seeds from 0)", what, got, all, lo, hi)
	}
}

// The bar: -80 dB within 1 dB at 50 dB S/N (20 Hz to 20 kHz), by 95 % interval.
func TestCrosstalkDownTo80dB(t *testing.T) {
	type sums struct {
		hit, all, refused int
		within            int
	}
	var mu sync.Mutex
	by := map[float64]*sums{-40: {}, -60: {}, -80: {}}
	const rate = 8000.0
	noise := math.Pow(10, (-14-3.01-50)/20.) * math.Sqrt(rate/2/20000)
	seeds(longRuns(20), func(seed int) {
		r := rand.New(rand.NewPCG(uint64(seed), 5))
		db := []float64{-40, -60, -80}[seed%3]
		turns := r.Float64()
		m := mixed{p: partsProgramme(2, oneTrackParts(2, 12, 1000)...), rate: rate, speed: 0.985, wow: 0.001, noise: noise, seed: uint64(seed),
			mix: func(c, k int) complex128 {
				if c == k {
					return fromDB([]float64{0, -3}[k-1], 0) // gains that differ must not count
				}
				return fromDB(db, turns) * fromDB([]float64{0, -3}[c-1], 0)
			}}
		rep := m.run(t, Options{})
		mu.Lock()
		defer mu.Unlock()
		for _, res := range rep.Measures {
			if res.Name != "crosstalk" {
				continue
			}
			s := by[db]
			s.all++
			if res.Refused != "" {
				s.refused++
				continue
			}
			if res.Lo <= db && db <= res.Hi {
				s.hit++
			}
			if math.Abs(res.Value-db) <= 1 {
				s.within++
			}
		}
	})
	all, hit := 0, 0
	for db, s := range by {
		t.Logf("%g dB: %d of %d covered, %d within 1 dB, %d refused", db, s.hit, s.all, s.within, s.refused)
		all, hit = all+s.all, hit+s.hit
		if s.refused > 0 || float64(s.within) < 0.95*float64(s.all) {
			t.Errorf("%g dB: %d of %d within 1 dB, %d refused", db, s.within, s.all, s.refused)
		}
	}
	checkCover(t, "crosstalk", hit, all)
}

func TestCrosstalkWhereThereIsNone(t *testing.T) {
	p := partsProgramme(3, oneTrackParts(3, 8, 1000)...)
	noise := math.Pow(10, (-14-3.01-50)/20.) * math.Sqrt(4000/20000.)
	m := mixed{p: p, rate: 8000, speed: 1, noise: noise, seed: 3, mix: func(c, k int) complex128 {
		if c == k && k != 3 { // track 3 is dead
			return 1
		}
		return 0
	}}
	for _, r := range m.run(t, Options{}).Measures {
		if r.Name != "crosstalk" {
			continue
		}
		switch {
		case r.Refused == "":
			t.Errorf("%d into %d: %.1f dB [%.1f, %.1f] of nothing", r.Track, r.TrackB, r.Value, r.Lo, r.Hi)
		case r.Track == 3 && !strings.Contains(r.Refused, "does not carry the tone"):
			t.Errorf("from the dead track: %s", r.Refused)
		case r.Track != 3 && !strings.Contains(r.Refused, "below -"):
			t.Errorf("%d into %d: %s", r.Track, r.TrackB, r.Refused)
		}
	}
	m.mix = func(c, k int) complex128 { return fromDB(-50*math.Abs(float64(c-k)), 0) }
	n := 0
	for _, r := range m.run(t, Options{WhileRecording: true}).Measures {
		if r.Name == "overdub_bleed" && r.Refused == "" {
			n++
		}
		if r.Name == "crosstalk" {
			t.Error("crosstalk from a capture taken while recording")
		}
	}
	if n < 4 {
		t.Errorf("%d figures of overdub bleed, want those of the 4 neighbours at least", n)
	}
}

// Bounds and distribution of the noncentral chi-square agree with each other.
func TestRiceBoundsInvert(t *testing.T) {
	for _, x := range []float64{0.5, 3, 20, 150, 900, 5000} {
		for _, p := range []float64{0.025, 0.5, 0.975} {
			l := riceBound(x, p)
			if l == 0 {
				if riceCDF(x, 0) > p+1e-9 {
					t.Errorf("x = %g, p = %g: no bound though P = %g at λ = 0", x, p, riceCDF(x, 0))
				}
				continue
			}
			if got := riceCDF(x, l); math.Abs(got-p) > 2e-3 {
				t.Errorf("x = %g, p = %g: λ = %g gives %g", x, p, l, got)
			}
		}
	}
	// λ = 0 is the exponential distribution.
	if got, want := riceCDF(3, 0), 1-math.Exp(-1.5); math.Abs(got-want) > 1e-12 {
		t.Errorf("P = %g, want %g", got, want)
	}
}

func TestEraseDepth(t *testing.T) {
	var mu sync.Mutex
	hit, all, refused := 0, 0, 0
	const rate = 8000.0
	noise := math.Pow(10, (-14-3.01-50)/20.) * math.Sqrt(rate/2/20000)
	seeds(longRuns(20), func(seed int) {
		db := []float64{-30, -55, -75}[seed%3]
		p := partsProgramme(2, programme.Part{Name: "erase", Kind: programme.Erase, Seconds: 30, All: []programme.Sine{{Hz: 1000, LevelDB: 6}}})
		m := mixed{p: p, rate: rate, speed: 1.01, wow: 0.001, noise: noise, seed: uint64(seed), erase: math.Pow(10, db/20), mix: func(c, k int) complex128 {
			if c == k {
				return 1
			}
			return 0
		}}
		rep := m.run(t, Options{})
		mu.Lock()
		defer mu.Unlock()
		for _, r := range rep.Measures {
			if r.Name != "erase_depth" {
				continue
			}
			all++
			if r.Refused != "" {
				// At -75 dB chance may leave nothing above the noise; the bound then holds.
				if refused++; db > -75 || refused > all/100+1 || !strings.Contains(r.Refused, "below -7") {
					t.Errorf("seed %d, %g dB: %s", seed, db, r.Refused)
				}
				hit++
				continue
			}
			if r.Lo <= db && db <= r.Hi {
				hit++
			}
			if math.Abs(r.Value-db) > 1.5 {
				t.Errorf("seed %d: %.2f dB [%.2f, %.2f], want %g", seed, r.Value, r.Lo, r.Hi, db)
			}
		}
	})
	checkCover(t, "erase_depth", hit, all)
}

func TestEraseDepthRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		erase, noise float64
		want         string
	}{
		"nothing left": {0, 1e-4, "below -"},
		"not erased":   {1, 1e-4, "not recorded"},
		"no tone":      {1, 1, "tone absent"},
	} {
		p := partsProgramme(1, programme.Part{Name: "erase", Kind: programme.Erase, Seconds: 20, All: []programme.Sine{{Hz: 1000}}})
		m := mixed{p: p, rate: 8000, speed: 1, noise: c.noise, seed: 5, erase: c.erase, mix: func(int, int) complex128 { return 1 }}
		r := get(t, m.run(t, Options{}), "erase_depth", "erase", 1, 0)
		if !strings.Contains(r.Refused, c.want) {
			t.Errorf("%s: %q %.1f, want a refusal with %q", name, r.Refused, r.Value, c.want)
		}
	}
}

// identityPart gives each track 400, 600, 900, ... Hz with the second harmonic that
// makes it stand upright: the closed form of the programme's own.
func identityPart(tones ...float64) programme.Part {
	p := programme.Part{Name: "identity", Kind: programme.Identity, Seconds: 5}
	for _, hz := range tones {
		p.Each = append(p.Each, []programme.Sine{{Hz: hz, LevelDB: -10}, {Hz: 2 * hz, LevelDB: -20, PhaseDeg: -90}})
	}
	return p
}

func TestIdentityAndPolarity(t *testing.T) {
	p := partsProgramme(4, identityPart(400, 590, 950, 1420))
	heard := []int{2, 1, 3, 0} // tracks 1 and 2 swapped, nothing on 4
	m := mixed{p: p, rate: 16000, speed: 0.97, wow: 0.002, noise: 1e-3, seed: 9, mix: func(c, k int) complex128 {
		switch {
		case heard[c-1] == k && k == 3:
			return -1 // reversed
		case heard[c-1] == k:
			return 1
		case heard[c-1] != 0:
			return fromDB(-40, 0.2)
		}
		return 0
	}}
	rep := m.run(t, Options{})
	for track, want := range map[int]float64{1: 2, 2: 1, 3: 3} {
		id := get(t, rep, "identity", "identity", track, 0)
		if id.Refused != "" || id.Value != want || (want != float64(track)) != (len(id.Warnings) == 1) {
			t.Errorf("channel of track %d: %+v, want track %g", track, id, want)
		}
		pol := get(t, rep, "polarity", "identity", track, 0)
		sign := 1.0
		if track == 3 {
			sign = -1
		}
		if pol.Refused != "" || pol.Value != sign {
			t.Errorf("polarity of track %d: %+v, want %g", track, pol, sign)
		}
	}
	if id := get(t, rep, "identity", "identity", 4, 0); !strings.Contains(id.Refused, "no identity tone") {
		t.Errorf("dead track: %+v", id)
	}
	m.mix = func(c, k int) complex128 { return 1 }
	if id := get(t, m.run(t, Options{}), "identity", "identity", 1, 0); !strings.Contains(id.Refused, "several tracks") {
		t.Errorf("a mix of all: %+v", id)
	}
}

func TestStaircase(t *testing.T) {
	const steps, each = 8, 4.0
	p := partsProgramme(1, programme.Part{Name: "bias", Kind: programme.Staircase, Seconds: steps * each, StepSeconds: each, All: []programme.Sine{{Hz: 2000, LevelDB: -10}}})
	m := mixed{p: p, rate: 8000, speed: 1.02, noise: 1e-4, seed: 2, mix: func(int, int) complex128 { return 1 }}
	mem, f := m.render()
	want := make([]float64, steps)
	for k := range want {
		want[k] = -0.2 * float64((k-4)*(k-4))
		from, to := int((f.places[0].startS+float64(k)*each/1.02)*8000), int((f.places[0].startS+float64(k+1)*each/1.02)*8000)
		for i := from; i < to && i < len(mem.ch[0]); i++ {
			mem.ch[0][i] *= math.Pow(10, want[k]/20)
			if i-from < 800 && k > 0 {
				mem.ch[0][i] = 0 // the mark
			}
		}
	}
	rep, err := recording(context.Background(), []Source{mem.source("x")}, p, Options{}, whereTold(f))
	if err != nil {
		t.Fatal(err)
	}
	if len(rep.Traces) == 0 || rep.Traces[len(rep.Traces)-1].Name != "staircase" {
		t.Fatalf("no staircase among %d traces", len(rep.Traces))
	}
	tr := rep.Traces[len(rep.Traces)-1]
	if len(tr.Points) != steps {
		t.Fatalf("%d steps read, want %d: %v", len(tr.Points), steps, tr.Warnings)
	}
	for k, pt := range tr.Points {
		if d := want[k] - want[0]; math.Abs(pt.Y-d) > 0.02 {
			t.Errorf("step %d: %.3f dB, want %.3f", k+1, pt.Y, d)
		}
	}
}

// Two tones give a trace each, both re the low one at the first step, so that treble that
// comes back 3 dB lower reads so although it was recorded 4 dB higher.
func TestStaircaseOfTwoTones(t *testing.T) {
	const steps, each = 5, 4.0
	tones := []programme.Sine{{Hz: 3000, LevelDB: -10}, {Hz: 400, LevelDB: -14}}
	p := partsProgramme(1, programme.Part{Name: "bias", Kind: programme.Staircase, Seconds: steps * each, StepSeconds: each, All: tones})
	sound := func(k int) (*memory, finding) {
		q := *p
		q.Parts = []programme.Part{p.Parts[0]}
		q.Parts[0].All = tones[k : k+1]
		return mixed{p: &q, rate: 8000, speed: 0.99, noise: 1e-4, seed: uint64(k), mix: func(int, int) complex128 { return 1 }}.render()
	}
	treble, f := sound(0)
	low, _ := sound(1)
	want := [2][steps]float64{}
	for k := range steps {
		want[0][k], want[1][k] = -3-0.3*float64((k-1)*(k-1)), -0.1*float64((k-3)*(k-3))
		from, to := int((f.places[0].startS+float64(k)*each/0.99)*8000), int((f.places[0].startS+float64(k+1)*each/0.99)*8000)
		for i := from; i < to && i < len(low.ch[0]); i++ {
			x := math.Pow(10, want[0][k]/20)*treble.ch[0][i] + math.Pow(10, want[1][k]/20)*low.ch[0][i]
			if s := float64(i-from) / 8000; s < 1.2 && k > 0 {
				x *= s / 1.2 // a hand still turns: not to be measured
			}
			treble.ch[0][i] = x
		}
	}
	rep, err := recording(context.Background(), []Source{treble.source("x")}, p, Options{}, whereTold(f))
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, tr := range rep.Traces {
		if tr.Name != "staircase" {
			continue
		}
		if tr.ToneHz != tones[seen].Hz || len(tr.Points) != steps || !strings.Contains(tr.Reference, "400 Hz") {
			t.Fatalf("trace %d: %g Hz, %d points, re %q, %v", seen, tr.ToneHz, len(tr.Points), tr.Reference, tr.Warnings)
		}
		for k, pt := range tr.Points {
			if d := want[seen][k] - want[1][0]; math.Abs(pt.Y-d) > 0.03 {
				t.Errorf("%g Hz, step %d: %.3f dB, want %.3f", tr.ToneHz, k+1, pt.Y, d)
			}
		}
		seen++
	}
	if seen != 2 {
		t.Errorf("%d traces, want 2", seen)
	}
}
