package tape

import (
	"math"

	"headstack/unit"
)

// HeadContour returns the gain of the bumps that the edges of a pole face of
// contact length l make at wavelength lambda, in the two-edge model:
//
//	G = 20·log10(1 - A·cos(π·l/λ))
//
// with maxima at λ = l/(2n-1), that is f = (2n-1)·v/l, and minima at f = 2n·v/l.
// A (0 ≤ A < 1) is the strength of the edges; it falls with wrap angle and towards
// shorter wavelengths, which the model leaves to the caller. 0.06 to 0.4 gives the
// first bump of 0.5 to 3 dB commonly met (from memory, very dependent on the
// head). Positive is more level. It is NaN unless λ > 0, l ≥ 0 and A in range.
// Source: simplified textbook model; E. D. Daniel, P. E. Axon and W. T. Frost,
// Report C-091 (1956) treat the matter.
func HeadContour(l unit.Metre, a float64, lambda unit.Metre) unit.Decibel {
	if !positive(float64(lambda)) || !notNegative(float64(l)) || !(a >= 0 && a < 1) {
		return nanDB()
	}
	return amplitudeDB(1 - a*math.Cos(math.Pi*float64(l)/float64(lambda)))
}
