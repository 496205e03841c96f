package measure

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"
	"testing"

	"headstack/dsp"
)

// randomSpeed is noise-like flutter of r.m.s. 1: white noise through one pole at hi and
// one zero and pole at lo. It knows its own spectrum.
type randomSpeed struct{ lo, hi, rate, gain float64 }

func newRandomSpeed(lo, hi, rate float64) randomSpeed {
	s := randomSpeed{lo: lo, hi: hi, rate: rate, gain: 1}
	s.gain = 1 / math.Sqrt(s.power(func(float64) float64 { return 1 }))
	return s
}

// draw returns the process, sample by sample.
func (s randomSpeed) draw(r *rand.Rand) func() float64 {
	a, b := math.Exp(-2*math.Pi*s.hi/s.rate), math.Exp(-2*math.Pi*s.lo/s.rate)
	var l, h float64
	step := func() float64 {
		l = a*l + (1-a)*r.NormFloat64()
		h = b*h + (1-b)*l
		return s.gain * (l - h)
	}
	for range int(2 * s.rate / s.lo) {
		step()
	}
	return step
}

// power is the mean square through a filter whose squared gain is given: the integral
// of the spectrum of the recursion in draw.
func (s randomSpeed) power(gain2 func(hz float64) float64) float64 {
	a, b := math.Exp(-2*math.Pi*s.hi/s.rate), math.Exp(-2*math.Pi*s.lo/s.rate)
	const df = 0.01
	sum := 0.0
	for f := df / 2; f < math.Min(s.rate/2, 4000); f += df {
		z := 2 * math.Pi * f / s.rate
		low := (1 - a) * (1 - a) / (1 - 2*a*math.Cos(z) + a*a)
		// 1 − (1−b)/(1−b/z) = b(1 − 1/z)/(1 − b/z)
		high := b * b * (2 - 2*math.Cos(z)) / (1 - 2*b*math.Cos(z) + b*b)
		sum += s.gain * s.gain * low * high * gain2(f) * 2 / s.rate * df
	}
	return sum
}

// speedTruth are the population values of a process, in percent.
type speedTruth map[string]float64

func weightingPower(hz float64) float64 { return math.Pow(10, dsp.WeightingFlutter(hz)/10) }

// truthOf adds lines and noise of the given r.m.s.; the peak figures are those of a
// simulation of 600 s of the speed alone.
func truthOf(lines []flutterLine, s randomSpeed, rms float64, seed uint64) speedTruth {
	band := func(gain2 func(float64) float64) float64 {
		p := 0.0
		if rms > 0 {
			p = rms * rms * s.power(gain2)
		}
		for _, l := range lines {
			p += l.amp * l.amp / 2 * gain2(l.hz)
		}
		return 100 * math.Sqrt(p)
	}
	square := func(g func(float64) float64) func(float64) float64 {
		return func(f float64) float64 { return g(f) * g(f) }
	}
	t := speedTruth{
		"wow_flutter_rms": band(weightingPower),
		"wow_rms":         band(square(wowGain)),
		"flutter_rms":     band(square(flutterGain)),
	}
	t["flutter_unweighted_rms"] = math.Hypot(t["wow_rms"], t["flutter_rms"])
	const rate = 1000
	slow := newRandomSpeed(s.lo, s.hi, rate)
	draw := slow.draw(rand.New(rand.NewPCG(seed, 1)))
	x := make([]float64, 610*rate)
	for i := range x {
		if rms > 0 {
			x[i] = rms * draw()
		}
		for _, l := range lines {
			x[i] += l.amp * math.Sin(2*math.Pi*l.hz*float64(i)/rate+l.phase)
		}
	}
	dsp.NewFilterFlutter(rate).Process(x, x)
	t["wow_flutter_2sigma"] = 100 * dsp.TwoSigma(x[10*rate:])
	if len(lines) == 0 {
		t["wow_flutter_2sigma"] = 1.959964 * t["wow_flutter_rms"] // normal law
	}
	dsp.NewDetectorFlutter(rate).Process(x, x)
	t["wow_flutter_quasi_peak"] = 100 * dsp.TwoSigma(x[10*rate:])
	return t
}

// speedScenes are kinds of flutter for which the intervals must be right.
var speedScenes = []struct {
	name    string
	lines   func(r *rand.Rand) []flutterLine
	rms     float64 // of the noise-like part
	lo, hi  float64
	noiseDB float64
	jitter  float64 // r.m.s. of what track 1 has of its own
}{
	{"lines and noise", randomLines, 0.0006, 1, 10, -45, 0.0003},
	{"noise-like", nil, 0.001, 0.5, 20, -45, 0},
	{"random lines", randomLines, 0, 0.5, 20, -45, 0},
	{"small, in carrier noise", nil, 0.0001, 1, 30, -35, 0},
	{"one line in noise", func(r *rand.Rand) []flutterLine {
		return []flutterLine{{hz: 1.5 * math.Pow(40, r.Float64()), amp: 0.0008, phase: 6.28 * r.Float64()}}
	}, 0.0004, 1, 30, -45, 0},
}

