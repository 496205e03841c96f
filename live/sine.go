package live

import (
	"math"
	"math/cmplx"
)

// sine is a tone fitted to some samples.
type sine struct {
	amplitude        float64 // peak
	phase            float64 // rad, in the middle of the samples
	omega            float64 // rad per sample
	noise            float64 // r.m.s. of what is left
	phaseSE, omegaSE float64 // for white noise
	amplitudeSE      float64
}

// fitTone fits a sine of about omega rad per sample, with a constant, to x[from:from+n] by
// linear least squares, in two halves, whose phases give the frequency, and as a whole. ok is
// false outside x and for what is no tone. For white noise of r.m.s. σ the errors are
// σ·√(2/n)/A of phase and σ·√24/(A·n^1.5) of frequency (Rife and Boorstyn, IEEE Trans. Inf.
// Theory 20(5), 1974); from two halves the latter is a seventh larger.
func fitTone(x []float64, from, n int, omega float64) (s sine, ok bool) {
	if from < 0 || n < 16 || from+n > len(x) {
		return s, false
	}
	half := n / 2
	for range 2 {
		a, _, okA := project(x[from:from+half], omega)
		b, _, okB := project(x[from+n-half:from+n], omega)
		if !okA || !okB || a == 0 || b == 0 {
			return s, false
		}
		apart := float64(n - half)
		omega += wrap(cmplx.Phase(b)-cmplx.Phase(a)-omega*apart) / apart
	}
	z, noise, ok := project(x[from:from+n], omega)
	if !ok || z == 0 || !(omega > 0) || omega > math.Pi {
		return s, false
	}
	s = sine{amplitude: cmplx.Abs(z), phase: cmplx.Phase(z), omega: omega, noise: noise}
	s.amplitudeSE = noise * math.Sqrt(2/float64(n))
	s.phaseSE = s.amplitudeSE / s.amplitude
	s.omegaSE = 8. / 7 * noise * math.Sqrt(24) / s.amplitude / math.Pow(float64(n), 1.5)
	return s, true
}

// project fits a + Re(z·e^{iω(t−middle)}) to x and gives z and the r.m.s. of the rest.
func project(x []float64, omega float64) (z complex128, noise float64, ok bool) {
	n := len(x)
	middle := float64(n-1) / 2
	step := cmplx.Rect(1, omega)
	e := cmplx.Rect(1, -omega*middle)
	var sc, ss, scc, scs, sy, syc, sys, syy float64
	for _, y := range x {
		c, s := real(e), imag(e)
		sc += c
		ss += s
		scc += c * c
		scs += c * s
		sy += y
		syc += y * c
		sys += y * s
		syy += y * y
		e *= step
	}
	// About the middle the sine is odd: it is orthogonal to the constant and to the cosine.
	nn := float64(n)
	sss := nn - scc
	det := nn*scc - sc*sc
	if !(det > 1e-9*nn*nn) || !(sss > 1e-9*nn) {
		return 0, 0, false
	}
	a := (nn*syc - sc*sy) / det
	d := (scc*sy - sc*syc) / det
	b := sys / sss
	rest := syy - a*syc - d*sy - b*sys
	return complex(a, -b), math.Sqrt(max(0, rest) / max(1, nn-3)), true
}
