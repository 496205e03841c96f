package testtape

import (
	"io"
	"math"
	"math/rand/v2"

	"headstack/dsp"
)

// piece is a stretch of a synthetic capture.
type piece struct {
	section int     // index in the tape, -1 for anything else
	hz      float64 // as stated; speed is applied by the synthesiser
	db      float64 // dBFS at gain 0
	seconds float64 // at the capture's speed
	kind    string  // "" tone or silence; "leader", "voice", "burst", "chord"
}

// scene says how a tape is played into a capture.
type scene struct {
	rate     float64
	channels int
	ratio    float64
	pieces   []piece

	noiseDB  float64 // dBFS white noise, r.m.s. of a full-scale sine = 0
	humDB    float64 // 0 for none
	humHz    float64
	flutter  float64 // peak, at 7 Hz
	gainDB   []float64
	dead     []bool
	dullDB   float64 // loss at 12.5 kHz, rising with frequency squared
	dropouts int
	thirdDB  float64 // third harmonic re the tone, 0 for none
	seed     uint64
	// silenceTol is how much further silence may be off: leader that sounds the
	// same cannot be told from it.
	silenceTol float64
}

const refDBFS = -12.

// scenePieces plays sections [from, to) of a tape with gaps of gap seconds.
func scenePieces(t *Tape, ratio, gap float64, skip ...int) []piece {
	var list []piece
next:
	for i, s := range t.Sections {
		for _, k := range skip {
			if k == i {
				continue next
			}
		}
		list = append(list, piece{section: i, hz: s.ToneHz, db: refDBFS + s.LevelDB, seconds: s.Seconds / ratio})
		if gap > 0 {
			list = append(list, piece{section: -1, kind: "leader", seconds: gap})
		}
	}
	return list
}

// truth is where each section lies, in seconds.
func (sc *scene) truth(n int) []Located {
	list := make([]Located, n)
	at := 0.
	for _, p := range sc.pieces {
		if p.section >= 0 {
			list[p.section] = Located{Index: p.section, Found: true, StartS: at, EndS: at + p.seconds}
		}
		at += p.seconds
	}
	return list
}

// planar is a stream over samples in memory that hands them out in odd sizes.
type planar struct {
	rate float64
	data [][]float64
	at   int
	rng  *rand.Rand
}

func (p *planar) Channels() int       { return len(p.data) }
func (p *planar) SampleRate() float64 { return p.rate }
func (p *planar) Read(dst [][]float64) (int, error) {
	left := len(p.data[0]) - p.at
	if left == 0 {
		return 0, io.EOF
	}
	n := min(left, len(dst[0]))
	if n > 1 {
		n = 1 + p.rng.IntN(n)
	}
	for c := range dst {
		copy(dst[c][:n], p.data[c][p.at:p.at+n])
	}
	p.at += n
	return n, nil
}

func amplitude(db float64) float64 { return math.Pow(10, db/20) }

