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

	"headstack/dsp"
	"headstack/testtape"
)

// unsteady is a tape whose levels move: tones made of formulas, times a gain given by
// a function of track, section and time, plus white noise.
type unsteady struct {
	rate   float64
	tape   *testtape.Tape
	tracks int
	noise  float64 // r.m.s., white
	seed   uint64
	gainDB func(track, section int) func(t float64) float64 // t from the section's start
}

const unsteadyAmp = 0.25

func (u *unsteady) render() (*memory, finding) {
	r := rand.New(rand.NewPCG(u.seed, 0xf11c))
	m := &memory{rate: u.rate, ch: make([][]float64, u.tracks)}
	f := finding{ratio: 1}
	pos := 0
	for i, sec := range u.tape.Sections {
		n := int(sec.Seconds * u.rate)
		f.places = append(f.places, place{index: i, found: true, startS: float64(pos) / u.rate, endS: float64(pos+n) / u.rate})
		for k := range m.ch {
			gain := func(float64) float64 { return 0 }
			if u.gainDB != nil && sec.ToneHz > 0 {
				gain = u.gainDB(k, i)
			}
			x := make([]float64, n)
			step := int(u.rate / 1000) // the gain is a line between points a millisecond apart
			g, next := 0.0, math.Pow(10, gain(0)/20)
			for j := range x {
				if j%step == 0 {
					g = next
					next = math.Pow(10, gain(float64(j+step)/u.rate)/20)
				}
				a := g + (next-g)*float64(j%step)/float64(step)
				c := sec.ToneHz * float64(j) / u.rate
				x[j] = unsteadyAmp*a*math.Sin(2*math.Pi*(c-math.Floor(c))) + u.noise*r.NormFloat64()
			}
			m.ch[k] = append(m.ch[k], x...)
		}
		pos += n
	}
	return m, f
}

