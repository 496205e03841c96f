package testtape

import (
	"math"
	"math/rand/v2"
	"runtime"
	"sync"
	"testing"
)

// inParallel runs f for seeds 0 to n-1 and sums what it counts; whole is how
// often both counts were equal.
func inParallel(n uint64, f func(seed uint64) (there, right int)) (there, right, whole int) {
	var mu sync.Mutex
	var wg sync.WaitGroup
	next := make(chan uint64)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for seed := range next {
				a, b := f(seed)
				mu.Lock()
				there, right = there+a, right+b
				if a == b {
					whole++
				}
				mu.Unlock()
			}
		})
	}
	for seed := range n {
		next <- seed
	}
	close(next)
	wg.Wait()
	return there, right, whole
}

// band plays music, roughly.
type players struct {
	rng  *rand.Rand
	rate float64
	x    []float64
}

func (b *players) pick(lo, hi float64) float64 { return lo + (hi-lo)*b.rng.Float64() }

// note adds a tone with harmonics that fall by `fall` each, decaying by `decay`
// per second, with soft ends.
func (b *players) note(at, seconds, hz, db float64, harmonics int, fall, decay float64) {
	lo := int(at * b.rate)
	n := int(seconds * b.rate)
	ramp := int(0.02 * b.rate)
	shrink := math.Exp(-decay / b.rate)
	env := amplitude(db)
	for harmonics > 1 && hz*float64(harmonics) > 0.45*b.rate {
		harmonics--
	}
	w := 2 * math.Pi * hz / b.rate
	for j := 0; j < n && lo+j < len(b.x); j++ {
		s, c := math.Sincos(w * float64(j))
		g := env * min(1, float64(j)/float64(ramp), float64(n-j)/float64(ramp))
		env *= shrink
		before, now := 0., s
		for range harmonics {
			b.x[lo+j] += g * now
			g *= fall
			before, now = now, 2*c*now-before
		}
	}
}

// pitch is a note of the tempered scale.
func (b *players) pitch(tuning float64) float64 {
	return tuning * math.Pow(2, float64(b.rng.IntN(60)-36)/12)
}

// chords change every 0.2 to 1 s and decay.
func (b *players) chords(seconds, db, tuning float64) {
	for at := 0.; at < seconds; {
		d := b.pick(0.2, 1)
		for range 2 + b.rng.IntN(3) {
			b.note(at, d, b.pitch(tuning), db, 6, b.pick(0.3, 0.7), b.pick(0.5, 6))
		}
		at += d
	}
}

// organ holds notes for 1 to 8 s. Near is how often a note lies within the
// search range of one of the tape's tones.
func (b *players) organ(seconds, db, tuning float64, tones []float64, near float64) {
	for at := 0.; at < seconds; {
		d := b.pick(1, 8)
		for range 1 + b.rng.IntN(3) {
			hz := b.pitch(tuning)
			if b.rng.Float64() < near {
				hz = tones[b.rng.IntN(len(tones))] * b.pick(0.94, 1.06)
			}
			b.note(at, d, hz, db+b.pick(-6, 0), 1+b.rng.IntN(6), b.pick(0.1, 0.6), 0)
		}
		at += d
		if b.rng.IntN(3) == 0 {
			at += b.pick(0.1, 1)
		}
	}
}

// drums are noise bursts on a beat.
func (b *players) drums(seconds, db float64) {
	beat := b.pick(0.2, 0.6)
	for at := 0.; at < seconds; at += beat {
		g, decay := amplitude(db+b.pick(-10, 0)), math.Exp(-b.pick(8, 40)/b.rate)
		last := 0.
		dull := b.pick(0, 0.95)
		for i := int(at * b.rate); i < min(len(b.x), int((at+beat)*b.rate)); i++ {
			last = dull*last + (1-dull)*b.rng.NormFloat64()
			b.x[i] += g * last
			g *= decay
		}
	}
}

