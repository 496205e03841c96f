package dsp

import "fmt"

// decimatorAttenDB is the depth of a Decimator's stop band and its ripple.
const decimatorAttenDB = 120

// Decimator lowers the rate of a real stream by a whole factor, with linear
// phase. What it says of frequencies up to its pass band holds to 120 dB: gain
// 1 within 10⁻⁶, and nothing from above folds onto them. Between there and half
// the new rate it falls off, and what stands there may be folded.
type Decimator struct {
	stages      []*firStage
	rate, start float64
	out         []float64
}

// NewDecimator returns a decimator by factor for input at rate hertz that keeps
// 0 to passHz. It panics unless factor is at least 1 and passHz is above 0 and
// below half the new rate; the nearer it comes to that the longer the filter.
func NewDecimator(rate float64, factor int, passHz float64) *Decimator {
	if factor < 1 || !(passHz > 0 && passHz < rate/float64(factor)/2) {
		panic(fmt.Sprintf("dsp: no decimator from %g Hz by %d that keeps %g Hz", rate, factor, passHz))
	}
	pass := passHz / rate
	d1, h1, h2 := twoStages(factor, pass, 1/float64(factor)-pass, decimatorAttenDB)
	d := &Decimator{rate: rate / float64(factor)}
	d.start = (float64(len(h1)-1)/2 + float64(len(h2)-1)/2*float64(d1)) / rate
	if d1 > 1 {
		d.stages = append(d.stages, newFIRStage(h1, d1))
	}
	d.stages = append(d.stages, newFIRStage(h2, factor/d1))
	return d
}

// newFolding returns a decimator that keeps 0 to pass (cycles per sample) as one
// of attenDB does, and lets what cannot fold onto that band through: for use
// before filters that reject it. ok is false when pass is too wide for factor.
func newFolding(rate float64, factor int, pass, attenDB float64) (*Decimator, bool) {
	order, ok := nullOrder(factor, pass, attenDB)
	if !ok {
		return nil, false
	}
	h := nullFilter(factor, order, pass)
	c := undoDroop(factor, order, pass, pass*float64(factor))
	d := &Decimator{rate: rate / float64(factor), stages: []*firStage{newFIRStage(h, factor), newFIRStage(c, 1)}}
	d.start = (float64(len(h)-1)/2 + float64(len(c)-1)/2*float64(factor)) / rate
	return d, true
}

// Rate is the output rate in hertz.
func (d *Decimator) Rate() float64 { return d.rate }

// Start is the time of the first output in seconds after the first sample fed.
func (d *Decimator) Start() float64 { return d.start }

// Feed takes the next samples and appends to the output what they complete.
func (d *Decimator) Feed(x []float64) {
	last := len(d.stages) - 1
	for _, s := range d.stages[:last] {
		s.out = s.out[:0]
		s.out = s.feed(s.out, x)
		x = s.out
	}
	d.out = d.stages[last].feed(d.out, x)
}

// Output returns the outputs not yet drained. The slice belongs to the
// decimator and is good until the next Feed.
func (d *Decimator) Output() []float64 { return d.out }

// Drain returns the outputs not yet drained and forgets them, so that memory
// stays bounded. The slice is good until the next Feed.
func (d *Decimator) Drain() []float64 {
	out := d.out
	d.out = d.out[:0]
	return out
}

// firStage is one real filter and decimation. Two outputs are computed at once,
// as if they were the parts of a complex one, for which there is a fast loop:
// the first output's taps are followed by zeros, the second's led by as many.
type firStage struct {
	in          frames
	first, next []float64
	pairs       []complex128
	out         []float64 // of a stage that is not the last
}

func newFIRStage(h []float64, step int) *firStage {
	zeros := make([]float64, step)
	s := &firStage{first: fours(append(append([]float64{}, h...), zeros...)), next: fours(append(zeros, h...))}
	s.in = frames{size: len(s.first), step: 2 * step}
	if s.in.step > s.in.size {
		panic("dsp: a filter shorter than its decimation")
	}
	return s
}

// feed appends to out.
func (s *firStage) feed(out, x []float64) []float64 {
	s.in.feed(x, func(span []float64, count int) {
		if cap(s.pairs) < count {
			s.pairs = make([]complex128, count)
		}
		p := s.pairs[:count]
		slide(p, span, s.in.step, s.first, s.next)
		for _, z := range p {
			out = append(out, real(z), imag(z))
		}
	})
	return out
}
