package dsp

import "math"

// Estimate is a value with the standard error of its errors in time and the
// degrees of freedom that the standard error rests on.
type Estimate struct {
	Value, SE, Dof float64
}

// Half returns the half width of the 95 % interval.
func (e Estimate) Half() float64 {
	if e.SE == 0 {
		return 0
	}
	return Student95(e.Dof) * e.SE
}

// longRunModes is how many cosine transforms tell the spectrum of the errors
// near zero frequency: 24 modes are the band up to 12/T, and give an interval
// only 5 % wider than a known spectrum would.
const longRunModes = 24

// errorShape is a spectrum tried for the errors: power ∝ f^−slope, falling again as
// f^rise below the mode knee (0: no knee).
type errorShape struct{ slope, knee, rise, prior float64 }

// errorShapes with their prior weights. White is the usual case for a tone in noise
// and is held unless the lowest modes speak against it; slopes 1 to 4 are flicker,
// drift and wander (IEEE Std 1139 names them for oscillators); a knee is what is left
// of a disturbance that has no slow part, such as flutter between 0.5 and 10 Hz.
var errorShapes = func() []errorShape {
	s := []errorShape{{0, 0, 0, 0.98}, {1, 0, 0, 0.004}, {2, 0, 0, 0.004}, {3, 0, 0, 0.004}, {4, 0, 0, 0.004}}
	for _, knee := range []float64{4, 6, 9, 14} {
		for _, slope := range []float64{1, 2, 4} {
			for _, rise := range []float64{2, 4} {
				s = append(s, errorShape{slope, knee, rise, 0.004 / 24})
			}
		}
	}
	return s
}()

// at is the shape's power in mode j, relative.
func (s errorShape) at(j int) float64 {
	x := math.Max(float64(j), 0.5)
	if s.knee > 0 && x < s.knee {
		return math.Pow(s.knee, -s.slope) * math.Pow(x/s.knee, s.rise)
	}
	return math.Pow(x, -s.slope)
}

// Mean returns the mean of y with an interval that holds for errors correlated
// in time: white, flicker or wandering. Regressors, if any, are removed
// together with the mean; each should itself have a mean near 0, for the value
// given is the one where the regressors are 0.
func Mean(y []float64, regressors ...[]float64) (Estimate, bool) {
	one := make([]float64, len(y))
	for i := range one {
		one[i] = 1
	}
	return LeastSquares(y, append([][]float64{one}, regressors...), 0)
}

// LeastSquares fits y by the columns and returns the coefficient of column
// want. Its standard error does not assume white residuals: the residuals'
// cosine transforms below 12/T give their spectrum near zero, white or falling
// with a power of frequency (chosen by Whittle's likelihood), and the variance
// is that spectrum seen through the estimator's own weights. What the fit took
// from each transform is put back in expectation.
//
// ok is false when the columns are dependent or fewer than four transforms
// are left. Sources: Müller 2007; Lazarus, Lewis, Stock 2021; Whittle 1962.
func LeastSquares(y []float64, cols [][]float64, want int) (e Estimate, ok bool) {
	nrm, ok := newNormal(cols)
	if !ok || len(y) < len(cols)+8 {
		return Estimate{}, false
	}
	p := len(cols)
	rhs := make([]float64, p)
	for i, c := range cols {
		rhs[i] = dot(c, y)
	}
	beta := nrm.solve(rhs)
	res := append([]float64(nil), y...)
	for i, c := range cols {
		axpy(-beta[i], c, res)
	}
	unit := make([]float64, p)
	unit[want] = 1
	g := nrm.solve(unit)
	weights := make([]float64, len(y)) // value = Σ weights·y
	for i, c := range cols {
		axpy(g[i], c, weights)
	}
	e.Value = beta[want]
	e.SE, e.Dof, ok = spectralError(res, weights, cols, nrm)
	return e, ok
}

// spectralError returns the standard error of Σ weights·error, from the
// residuals of a fit.
func spectralError(res, weights []float64, cols [][]float64, nrm *normal) (se, dof float64, ok bool) {
	n := len(res)
	// A fitted sinusoid takes about three modes: as many are looked at beyond.
	modes := min(longRunModes+len(cols)-1, (n-len(cols))/2)
	wide := min(3*modes, n-1)
	basis := newCosines(n)
	u := make([]float64, n)
	half := make([][]float64, wide+1)
	through := make([]float64, wide+1) // weights·u
	seen := make([]float64, modes+1)   // residual·u
	rest := dot(weights, weights)
	for j := range half {
		basis.mode(j, u)
		a := make([]float64, len(cols))
		for i, c := range cols {
			a[i] = dot(c, u)
		}
		half[j] = nrm.half(a)
		through[j] = dot(weights, u)
		rest -= through[j] * through[j]
		if j <= modes {
			seen[j] = dot(res, u)
		}
	}
	rest = math.Max(0, rest)
	// kept[j][k] is the power of mode k that the fit leaves in mode j.
	kept := make([][]float64, modes+1)
	var used []int
	for j := 1; j <= modes; j++ {
		share := 1 - dot(half[j], half[j])
		if share <= 0.2 {
			continue
		}
		used = append(used, j)
		dof += share
		kept[j] = make([]float64, wide+1)
		for k := range half {
			m := -dot(half[j], half[k])
			if j == k {
				m++
			}
			kept[j][k] = m * m
		}
	}
	if len(used) < 4 {
		return 0, 0, false
	}
	var logs, vars []float64
	power := make([]float64, wide+1)
	for _, s := range errorShapes {
		for j := range power {
			power[j] = s.at(j)
		}
		scale, logE := 0.0, 0.0
		for _, j := range used {
			expect := dot(kept[j], power)
			share := math.Sqrt(kept[j][j])
			scale += share * seen[j] * seen[j] / expect
			logE += share * math.Log(expect)
		}
		scale /= dof
		v := rest * power[wide]
		for k, h := range through {
			v += h * h * power[k]
		}
		vars = append(vars, scale*v)
		logs = append(logs, math.Log(s.prior)-0.5*(logE+dof*math.Log(math.Max(scale, 1e-300))))
	}
	top := math.Inf(-1)
	for _, l := range logs {
		top = math.Max(top, l)
	}
	variance, total := 0.0, 0.0
	for i, l := range logs {
		w := math.Exp(l - top)
		variance += w * vars[i]
		total += w
	}
	return math.Sqrt(variance / total), dof, true
}

// cosines gives the orthonormal cosine modes of n points,
// u_j[i] = sqrt(2/n)·cos(πj(i+½)/n), u_0 = 1/sqrt(n), from one table.
type cosines struct {
	n     int
	table []float64 // cos(π k/(2n)), k < 4n
}

func newCosines(n int) *cosines {
	c := &cosines{n: n, table: make([]float64, 4*n)}
	for k := range c.table {
		c.table[k] = math.Cos(math.Pi * float64(k) / float64(2*n))
	}
	return c
}

// mode writes mode j into u.
func (c *cosines) mode(j int, u []float64) {
	norm := math.Sqrt(2 / float64(c.n))
	if j == 0 {
		norm = math.Sqrt(1 / float64(c.n))
	}
	k, step := j, 2*j
	for i := range u {
		u[i] = norm * c.table[k]
		if k += step; k >= 4*c.n {
			k -= 4 * c.n
		}
	}
}
