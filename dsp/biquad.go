package dsp

import (
	"math"
	"math/cmplx"
)

// section is one second-order section with leading coefficients 1:
//
//	H(z) = (1 + b1·z⁻¹ + b2·z⁻²) / (1 + a1·z⁻¹ + a2·z⁻²)
type section struct{ b1, b2, a1, a2 float64 }

// response is H at e^{iω}, with z1 = e^{−iω}.
func (s section) response(z1 complex128) complex128 {
	num := 1 + z1*(complex(s.b1, 0)+z1*complex(s.b2, 0))
	den := 1 + z1*(complex(s.a1, 0)+z1*complex(s.a2, 0))
	return num / den
}

// Filter is a weighting network at one sample rate: three second-order sections
// and a gain. It is linear and keeps its state from one call of Process to the
// next, so that a capture may be cut into blocks of any length. It starts at
// rest; use one Filter per channel. Make one with [NewFilterA], [NewFilter468]
// or [NewFilterFlutter].
type Filter struct {
	rate  float64
	gain  float64
	sec   [3]section
	state [3][2]float64
}

// atRest is the size below which a state counts as zero: far below anything a
// capture can hold, far above the numbers that processors handle slowly.
const atRest = 1e-200

// Process filters src into dst, which may be src itself and must be at least as
// long, or it panics. It allocates nothing. A NaN or an infinity in src makes
// every later output NaN or infinite until Reset: a broken sample is never
// averaged away.
func (f *Filter) Process(dst, src []float64) {
	dst = room(dst, src)
	// All sections per sample, transposed direct form II, state in local
	// variables: twice as fast as one section after the other.
	g, p, q, r := f.gain, f.sec[0], f.sec[1], f.sec[2]
	p1, p2 := f.state[0][0], f.state[0][1]
	q1, q2 := f.state[1][0], f.state[1][1]
	r1, r2 := f.state[2][0], f.state[2][1]
	for i, v := range src {
		x := g * v
		y := x + p1
		p1 = (p.b1*x + p2) - p.a1*y
		p2 = p.b2*x - p.a2*y
		w := y + q1
		q1 = (q.b1*y + q2) - q.a1*w
		q2 = q.b2*y - q.a2*w
		u := w + r1
		r1 = (r.b1*w + r2) - r.a1*u
		r2 = r.b2*w - r.a2*u
		dst[i] = u
	}
	f.state = [3][2]float64{{p1, p2}, {q1, q2}, {r1, r2}}
	for i := range f.state {
		for j, s := range f.state[i] {
			if math.Abs(s) < atRest {
				f.state[i][j] = 0
			}
		}
	}
}

// Reset puts the filter back at rest.
func (f *Filter) Reset() { f.state = [3][2]float64{} }

// Rate is the sample rate in hertz.
func (f *Filter) Rate() float64 { return f.rate }

// Response returns the complex gain at hz, or NaN outside 0 to half the sample
// rate. Its modulus is the weighting; its phase is the filter's own and belongs
// to no standard.
func (f *Filter) Response(hz float64) complex128 {
	if !(hz >= 0 && hz <= f.rate/2) {
		return cmplx.NaN()
	}
	z1 := cmplx.Exp(complex(0, -2*math.Pi*hz/f.rate))
	h := complex(f.gain, 0)
	for _, s := range f.sec {
		h *= s.response(z1)
	}
	return h
}

// ResponseDB returns the gain at hz in dB: −Inf at 0, NaN outside 0 to half the
// sample rate.
func (f *Filter) ResponseDB(hz float64) float64 { return 20 * math.Log10(cmplx.Abs(f.Response(hz))) }

// Settle returns the time in seconds after which what was there at the start
// is forgotten: from then on the response to a unit step at time 0 (a capture
// that begins with a d.c. offset, a speed that is off by a constant) stays
// below 0.001. Discard that much before judging.
func (f *Filter) Settle() float64 {
	g := *f
	g.Reset()
	slowest := 0.0 // largest modulus of a pole
	for _, s := range g.sec {
		p, q := quadratic(s.a1, s.a2)
		slowest = math.Max(slowest, math.Max(cmplx.Abs(p), cmplx.Abs(q)))
	}
	// e^{−20} of the slowest envelope is below 0.001 for poles of any small
	// multiplicity, so the last crossing lies before that.
	n := int(20/-math.Log(slowest)) + 1
	last := 0
	y := []float64{0}
	for i := range n {
		y[0] = 1
		g.Process(y, y)
		if math.Abs(y[0]) >= 0.001 {
			last = i + 1
		}
	}
	return float64(last) / f.rate
}

// quadratic returns the roots of z² + bz + c.
func quadratic(b, c float64) (complex128, complex128) {
	d := cmplx.Sqrt(complex(b*b/4-c, 0))
	return complex(-b/2, 0) + d, complex(-b/2, 0) - d
}
