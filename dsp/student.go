package dsp

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Student95 returns the half width of the central 95 % interval of Student's t
// with nu degrees of freedom, in standard errors: 12.706 for 1, 1.960 for many.
// Less than one degree counts as one.
//
// With x the 5 % point of the incomplete beta function I(nu/2, 1/2),
//
//	t = √(nu·(1 − x)/x)
//
// Source: Abramowitz and Stegun 1964, 26.7.1 and 26.5.27. gonum's distribution
// package has it ready-made, but brings linear algebra into the binary.
func Student95(nu float64) float64 {
	nu = max(1, nu)
	if nu > 1e6 {
		return 1.959963984540054 // the normal limit, reached to 3e-6
	}
	x := mathext.InvRegIncBeta(nu/2, 0.5, 0.05)
	return math.Sqrt(nu * (1 - x) / x)
}

// ChiSquaredTail returns the probability that chi-squared with k degrees of
// freedom is at least q: the upper incomplete gamma function Q(k/2, q/2)
// (Abramowitz and Stegun 1964, 26.4.19). It is NaN unless k > 0 and q ≥ 0.
func ChiSquaredTail(k, q float64) float64 {
	if !(k > 0) || !(q >= 0) {
		return math.NaN()
	}
	return mathext.GammaIncRegComp(k/2, q/2)
}
