package dsp

import "math"

// Hann returns the periodic Hann window of n points, 0.5 − 0.5·cos(2πi/n), the
// form for spectra with overlap. Its equivalent noise bandwidth is 1.5 bins.
func Hann(n int) []float64 {
	w := make([]float64, n)
	for i := range w {
		w[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
	}
	return w
}

// Kaiser returns the symmetric Kaiser window of n points with shape beta:
//
//	w[i] = I0(β·sqrt(1 − x²))/I0(β),  x = 2i/(n−1) − 1
//
// β 0 is a rectangle. Source: Kaiser, IEEE ISCAS 1974.
func Kaiser(n int, beta float64) []float64 {
	w := make([]float64, n)
	if n == 1 {
		w[0] = 1
		return w
	}
	norm := besselI0(beta)
	for i := range (n + 1) / 2 {
		x := 2*float64(i)/float64(n-1) - 1
		w[i] = besselI0(beta*math.Sqrt(math.Max(0, 1-x*x))) / norm
		w[n-1-i] = w[i]
	}
	return w
}

// besselI0 is the modified Bessel function of order 0 by its power series,
// which has only positive terms and so loses no digits.
func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	q := x * x / 4
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= q / (k * k)
		sum += term
	}
	return sum
}

// sumOfSquares returns Σ w².
func sumOfSquares(w []float64) float64 {
	s := 0.0
	for _, v := range w {
		s += v * v
	}
	return s
}