func (u *unsteady) run(t testing.TB) Report {
	t.Helper()
	m, f := u.render()
	rep, err := measureTape(context.Background(), []Source{m.source("unsteady")}, Options{Tape: u.tape, Geometry: heads(u.tracks)}, known(f))
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// gaussian is a Gaussian process of mean square 1 whose power lies evenly between two
// frequencies: random lines a hundredth of a hertz apart, closer than any section here
// can tell. It is tabulated every two milliseconds, with straight lines between.
func gaussian(r *rand.Rand, lo, hi, seconds float64) func(t float64) float64 {
	const n, step = 1 << 16, 0.002
	if seconds > n*step/4 {
		panic("the process repeats itself")
	}
	z := make([]complex128, n)
	first, last := int(math.Ceil(lo*n*step)), int(hi*n*step)
	for k := first; k <= last; k++ {
		z[k] = complex(r.NormFloat64(), r.NormFloat64())
	}
	dsp.NewFFT(n).Transform(z)
	tab := make([]float64, int(seconds/step)+3)
	for i := range tab {
		tab[i] = real(z[i]) / math.Sqrt(float64(last-first+1))
	}
	return func(t float64) float64 {
		i := min(len(tab)-2, int(t/step))
		return tab[i] + (tab[i+1]-tab[i])*(t/step-float64(i))
	}
}

func near(t *testing.T, r Result, want, tol float64) {
	t.Helper()
	if r.Refused != "" || !(math.Abs(r.Value-want) <= tol) {
		t.Errorf("%s of track %d, %d in %q: %.4f (%.4f to %.4f) %s, want %.4f within %g (refused %q)", r.Name, r.Track, r.TrackB, r.Section, r.Value, r.Lo, r.Hi, r.Unit, want, tol, r.Refused)
	}
}

// A level that swings by a sine of d dB has d/√2 dB r.m.s.
func TestFlickerOfASine(t *testing.T) {
	for _, hz := range []float64{0.9, 2, 7, 20} {
		for _, depth := range []float64{0.1, 1, 4} {
			u := &unsteady{rate: 32000, tape: tapeOf(10, 315, 10000), tracks: 1, seed: 3, noise: unsteadyAmp * 1e-4}
			u.gainDB = func(int, int) func(float64) float64 {
				return func(t float64) float64 { return depth * math.Sin(2*math.Pi*hz*t+0.7) }
			}
			rep := u.run(t)
			for _, sec := range []string{"a", "b"} {
				// Part of a period is cut off at either end: 1/(periods heard) at most.
				near(t, get(t, rep, "flicker", sec, 1, 0), depth/math.Sqrt2, depth/math.Sqrt2*math.Max(0.02, 0.25/(9*hz)))
			}
		}
	}
}

// Noise alone is no flicker, and what it adds to a real one is taken off.
func TestFlickerInNoise(t *testing.T) {
	for seed := range uint64(4) {
		u := &unsteady{rate: 32000, tape: tapeOf(20, 315, 1000, 10000), tracks: 2, seed: seed, noise: unsteadyAmp / math.Sqrt2 * math.Pow(10, -30.0/20)}
		u.gainDB = func(k, _ int) func(float64) float64 {
			return func(t float64) float64 { return float64(k) * 0.2 * math.Sqrt2 * math.Sin(2*math.Pi*3*t) }
		}
		rep := u.run(t)
		for _, sec := range []string{"a", "b", "c"} {
			if r := get(t, rep, "flicker", sec, 1, 0); r.Refused != "" || r.Lo > 0.02 || r.Hi > 0.12 {
				t.Errorf("seed %d, %s: flicker of a steady tone %.3f (%.3f to %.3f)", seed, sec, r.Value, r.Lo, r.Hi)
			}
			near(t, get(t, rep, "flicker", sec, 2, 0), 0.2, 0.03)
		}
	}
}

func TestFlickerRefusals(t *testing.T) {
	u := &unsteady{rate: 16000, tape: tapeOf(3, 315, 1000, 0), tracks: 2, noise: 1e-4}
	u.gainDB = func(k, _ int) func(float64) float64 { return func(float64) float64 { return -200 * float64(k) } }
	rep := u.run(t)
	wantRefused(t, get(t, rep, "flicker", "a", 1, 0), "too short")
	wantRefused(t, get(t, rep, "flicker", "a", 2, 0), "tone absent")
	wantRefused(t, get(t, rep, "dropouts", "a", 2, 0), "tone absent")
	wantRefused(t, get(t, rep, "flicker_treble", "", 1, 0), "two tones")
	wantRefused(t, get(t, rep, "flicker_coherence", "a", 0, 0), "no two tracks")
	for _, r := range rep.Measures {
		if strings.HasPrefix(r.Name, "flicker") && r.Section == "c" {
			t.Errorf("%s of a silent section", r.Name)
		}
	}
}

// The tape of four tones whose courses differ by track:
// 0 steady, 1 contact, 2 all-band, 3 both.
func causes(seed uint64) *unsteady {
	r := rand.New(rand.NewPCG(seed, 5))
	u := &unsteady{rate: 32000, tape: tapeOf(12, 315, 1000, 6300, 12500), tracks: 4, seed: seed, noise: unsteadyAmp / math.Sqrt2 * math.Pow(10, -50.0/20)}
	u.gainDB = func(k, i int) func(float64) float64 {
		a, b := gaussian(r, 0.8, 5, 12), gaussian(r, 0.8, 5, 12)
		x := u.tape.Sections[i].ToneHz / 10000
		all, treble := []float64{0, 0.02, 1, 0.7}[k], []float64{0.05, 1.2, 0.1, 1.6}[k]
		return func(t float64) float64 { return all*a(t) + treble*x*b(t) }
	}
	return u
}

func TestContactIsToldFromCuts(t *testing.T) {
	for seed := range uint64(3) {
		rep := causes(seed).run(t)
		near(t, get(t, rep, "flicker_treble", "", 2, 0), 1.2, 0.25)
		near(t, get(t, rep, "flicker_all_band", "", 3, 0), 1, 0.2)
		near(t, get(t, rep, "flicker_all_band", "", 4, 0), 0.7, 0.2)
		near(t, get(t, rep, "flicker_treble", "", 4, 0), 1.6, 0.45)
		wantWarning(t, get(t, rep, "flicker_treble", "", 2, 0), "bass steady, treble flickers")
		wantWarning(t, get(t, rep, "flicker_all_band", "", 3, 0), "bass and treble vary alike")
		wantWarning(t, get(t, rep, "flicker_all_band", "", 4, 0), "two causes")
		for _, name := range []string{"flicker_treble", "flicker_all_band"} {
			if r := get(t, rep, name, "", 1, 0); len(r.Warnings) > 0 || r.Value > 0.2 {
				t.Errorf("seed %d: %s of a steady track %.3f, warnings %q", seed, name, r.Value, r.Warnings)
			}
		}
	}
}

// Tracks that share part of their course: correlation of the shared part.
func shared(r *rand.Rand, tracks int, seconds float64, rho, depth float64) []func(float64) float64 {
	common := gaussian(r, 0.8, 6, seconds)
	out := make([]func(float64) float64, tracks)
	for k := range out {
		own := gaussian(r, 0.8, 6, seconds)
		out[k] = func(t float64) float64 {
			return depth * (math.Sqrt(rho)*common(t) + math.Sqrt(1-rho)*own(t))
		}
	}
	return out
}

func TestTracksTogetherAndApart(t *testing.T) {
	run := func(depth []float64, rho float64) Report {
		r := rand.New(rand.NewPCG(8, 8))
		u := &unsteady{rate: 32000, tape: tapeOf(15, 315, 10000), tracks: len(depth), seed: 2, noise: unsteadyAmp * 1e-3}
		var now []func(float64) float64
		u.gainDB = func(k, _ int) func(float64) float64 {
			if k == 0 {
				now = shared(r, len(depth), 15, rho, 1)
			}
			f := now[k]
			return func(t float64) float64 { return depth[k] * f(t) }
		}
		return u.run(t)
	}
	words := func(rep Report, track int) string {
		return strings.Join(get(t, rep, "flicker", "b", track, 0).Warnings, "\n")
	}
	expect := func(name string, rep Report, tracks int, part string, on ...int) {
		t.Helper()
		for k := 1; k <= tracks; k++ {
			want := false
			for _, o := range on {
				want = want || o == k
			}
			if got := strings.Contains(words(rep, k), part); got != want {
				t.Errorf("%s: track %d says %q: want %q there: %v", name, k, words(rep, k), part, want)
			}
		}
	}
	all := run([]float64{0.6, 0.6, 0.8, 0.6, 1}, 0.9)
	expect("together", all, 5, "all tracks move together", 1, 2, 3, 4, 5)
	near(t, get(t, all, "flicker_coherence", "b", 2, 3), 0.9, 0.1)
	near(t, get(t, all, "flicker_coherence", "b", 1, 5), 0.9, 0.1)
	apart := run([]float64{0.6, 0.6, 0.8, 0.6, 1}, 0)
	expect("apart", apart, 5, "together")
	near(t, get(t, apart, "flicker_coherence", "a", 4, 5), 0, 0.4)
	edges := run([]float64{0.9, 0.1, 0.1, 0.1, 0.8}, 0)
	expect("edges", edges, 5, "only edge tracks", 1, 5)
	one := run([]float64{0.1, 0.1, 1.2, 0.1, 0.1}, 0)
	expect("one", one, 5, "this track flickers far more", 3)
}

// TestFlickerCoverage: the intervals of flicker, of its two parts, of the correlation
// and of the drop-outs' rate hold the population's values in 92 to 98 % of 500 runs.
// The levels are Gaussian processes of known r.m.s.; drop-outs come as a Poisson
// process.
func TestFlickerCoverage(t *testing.T) {
	runs, long := coverRuns(24, 12)
	tallies := covered(runs, 3000, func(seed uint64, count func(string, Result, float64)) {
		r := rand.New(rand.NewPCG(seed, 77))
		const all, treble, rho = 0.5, 0.8, 0.5
		u := &unsteady{rate: 32000, tape: tapeOf(12, 315, 1000, 5000, 10000), tracks: 2, seed: seed, noise: unsteadyAmp / math.Sqrt2 * math.Pow(10, -35.0/20)}
		lo, hi := 0.7, 3+17*r.Float64()
		var a, b []func(float64) float64
		u.gainDB = func(k, i int) func(float64) float64 {
			if k == 0 {
				a, b = nil, nil
				ca, cb := gaussian(r, lo, hi, 12), gaussian(r, lo, hi, 12)
				for range 2 {
					oa, ob := gaussian(r, lo, hi, 12), gaussian(r, lo, hi, 12)
					a = append(a, func(t float64) float64 { return math.Sqrt(rho)*ca(t) + math.Sqrt(1-rho)*oa(t) })
					b = append(b, func(t float64) float64 { return math.Sqrt(rho)*cb(t) + math.Sqrt(1-rho)*ob(t) })
				}
			}
			fa, fb, x := a[k], b[k], u.tape.Sections[i].ToneHz/10000
			return func(t float64) float64 { return all*fa(t) + treble*x*fb(t) }
		}
		m, f := u.render()
		rep, err := measureTape(context.Background(), []Source{m.source("x")}, Options{Tape: u.tape, Geometry: heads(2)}, known(f))
		if err != nil {
			t.Error(err)
			return
		}
		for i, sec := range u.tape.Sections {
			truth := math.Hypot(all, treble*sec.ToneHz/10000)
			count(fmt.Sprintf("flicker %g Hz", sec.ToneHz), get(t, rep, "flicker", sec.Name, 1, 0), truth)
			if i != 1 {
				count(fmt.Sprintf("coherence %g Hz", sec.ToneHz), get(t, rep, "flicker_coherence", sec.Name, 1, 2), rho)
			}
		}
		count("all-band part", get(t, rep, "flicker_all_band", "", 1, 0), all)
		count("treble part", get(t, rep, "flicker_treble", "", 2, 0), treble)
	})
	tallies.check(t, long)
}

// covered runs f with seeds from the first on, on all processors, and counts how often
// intervals hold the truth.
func covered(runs int, first uint64, f func(seed uint64, count func(string, Result, float64))) *coveredTallies {
	c := &coveredTallies{of: map[string]*tally{}, first: first}
	var wg sync.WaitGroup
	seeds := make(chan uint64)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for seed := range seeds {
				f(seed, c.count)
			}
		})
	}
	for i := range runs {
		seeds <- first + uint64(i)
	}
	close(seeds)
	wg.Wait()
	return c
}