// pink noise: white noise through three one-pole filters. Source of the
// weights: from memory, a common economy approximation within 0.5 dB.
func (b *players) pink(db float64) {
	var p, q, r float64
	g := 0.1 * amplitude(db)
	for i := range b.x {
		w := b.rng.NormFloat64()
		p = 0.99765*p + w*0.0990460
		q = 0.96300*q + w*0.2965164
		r = 0.57000*r + w*1.0526913
		b.x[i] += g * (p + q + r + 0.1848*w)
	}
}

// speech: pulses of a gliding pitch and breath through three moving
// resonances, in syllables.
func (b *players) speech(seconds, db float64) {
	formants := []float64{500, 1500, 2500}
	state := make([][2]float64, len(formants))
	phase, t := 0., 0.
	pitch := b.pick(90, 220)
	target := append([]float64(nil), formants...)
	next := 0.
	g := 0.05 * amplitude(db)
	open := 1.
	for i := range min(len(b.x), int(seconds*b.rate)) {
		t += 1 / b.rate
		if t > next {
			next = t + b.pick(0.1, 0.3)
			target = []float64{b.pick(250, 850), b.pick(800, 2300), b.pick(2200, 3200)}
			open = float64(b.rng.IntN(4)) / 3
		}
		phase += pitch * (1 + 0.15*math.Sin(2*math.Pi*0.6*t)) / b.rate
		in := 0.05 * b.rng.NormFloat64()
		if phase >= 1 {
			phase--
			in += 3
		}
		sum := 0.
		for k := range formants {
			formants[k] += (target[k] - formants[k]) * 0.002
			s := &state[k]
			const r = 0.985
			y := in*open + 2*r*math.Cos(2*math.Pi*formants[k]/b.rate)*s[0] - r*r*s[1]
			s[1], s[0] = s[0], y
			sum += y
		}
		b.x[i] += g * sum
	}
}

// music renders 60 s in two channels; what plays depends on the seed.
func music(seed uint64, tones []float64) *planar {
	const seconds = 60
	rng := rand.New(rand.NewPCG(seed, 0x0b5e))
	b := &players{rng: rng, rate: 32000}
	b.x = make([]float64, seconds*int(b.rate))
	tuning := b.pick(432, 446)
	kind := seed % 5
	if kind == 0 || kind == 1 {
		b.chords(seconds, -20, tuning)
	}
	if kind == 1 || kind == 2 {
		b.drums(seconds, -15)
	}
	if kind == 2 || kind == 3 {
		b.speech(seconds, -15)
	}
	if kind == 3 || kind == 4 {
		b.organ(seconds, -20, tuning, tones, b.rng.Float64())
	}
	if kind == 0 {
		b.organ(seconds, -30, tuning, tones, 0)
	}
	b.pink(b.pick(-70, -35))
	other := make([]float64, len(b.x))
	g := b.pick(0.3, 1)
	for i, v := range b.x {
		other[i] = g*v + 1e-4*rng.NormFloat64()
	}
	return &planar{rate: b.rate, rng: rng, data: [][]float64{b.x, other}}
}

// Not one section may be found in music, speech and noise.
func TestFindMusic(t *testing.T) {
	n := uint64(20)
	if long() {
		n = 200
	} else if testing.Short() {
		n = 10
	}
	tapes := wornTapes(t)
	_, _, clean := inParallel(n, func(seed uint64) (int, int) {
		tape := tapes[seed/5%uint64(len(tapes))]
		f, err := Find(t.Context(), music(seed, distinctTones(tape)), tape)
		if err != nil {
			t.Error(err)
		}
		found := 0
		for i, s := range f.Sections {
			if s.Found {
				found++
				t.Logf("seed %d: section %d of %s (%g Hz, %g s) found at %.2f to %.2f s, speed %.4f", seed, i, tape.Name, tape.Sections[i].ToneHz, tape.Sections[i].Seconds, s.StartS, s.EndS, f.SpeedRatio)
			}
		}
		return 0, found
	})
	t.Logf("seeds 0 to %d: nothing found in %d of %d", n-1, clean, n)
	if clean < int(n) {
		t.Errorf("sections were found in %d of %d captures of music", int(n)-clean, n)
	}
}
