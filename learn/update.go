package learn

import (
	"math"

	"gonum.org/v1/gonum/mathext"

	"headstack/dsp"
)

// beta is a Beta distribution of a probability:
//
//	p(θ) ∝ θ^(a−1)·(1−θ)^(b−1),  mean a/(a+b)
//
// Of n exchangeable trials with k successes it becomes Beta(a+k, b+n−k). Source: Gelman
// et al., section 2.4.
type beta struct{ a, b float64 }

// betaOf has the given mean and weighs as much as weight trials.
func betaOf(mean, weight float64) beta { return beta{mean * weight, (1 - mean) * weight} }

func (d beta) after(k, n int) beta { return beta{d.a + float64(k), d.b + float64(n-k)} }

func (d beta) mean() float64 { return d.a / (d.a + d.b) }

// interval is the central 95 % one.
func (d beta) interval() (lo, hi float64) {
	switch {
	case d.a <= 0:
		return 0, 0
	case d.b <= 0:
		return 1, 1
	}
	return mathext.InvRegIncBeta(d.a, d.b, 0.025), mathext.InvRegIncBeta(d.a, d.b, 0.975)
}

// dirichlet are probabilities that sum to one, one for each cause: with weights α the
// mean of each is αi/Σα, and by itself it is Beta(αi, Σα−αi). Of ki faults by cause i,
// αi becomes αi+ki. Source: Gelman et al., section 3.4.
type dirichlet []float64

func (d dirichlet) after(k []float64) dirichlet {
	out := make(dirichlet, len(d))
	for i := range d {
		out[i] = d[i] + k[i]
	}
	return out
}

func (d dirichlet) of(i int) beta {
	sum := 0.0
	for _, x := range d {
		sum += x
	}
	return beta{d[i], sum - d[i]}
}

// gammaRate is a Gamma distribution of a factor on a rate, with shape a and inverse scale
// b, mean a/b. Of y faults where the factor 1 leads to expect x it becomes
// Gamma(a+y, b+x). Source: Gelman et al., section 2.6.
type gammaRate struct{ a, b float64 }

func (g gammaRate) after(y, x float64) gammaRate { return gammaRate{g.a + y, g.b + x} }

func (g gammaRate) mean() float64 { return g.a / g.b }

// normal is a normal-inverse-χ² distribution of mean and variance of a normal quantity:
//
//	σ² ~ Inv-χ²(ν, s²),  μ | σ² ~ N(m, σ²/κ)
//
// Of n values with mean y and sum of squares about it S it becomes
//
//	κn = κ+n, νn = ν+n, mn = (κ·m + n·y)/κn
//	νn·sn² = ν·s² + S + κ·n/κn·(y−m)²
//
// and μ by itself is Student's t with νn degrees of freedom about mn, of scale sn/√κn.
// Source: Gelman et al., section 3.3.
type normal struct{ m, kappa, nu, s2 float64 }

func (d normal) after(n int, y, about float64) normal {
	if n == 0 {
		return d
	}
	k := float64(n)
	out := normal{kappa: d.kappa + k, nu: d.nu + k}
	out.m = (d.kappa*d.m + k*y) / out.kappa
	out.s2 = (d.nu*d.s2 + about + d.kappa*k/out.kappa*(y-d.m)*(y-d.m)) / out.nu
	return out
}

// interval is the central 95 % one of the mean.
func (d normal) interval() (lo, hi float64) {
	half := dsp.Student95(d.nu) * math.Sqrt(d.s2/d.kappa)
	return d.m - half, d.m + half
}
