package dsp

import "math"

// The inner loops of the package. On processors that can multiply and add four
// numbers at once they are written in assembler, vector_amd64.s; the Go code
// here serves all others, gives the same sums to rounding, and says what the
// assembler does.

// shortVector is the length under which calling the assembler costs more than
// it saves.
const shortVector = 8

// dot returns Σ a·b. b is at least as long as a.
func dot(a, b []float64) float64 {
	b = b[:len(a)]
	if hasVectors && len(a) >= shortVector {
		return dotAVX2(&a[0], &b[0], len(a))
	}
	return dotGo(a, b)
}

// dotGo has four partial sums, which is faster and rounds less than one.
func dotGo(a, b []float64) float64 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	i := 0
	for ; i+3 < len(a); i += 4 {
		s0 += a[i] * b[i]
		s1 += a[i+1] * b[i+1]
		s2 += a[i+2] * b[i+2]
		s3 += a[i+3] * b[i+3]
	}
	for ; i < len(a); i++ {
		s0 += a[i] * b[i]
	}
	return (s0 + s1) + (s2 + s3)
}

// dot2 returns the inner products of x with a and with b, which are at least
// as long as x.
func dot2(x, a, b []float64) (xa, xb float64) {
	a, b = a[:len(x)], b[:len(x)]
	if hasVectors && len(x) >= shortVector {
		return dot2AVX2(&x[0], &a[0], &b[0], len(x))
	}
	return dot2Go(x, a, b)
}

func dot2Go(x, a, b []float64) (xa, xb float64) {
	a, b = a[:len(x)], b[:len(x)]
	var a0, a1, b0, b1 float64
	i := 0
	for ; i+1 < len(x); i += 2 {
		u, v := x[i], x[i+1]
		a0 += u * a[i]
		b0 += u * b[i]
		a1 += v * a[i+1]
		b1 += v * b[i+1]
	}
	if i < len(x) {
		a0 += x[i] * a[i]
		b0 += x[i] * b[i]
	}
	return a0 + a1, b0 + b1
}

// axpy adds a·x to y, which is at least as long as x.
func axpy(a float64, x, y []float64) {
	y = y[:len(x)]
	if hasVectors && len(x) >= shortVector {
		axpyAVX2(a, &x[0], &y[0], len(x))
		return
	}
	axpyGo(a, x, y)
}

func axpyGo(a float64, x, y []float64) {
	y = y[:len(x)]
	for i, v := range x {
		y[i] += a * v
	}
}

// Extent returns the sum of squares of x and its greatest absolute value, both NaN if
// one of x is. Of no values it returns 0.
func Extent(x []float64) (sumSq, peak float64) {
	if hasVectors && len(x) >= shortVector {
		sumSq, peak = extentAVX2(&x[0], len(x))
	} else {
		sumSq, peak = extentGo(x)
	}
	if sumSq != sumSq {
		peak = sumSq // comparisons alone would pass over it
	}
	return sumSq, peak
}

func extentGo(x []float64) (sumSq, peak float64) {
	for _, v := range x {
		sumSq += v * v
		if v = math.Abs(v); v > peak {
			peak = v
		}
	}
	return sumSq, peak
}

// slide fills dst with the inner products of a and of b with stretches of x
// that start step samples apart:
//
//	dst[m] = Σ x[m·step+k]·(a[k] + i·b[k])
//
// a and b have one length, a multiple of 4 above 0; x holds all the stretches.
// Each sum is taken in the same order wherever it stands in dst.
func slide(dst []complex128, x []float64, step int, a, b []float64) {
	if len(dst) == 0 {
		return
	}
	n := len(a)
	b = b[:n]
	_ = x[(len(dst)-1)*step+n-1]
	if hasVectors {
		slideAVX2(&dst[0], &x[0], &a[0], &b[0], len(dst), step, n)
		return
	}
	slideGo(dst, x, step, a, b)
}

func slideGo(dst []complex128, x []float64, step int, a, b []float64) {
	for m := range dst {
		re, im := dot2Go(x[m*step:m*step+len(a)], a, b)
		dst[m] = complex(re, im)
	}
}