// render plays the scene.
func (sc *scene) render() dsp.Stream {
	rng := rand.New(rand.NewPCG(sc.seed, 0x7a9e))
	total := 0.
	for _, p := range sc.pieces {
		total += p.seconds
	}
	n := int(total * sc.rate)
	clean := make([]float64, n)
	tapeNoise := make([]bool, n) // true where tape with its noise runs
	at := 0.
	for _, p := range sc.pieces {
		lo, hi := int(at*sc.rate), min(n, int((at+p.seconds)*sc.rate))
		at += p.seconds
		sc.play(p, clean[lo:hi], rng)
		for i := lo; i < hi; i++ {
			tapeNoise[i] = p.kind != "leader"
		}
	}
	for range sc.dropouts {
		lo := rng.IntN(n)
		for i := lo; i < min(n, lo+int(0.06*sc.rate)); i++ {
			clean[i] *= 0.1
		}
	}
	p := &planar{rate: sc.rate, rng: rng}
	sigma := amplitude(sc.noiseDB) / math.Sqrt2
	if sc.noiseDB == 0 {
		sigma = 0
	}
	for c := range sc.channels {
		x := make([]float64, n)
		g := 1.
		if sc.gainDB != nil {
			g = amplitude(sc.gainDB[c])
		}
		if sc.dead != nil && sc.dead[c] {
			g = 0
		}
		hum := 0.
		if sc.humDB != 0 {
			hum = amplitude(sc.humDB)
		}
		w := 2 * math.Pi * sc.humHz / sc.rate
		for i := range x {
			s := sigma
			if !tapeNoise[i] {
				s *= 0.25
			}
			x[i] = g*clean[i] + s*rng.NormFloat64()
			if hum > 0 {
				ph := w * float64(i)
				x[i] += hum * (math.Sin(ph) + 0.5*math.Sin(2*ph) + 0.5*math.Sin(3*ph+1))
			}
		}
		p.data = append(p.data, x)
	}
	return p
}

// play writes one piece.
func (sc *scene) play(p piece, x []float64, rng *rand.Rand) {
	dt := 1 / sc.rate
	switch p.kind {
	case "leader":
	case "voice":
		// A pitch that glides, with harmonics, in syllables.
		phase, f0 := 0., 120.
		gain := amplitude(p.db)
		for i := range x {
			t := float64(i) * dt
			f0 += (110 + 40*math.Sin(2*math.Pi*0.7*t) - f0) * 0.001
			phase += 2 * math.Pi * f0 * dt
			env := math.Max(0, math.Sin(2*math.Pi*2.3*t))
			if env == 0 {
				continue
			}
			s, c := math.Sincos(phase)
			g, before, now := gain, 0., s
			for range 20 { // sin(hx) by recurrence: this runs a lot
				g *= 0.891 // a decibel less for each harmonic
				x[i] += env * g * now
				before, now = now, 2*c*now-before
			}
			x[i] += env * 0.3 * gain * rng.NormFloat64()
		}
	case "burst":
		gain := amplitude(p.db)
		for i := range x {
			x[i] = gain * rng.NormFloat64()
		}
	case "chord":
		// Notes of random pitch, each a fifth of a second to a second, three at a
		// time: music, roughly.
		for range 3 {
			for i := 0; i < len(x); {
				d := int((0.2 + 0.8*rng.Float64()) * sc.rate)
				f := 110 * math.Pow(2, float64(rng.IntN(48))/12)
				g0, decay := amplitude(p.db-6), math.Exp(-2*dt)
				for j := i; j < min(len(x), i+d); j++ {
					// Harmonics by the recurrence of sin(hx): this runs a lot.
					s, c := math.Sincos(2 * math.Pi * f * float64(j-i) * dt)
					g := g0
					g0 *= decay
					before, now := 0., s
					for range 5 {
						x[j] += g * now
						g *= 0.5
						before, now = now, 2*c*now-before
					}
				}
				i += d
			}
		}
	default:
		if p.hz == 0 {
			return
		}
		f := p.hz * sc.ratio
		a := amplitude(p.db - sc.dullDB*(f/12500)*(f/12500))
		if f > 0.48*sc.rate {
			return
		}
		dev := 0.
		if sc.flutter > 0 {
			dev = sc.flutter * f / 7
		}
		third := 0.
		if sc.thirdDB != 0 {
			third = amplitude(sc.thirdDB)
		}
		ph0 := rng.Float64() * 2 * math.Pi
		for i := range x {
			t := float64(i) * dt
			ph := 2*math.Pi*f*t + ph0
			if dev > 0 {
				ph += dev * math.Sin(2*math.Pi*7*t)
			}
			x[i] = a * math.Sin(ph)
			if third > 0 && 3*f < 0.48*sc.rate {
				x[i] += a * third * math.Sin(3*ph)
			}
		}
	}
}
