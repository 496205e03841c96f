package dsp

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"
)

// network is an analogue network of up to six poles to be imitated:
//
//	H(s) = K · s^origin · Π(s − zero) / Π(s − pole),  |H| = 1 at refHz
//
// Poles and zeros are in rad/s, each complex one followed by its conjugate. The
// imitation is good up to topHz, or as near to half the sample rate as it can be.
type network struct {
	origin       int
	zeros, poles []complex128
	refHz, topHz float64
}

// raw is H with K = 1 and without the zeros at the origin.
func (n network) raw(hz float64) complex128 {
	s := complex(0, 2*math.Pi*hz)
	h := complex(1, 0)
	for i, p := range n.poles {
		h /= s - p
		// One factor at a time, so that six poles of 1e5 rad/s do not underflow.
		if i < len(n.zeros) {
			h *= s - n.zeros[i]
		}
	}
	return h
}

// design returns a filter at the sample rate with the network's magnitude.
//
// The poles are the network's own, carried over by z = e^{s/rate}; zeros at the
// origin become zeros at z = 1. What is left is the choice of m = 6 − origin
// further zeros. With x = sin²(ω/2) the squared magnitude of such a numerator is
// a polynomial of degree m in x, and the one wanted is known at every frequency:
//
//	|N|² = |H|² · |D|² / |1 − e^{−iω}|^(2·origin)
//
// so the polynomial is put through it at the m+1 Chebyshev nodes between 0 and
// topHz, where interpolation is within a small factor of the best possible, and
// each root x gives the zero inside the unit circle of (2 − z − 1/z)/4 = x. A
// plain bilinear transform squeezes everything up to infinity below half the
// rate and is off by far more than the tolerances at 20 kHz and 44.1 kHz.
// Pole matching as in A. V. Oppenheim, R. W. Schafer, Discrete-Time Signal
// Processing (impulse invariance); the numerator by spectral factorisation as
// for a moving average there. That it meets the published tolerances is shown
// by test, rate by rate.
func (n network) design(rate float64) *Filter {
	// 0.455 of the rate lies just above 20 kHz at 44.1 kHz; nearer to half the
	// rate the wanted magnitude has a kink (zero slope) no polynomial follows.
	top := math.Pow(math.Sin(math.Pi*math.Min(n.topHz/rate, 0.455)), 2)
	m := 6 - n.origin
	x := make([]float64, m+1)
	want := make([]float64, m+1)
	for i := range x {
		x[i] = (1 - math.Cos(math.Pi*(float64(i)+0.5)/float64(m+1))) / 2
		want[i] = n.numerator(x[i]*top, rate)
	}
	scale := want[0]
	for i := range want {
		want[i] /= scale
	}
	zeros := make([]complex128, 0, 6)
	for _, r := range polynomialRoots(interpolate(x, want)) {
		zeros = append(zeros, insideRoot(r*complex(top, 0)))
	}
	for range n.origin {
		zeros = append(zeros, 1)
	}
	poles := make([]complex128, 0, 6)
	for _, p := range n.poles {
		poles = append(poles, cmplx.Exp(p/complex(rate, 0)))
	}
	for len(poles) < 6 {
		poles = append(poles, 0)
	}
	f := &Filter{rate: rate, gain: 1}
	zeros, poles = pairs(zeros), pairs(poles)
	for i := range f.sec {
		z, w := zeros[2*i], zeros[2*i+1]
		p, q := poles[2*i], poles[2*i+1]
		f.sec[i] = section{b1: -real(z + w), b2: real(z * w), a1: -real(p + q), a2: real(p * q)}
	}
	f.gain = 1 / cmplx.Abs(f.Response(n.refHz))
	return f
}

// numerator is the wanted |N|² at x = sin²(ω/2), up to a constant.
func (n network) numerator(x, rate float64) float64 {
	hz := math.Asin(math.Sqrt(x)) / math.Pi * rate
	h := n.raw(hz)
	z1 := cmplx.Exp(complex(0, -2*math.Pi*hz/rate))
	for _, p := range n.poles {
		h *= (1 - cmplx.Exp(p/complex(rate, 0))*z1) * complex(rate, 0)
	}
	for range n.origin {
		h *= complex(math.Pi*hz/rate/math.Sqrt(x), 0)
	}
	return real(h)*real(h) + imag(h)*imag(h)
}

// interpolate returns the coefficients, lowest first, of the polynomial through
// the points, by divided differences.
func interpolate(x, y []float64) []float64 {
	d := slices.Clone(y)
	for k := 1; k < len(x); k++ {
		for i := len(x) - 1; i >= k; i-- {
			d[i] = (d[i] - d[i-1]) / (x[i] - x[i-k])
		}
	}
	c := make([]float64, len(x))
	for k := len(x) - 1; k >= 0; k-- {
		for i := len(x) - 1; i > 0; i-- {
			c[i] = c[i-1] - x[k]*c[i]
		}
		c[0] = d[k] - x[k]*c[0]
	}
	return c
}

// polynomialRoots returns the complex roots of Σ c[k]·x^k by the simultaneous iteration
// of K. Weierstrass (also named after Durand and Kerner).
func polynomialRoots(c []float64) []complex128 {
	n := len(c) - 1
	r := make([]complex128, n)
	for i := range r {
		r[i] = cmplx.Pow(complex(0.4, 0.9), complex(float64(i+1), 0))
	}
	for range 2000 {
		change := 0.0
		for i := range r {
			num, den := complex(0, 0), complex(c[n], 0)
			for k := n; k >= 0; k-- {
				num = num*r[i] + complex(c[k], 0)
			}
			for j := range r {
				if j != i {
					den *= r[i] - r[j]
				}
			}
			d := num / den
			r[i] -= d
			change = math.Max(change, cmplx.Abs(d)/cmplx.Abs(r[i]))
		}
		if change < 1e-15 {
			break
		}
	}
	return r
}

// insideRoot returns the z inside the unit circle with (2 − z − 1/z)/4 = x.
func insideRoot(x complex128) complex128 {
	b := 1 - 2*x
	d := cmplx.Sqrt(b*b - 1)
	if cmplx.Abs(b+d) > cmplx.Abs(b-d) {
		d = -d
	}
	// The product of the two is 1; dividing by the large one keeps the digits
	// that subtraction would lose.
	return 1 / (b - d)
}

// pairs sorts an even number of roots of a real polynomial so that each two in
// turn are conjugates or both real.
func pairs(r []complex128) []complex128 {
	for i, z := range r {
		if math.Abs(imag(z)) < 1e-9*cmplx.Abs(z) {
			r[i] = complex(real(z), 0)
		}
	}
	turn := func(z complex128) float64 { return math.Abs(imag(z)) }
	slices.SortFunc(r, func(a, b complex128) int {
		if (turn(a) == 0) != (turn(b) == 0) { // real ones first
			return cmp.Compare(turn(a), turn(b))
		}
		// Conjugates agree in both, but for rounding.
		return cmp.Or(
			cmp.Compare(math.Round(real(a)*1e8), math.Round(real(b)*1e8)),
			cmp.Compare(turn(a), turn(b)),
		)
	})
	return r
}
