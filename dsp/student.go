package dsp

import "gonum.org/v1/gonum/stat/distuv"

// Student95 returns the half width of the central 95 % interval of Student's t
// with nu degrees of freedom, in standard errors: 12.706 for 1, 1.960 for many.
// Less than one degree counts as one.
func Student95(nu float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: max(1, nu)}.Quantile(0.975)
}
