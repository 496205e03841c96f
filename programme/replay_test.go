package programme

import (
	"io"
	"math"
	"math/rand/v2"

	"headstack/dsp"
)

// replay is a signal as a simple machine plays it back: at another speed, with cuts,
// noise, hum, drop-outs, dead channels. Speed is by the rate at which the signal is
// made: exact.
type replay struct {
	src      dsp.Stream
	rate     float64
	lead     int64 // frames of blank tape before
	tail     int64 // and after
	skip     int64 // frames left out at the front
	total    int64 // frames handed out
	noise    float64
	hum      float64
	gain     []float64 // per channel; 0 dead
	dropouts [][]hole
	dull     []float64 // coefficient of a first-order low pass, 0 none
	state    []float64
	at       int64
	rng      *rand.Rand
}

type hole struct{ from, to int64 }

func (r *replay) Channels() int       { return r.src.Channels() }
func (r *replay) SampleRate() float64 { return r.rate }

func (r *replay) Read(dst [][]float64) (int, error) {
	for r.skip > 0 {
		n := int(min(r.skip, int64(len(dst[0]))))
		view := make([][]float64, len(dst))
		for c := range dst {
			view[c] = dst[c][:n]
		}
		n, err := r.tape(view)
		if err != nil {
			return 0, err
		}
		r.skip -= int64(n)
	}
	if r.total == 0 {
		return 0, io.EOF
	}
	view := make([][]float64, len(dst))
	for c := range dst {
		view[c] = dst[c][:min(int64(len(dst[c])), r.total)]
	}
	n, err := r.tape(view)
	r.total -= int64(n)
	for c := range view {
		for i := range view[c][:n] {
			t := float64(r.at+int64(i)) / r.rate
			x := view[c][i] * r.gain[c]
			for _, h := range r.dropouts[c] {
				if r.at+int64(i) >= h.from && r.at+int64(i) < h.to {
					x *= 0.05
				}
			}
			if r.dull[c] > 0 {
				r.state[c] += r.dull[c] * (x - r.state[c])
				x = r.state[c]
			}
			view[c][i] = x + r.noise*r.rng.NormFloat64() + r.hum*math.Sin(2*math.Pi*50*t)
		}
	}
	r.at += int64(n)
	return n, err
}

// tape reads blank tape, signal, blank tape.
func (r *replay) tape(dst [][]float64) (int, error) {
	zeros := func(left *int64) int {
		n := int(min(*left, int64(len(dst[0]))))
		for c := range dst {
			clear(dst[c][:n])
		}
		*left -= int64(n)
		return n
	}
	if r.lead > 0 {
		return zeros(&r.lead), nil
	}
	n, err := r.src.Read(dst)
	if err == io.EOF && r.tail > 0 {
		return zeros(&r.tail), nil
	}
	return n, err
}

// play makes a replay of round 0 of p at a speed ratio, lead seconds of blank tape
// before it, from cut seconds on, seconds long (0: to the end with 3 s of blank tape).
func play(p *Programme, round int, rate, ratio, lead, cut, seconds float64, seed uint64) *replay {
	src, err := p.Signal(round, rate/ratio)
	if err != nil {
		panic(err)
	}
	n := src.Channels()
	r := &replay{
		src: src, rate: rate, lead: int64(lead * rate), tail: int64(3 * rate), skip: int64(cut * rate),
		noise: math.Pow(10, -60./20) / math.Sqrt2, gain: make([]float64, n), dropouts: make([][]hole, n),
		dull: make([]float64, n), state: make([]float64, n), rng: rand.New(rand.NewPCG(seed, 0x9e)),
	}
	r.total = int64((lead + p.Seconds()/ratio + 3 - cut) * rate)
	if seconds > 0 {
		r.total = min(r.total, int64(seconds*rate))
	}
	for c := range r.gain {
		r.gain[c] = 1
	}
	return r
}
