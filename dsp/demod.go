package dsp

import (
	"fmt"
	"math"
)

// Band says what a [Demodulator] keeps around its carrier.
type Band struct {
	CarrierHz float64 // mixed down to 0
	PassHz    float64 // gain 1 within the ripple for offsets up to ±PassHz
	StopHz    float64 // rejected from ±StopHz on, StopHz above PassHz
}

// demodAttenDB is the depth of the stop bands and, the two stages together,
// the ripple of the pass band: 2·10^(−140/20) = 2·10⁻⁷. A strong neighbour
// 140 dB down lies below the noise of a 24-bit capture.
const demodAttenDB = 140

// stage1Rate is the lowest rate in hertz between the two stages; a power of
// ten above the widest band keeps the first filter short.
const stage1Rate = 6000

// Demodulator turns a real signal into the complex amplitude of what lies
// around a carrier, at a low rate:
//
//	z(t) = lowpass[ 2·x(t)·e^{−2πi f t} ]
//
// so that x = A·cos(2πft + φ) gives z = A·e^{iφ}, with t counted from the first
// sample fed. Two linear-phase filters decimate in turn: the first has complex
// taps, so nothing is computed at the input rate but the output it keeps. The
// first output needs a whole filter length; there are no half-filled ones.
type Demodulator struct {
	carrier  float64 // cycles per input sample
	d1, d2   int
	re, im   []float64 // first stage: taps times e^{+2πi f k}, newest sample first in time order
	taps     []float64 // second stage
	buf      []float64 // input not yet consumed
	bufStart int64     // index of buf[0]
	mid      []complex128
	out      []complex128
	rate     float64
	first    float64
}

// NewDemodulator returns a demodulator for input at sampleRate. It panics when
// the band does not fit below half the sampleRate or its edges are not in order.
func NewDemodulator(sampleRate float64, b Band) *Demodulator {
	if !(b.PassHz > 0 && b.StopHz > b.PassHz && b.CarrierHz > 0 && b.CarrierHz < sampleRate/2) {
		panic(fmt.Sprintf("dsp: no demodulator for %+v at %g Hz", b, sampleRate))
	}
	d := &Demodulator{carrier: b.CarrierHz / sampleRate}
	// The output keeps PassHz clean when what folds back lands above it.
	outRate := b.PassHz + b.StopHz
	d.d1 = max(1, int(sampleRate/math.Max(stage1Rate, 4*b.StopHz)))
	rate1 := sampleRate / float64(d.d1)
	d.d2 = max(1, int(rate1/outRate))
	var proto []float64
	if d.d1 == 1 {
		proto = []float64{1}
	} else {
		proto = LowPass(b.PassHz/sampleRate, math.Min(0.5, (rate1-b.StopHz)/sampleRate), demodAttenDB)
	}
	d.re, d.im = make([]float64, len(proto)), make([]float64, len(proto))
	for k, h := range proto {
		s, c := math.Sincos(-2 * math.Pi * math.Mod(d.carrier*float64(k), 1))
		d.re[k], d.im[k] = 2*h*c, 2*h*s
	}
	d.taps = LowPass(b.PassHz/rate1, math.Min(0.5, b.StopHz/rate1), demodAttenDB)
	d.rate = rate1 / float64(d.d2)
	d.first = (float64(len(proto)-1)/2 + float64(len(d.taps)-1)/2*float64(d.d1)) / sampleRate
	return d
}

// Rate is the output rate in hertz.
func (d *Demodulator) Rate() float64 { return d.rate }

// Start is the time of the first output in seconds after the first sample fed:
// the filters' common delay.
func (d *Demodulator) Start() float64 { return d.first }

// Feed takes the next samples and appends to the output what they complete.
func (d *Demodulator) Feed(x []float64) {
	d.buf = append(d.buf, x...)
	n := len(d.re)
	pos := 0
	for ; pos+n <= len(d.buf); pos += d.d1 {
		w := d.buf[pos : pos+n]
		re, im := dot2(w, d.re, d.im)
		// The taps carry e^{−2πi f k} from the first sample of the span on;
		// the span's own start adds the rest, from the exact sample index.
		turn := d.carrier * float64(d.bufStart+int64(pos))
		s, c := math.Sincos(-2 * math.Pi * (turn - math.Floor(turn)))
		d.mid = append(d.mid, complex(re*c-im*s, re*s+im*c))
	}
	d.bufStart += int64(pos)
	d.buf = append(d.buf[:0], d.buf[pos:]...)
	d.second()
}

// second runs the low-rate filter over the intermediate samples.
func (d *Demodulator) second() {
	n := len(d.taps)
	pos := 0
	for ; pos+n <= len(d.mid); pos += d.d2 {
		var re, im float64
		for k, z := range d.mid[pos : pos+n] {
			h := d.taps[k]
			re += h * real(z)
			im += h * imag(z)
		}
		d.out = append(d.out, complex(re, im))
	}
	d.mid = append(d.mid[:0], d.mid[pos:]...)
}

// Output returns all complex amplitudes so far, in units of the input's peak.
// The slice belongs to the demodulator.
func (d *Demodulator) Output() []complex128 { return d.out }