type coveredTallies struct {
	mu      sync.Mutex
	of      map[string]*tally
	refused []string
	first   uint64
	below   map[string]int
}

func (c *coveredTallies) count(name string, r Result, truth float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.of[name] == nil {
		c.of[name] = &tally{}
	}
	c.of[name].all++
	switch {
	case r.Refused != "":
		c.refused = append(c.refused, name+": "+r.Refused)
	case r.Lo <= truth && truth <= r.Hi:
		c.of[name].hit++
	case r.Hi < truth:
		if c.below == nil {
			c.below = map[string]int{}
		}
		c.below[name]++
	}
}

func (c *coveredTallies) check(t *testing.T, long bool) {
	t.Helper()
	if len(c.refused) > 0 {
		t.Errorf("%d refused, first %s", len(c.refused), c.refused[0])
	}
	for name, k := range c.of {
		got := float64(k.hit) / float64(k.all)
		lo, hi := 0.92, 0.98
		if !long { // fewer runs scatter more
			lo, hi = 0.95-3.3*math.Sqrt(0.95*0.05/float64(k.all)), 1.0
		}
		t.Logf("%-24s %.3f of %d (%d below the truth)", name, got, k.all, c.below[name])
		if got < lo || got > hi {
			t.Errorf("%s: %.3f of %d intervals hold the truth, want %.3f to %.3f (seeds from %d)", name, got, k.all, lo, hi, c.first)
		}
	}
}
