package dsp

import (
	"fmt"
	"math"
)

// LowPass returns the taps of a linear-phase low-pass filter of odd length by
// Kaiser's window method, with gain 1 at 0. From 0 to pass the gain is 1 within
// the ripple δ = 10^(−attenDB/20), from stop upward it is below δ. Frequencies
// are in cycles per sample. It panics unless 0 ≤ pass < stop ≤ 0.5 and attenDB
// is at least 50.
//
// Source: Kaiser, IEEE ISCAS 1974: β = 0.1102(A − 8.7), N ≥ (A − 7.95)/(14.36 Δf) + 1.
func LowPass(pass, stop, attenDB float64) []float64 {
	if !(pass >= 0 && pass < stop && stop <= 0.5 && attenDB >= 50) {
		panic(fmt.Sprintf("dsp: no low-pass filter from %g to %g cycles per sample with %g dB", pass, stop, attenDB))
	}
	n := int(math.Ceil((attenDB-7.95)/(14.36*(stop-pass)))) + 1
	n |= 1
	w := Kaiser(n, 0.1102*(attenDB-8.7))
	cut := (pass + stop) / 2
	sum := 0.0
	for i := range w {
		t := float64(i - n/2)
		w[i] *= 2 * cut * sinc(2*cut*t)
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

// sinc is sin(πx)/(πx).
func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}
