package dsp

import (
	"fmt"
	"math"
	"slices"
	"sync"
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

// stage1Rate is the rate in hertz above which the output rate is counted from a
// first whole division.
const stage1Rate = 6000

// Demodulator turns a real signal into the complex amplitude of what lies
// around a carrier, at a low rate:
//
//	z(t) = lowpass[ 2·x(t)·e^{−2πi f t} ]
//
// so that x = A·cos(2πft + φ) gives z = A·e^{iφ}, with t counted from the first
// sample fed. Two linear-phase filters decimate in turn. The first has complex
// taps, so nothing is computed at the input rate but the output it keeps, and
// rejects only what would fold onto the band; the second shapes the band and
// undoes the droop of the first. The first output needs a whole filter length;
// there are no half-filled ones.
type Demodulator struct {
	in     frames
	re, im []float64 // first stage: taps times 2·e^{−2πi f k}
	part   []complex128

	// The taps turn the carrier from the first sample of a stretch on; the
	// stretch's own start adds the rest: exact every len(spin) intermediate
	// samples, and from there by a table.
	turns, offset float64 // cycles of the carrier per intermediate sample and before the first
	next          int64   // index of the next intermediate sample
	spin          []complex128
	base          complex128

	taps         []float64 // second stage
	d2           int
	midRe, midIm []float64
	out          []complex128
	expected     int // outputs, 0 not known
	rate, first  float64
}

// NewDemodulator returns a demodulator for input at sampleRate. It panics when
// the band does not fit below half the sampleRate or its edges are not in order.
func NewDemodulator(sampleRate float64, b Band) *Demodulator {
	return demodulatorFrom(sampleRate, 0, b)
}

// demodulatorFrom is NewDemodulator for a stream whose first sample stands at
// start seconds. Designs are kept, since the tracks of a tape share them.
func demodulatorFrom(sampleRate, start float64, b Band) *Demodulator {
	key := demodKey{sampleRate, start, b}
	designs.Lock()
	defer designs.Unlock()
	d, ok := designs.of[key]
	if !ok {
		d = designDemodulator(sampleRate, start, b)
		if len(designs.of) >= 64 {
			clear(designs.of)
		}
		designs.of[key] = d
	}
	fresh := *d // what the slices hold so far is never changed
	return &fresh
}

type demodKey struct {
	sampleRate, start float64
	band              Band
}

// designs holds demodulators that have heard nothing.
var designs = struct {
	sync.Mutex
	of map[demodKey]*Demodulator
}{of: map[demodKey]*Demodulator{}}

func designDemodulator(sampleRate, start float64, b Band) *Demodulator {
	if !(b.PassHz > 0 && b.StopHz > b.PassHz && b.CarrierHz > 0 && b.CarrierHz < sampleRate/2) {
		panic(fmt.Sprintf("dsp: no demodulator for %+v at %g Hz", b, sampleRate))
	}
	carrier := b.CarrierHz / sampleRate
	whole := decimation(sampleRate, b)
	d1, h1, h2 := twoStages(whole, b.PassHz/sampleRate, b.StopHz/sampleRate, demodAttenDB)
	d := &Demodulator{taps: h2, d2: whole / d1, turns: carrier * float64(d1), offset: b.CarrierHz * start, spin: make([]complex128, 64)}
	d.re, d.im = fours(make([]float64, len(h1))), fours(make([]float64, len(h1)))
	for k, h := range h1 {
		z := turned(carrier * float64(k))
		d.re[k], d.im[k] = 2*h*real(z), 2*h*imag(z)
	}
	for m := range d.spin {
		d.spin[m] = turned(d.turns * float64(m))
	}
	d.in = frames{size: len(d.re), step: d1}
	d.rate = sampleRate / float64(whole)
	d.first = start + (float64(len(h1)-1)/2+float64(len(h2)-1)/2*float64(d1))/sampleRate
	return d
}

// decimation is the whole factor between input and output rate. The output
// keeps PassHz clean when what folds back lands above it.
func decimation(sampleRate float64, b Band) int {
	d1 := max(1, int(sampleRate/math.Max(stage1Rate, 4*b.StopHz)))
	return d1 * max(1, int(sampleRate/float64(d1)/(b.PassHz+b.StopHz)))
}

// turned is e^{−2πi·turns}.
func turned(turns float64) complex128 {
	s, c := math.Sincos(-2 * math.Pi * (turns - math.Floor(turns)))
	return complex(c, s)
}

// Rate is the output rate in hertz.
func (d *Demodulator) Rate() float64 { return d.rate }

// Start is the time of the first output in seconds after the first sample fed:
// the filters' common delay.
func (d *Demodulator) Start() float64 { return d.first }

// Expect says how many seconds will be fed before the output is drained: room for them
// is then made at once, when the first samples come, and not grown into. It changes no
// result.
func (d *Demodulator) Expect(seconds float64) { d.expected = int(seconds*d.rate) + 1 }

// Feed takes the next samples and appends to the output what they complete.
func (d *Demodulator) Feed(x []float64) {
	d.in.feed(x, func(span []float64, count int) {
		if cap(d.part) < count {
			d.part = make([]complex128, count)
		}
		part := d.part[:count]
		slide(part, span, d.in.step, d.re, d.im)
		d.unspin(part)
	})
	d.second()
}

// unspin turns the carrier of intermediate samples back to where it stood at the first
// one, and keeps them.
func (d *Demodulator) unspin(part []complex128) {
	for len(part) > 0 {
		k := int(d.next % int64(len(d.spin)))
		if k == 0 {
			d.base = turned(d.turns*float64(d.next) + d.offset)
		}
		n := min(len(part), len(d.spin)-k)
		re, im := more(&d.midRe, n), more(&d.midIm, n)
		base, spin := d.base, d.spin[k:k+n]
		for i, z := range part[:n] {
			z *= base * spin[i]
			re[i], im[i] = real(z), imag(z)
		}
		d.next += int64(n)
		part = part[n:]
	}
}

// more makes x longer by n and returns what was added.
func more(x *[]float64, n int) []float64 {
	*x = slices.Grow(*x, n)[:len(*x)+n]
	return (*x)[len(*x)-n:]
}

// second runs the low-rate filter over the intermediate samples.
func (d *Demodulator) second() {
	if d.out == nil && d.expected > 0 {
		d.out = make([]complex128, 0, d.expected)
	}
	n := len(d.taps)
	pos := 0
	for ; pos+n <= len(d.midRe); pos += d.d2 {
		re, im := dot2(d.taps, d.midRe[pos:pos+n], d.midIm[pos:pos+n])
		d.out = append(d.out, complex(re, im))
	}
	if pos > 0 {
		d.midRe = d.midRe[:copy(d.midRe, d.midRe[pos:])]
		d.midIm = d.midIm[:copy(d.midIm, d.midIm[pos:])]
	}
}

// Output returns all complex amplitudes not yet drained, in units of the
// input's peak. The slice belongs to the demodulator.
func (d *Demodulator) Output() []complex128 { return d.out }

// Drain returns the outputs not yet drained and forgets them, so that memory
// stays bounded. The slice is good until the next Feed.
func (d *Demodulator) Drain() []complex128 {
	out := d.out
	d.out = d.out[:0]
	return out
}