func randomLines(r *rand.Rand) []flutterLine { return flutterOf(r, 0.001) }

// TestFlutterCoverage checks that the 95 % intervals hold the population values.
// HEADSTACK_LONG=full does 500 runs of each scene; =1 does 150 of the first two, which
// hold every measure, and 60 of each other.
func TestFlutterCoverage(t *testing.T) {
	list := speedScenes[:2]
	switch {
	case atLength():
		list = speedScenes
	case testing.Short():
		list = list[:1]
	}
	for i, sc := range list {
		runs, bar := coverRuns(10, 5)
		if i >= 2 && !bar {
			runs = min(runs, 60)
		}
		t.Run(sc.name, func(t *testing.T) {
			var common speedTruth
			if sc.lines == nil {
				// One long simulation for all runs: ten times as long, by averaging.
				common = speedTruth{}
				for k := range uint64(10) {
					for name, v := range truthOf(nil, newRandomSpeed(sc.lo, sc.hi, 16000), sc.rms, 900+k) {
						common[name] += v / 10
					}
				}
			}
			var mu sync.Mutex
			tallies := map[string]*tally{}
			bias := map[string]float64{}
			var wg sync.WaitGroup
			seeds := make(chan uint64)
			for range runtime.GOMAXPROCS(0) {
				wg.Go(func() {
					for seed := range seeds {
						r := rand.New(rand.NewPCG(seed, 5))
						f := &flutterScene{rate: 16000, seconds: 20, tone: 3150, tracks: 1, noiseDB: sc.noiseDB, seed: seed, driftPerS: 2e-6 * (r.Float64() - 0.5)}
						if sc.lines != nil {
							f.lines = sc.lines(r)
						}
						if sc.jitter > 0 {
							f.tracks, f.jitter = 2, [][]flutterLine{flutterOf(r, sc.jitter), nil}
						}
						noise := newRandomSpeed(sc.lo, sc.hi, f.rate)
						if sc.rms > 0 {
							f.random = func(r *rand.Rand, _ float64) func() float64 {
								draw := noise.draw(r)
								return func() float64 { return sc.rms * draw() }
							}
						}
						truth := common
						if truth == nil {
							truth = truthOf(f.lines, noise, sc.rms, seed)
						}
						m, fd, tp := f.render()
						rep, err := measureTape(context.Background(), []Source{m.source("flutter")}, Options{Tape: tp}, known(fd))
						if err != nil {
							t.Error(err)
							continue
						}
						mu.Lock()
						count := func(name string, track int, truth float64) {
							r := get(t, rep, name, "a", track, 0)
							if tallies[name] == nil {
								tallies[name] = &tally{}
							}
							tallies[name].all++
							if r.Refused == "" && r.Lo <= truth && truth <= r.Hi {
								tallies[name].hit++
							}
							if truth > 0 {
								bias[name] += r.Value/truth - 1
							}
						}
						for name, v := range truth {
							// Track 2 has the common speed alone, with or without a track beside it.
							count(name, f.tracks, v)
						}
						count("drift", 0, 100*60*f.driftPerS)
						if sc.jitter > 0 { // two tracks differ from their mean by half of it
							count("flutter_track_rms", 1, 100*sc.jitter/2)
						}
						if len(f.lines) == 1 {
							count("flutter_line", 0, 100*f.lines[0].amp)
						}
						mu.Unlock()
					}
				})
			}
			for i := range runs {
				seeds <- uint64(3000 + i)
			}
			close(seeds)
			wg.Wait()
			for name, c := range tallies {
				got := float64(c.hit) / float64(c.all)
				lo, hi := 0.92, 0.98
				switch {
				case c.all < 500:
					lo, hi = 0.95-4.5*math.Sqrt(0.95*0.05/float64(c.all)), 1.0
				case sc.rms == 0 || sc.noiseDB > -40 || name == "flutter_track_rms":
					// Lines alone have no chance in them, and noise is known better
					// than is claimed where it is truly flat: these may hold more.
					hi = 1
				}
				t.Logf("%-24s %.3f of %d, mean error %+.4f", name, got, c.all, bias[name]/float64(c.all))
				if got < lo || got > hi {
					t.Errorf("%s: %.3f of %d intervals hold the truth, want %.3f to %.3f (seeds from 3000)", name, got, c.all, lo, hi)
				}
			}
		})
	}
}
