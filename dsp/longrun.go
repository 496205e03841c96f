package dsp

import (
	"math"
	"sync"
)

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
	es, ok := LeastSquaresEach([][]float64{y}, cols, want)
	if !ok {
		return Estimate{}, false
	}
	return es[0], true
}

// LeastSquaresEach is [LeastSquares] of several series of one length by the same columns.
// What rests on the columns alone, most of the work, is done once for all.
func LeastSquaresEach(ys, cols [][]float64, want int) (es []Estimate, ok bool) {
	n := len(ys[0])
	if n < len(cols)+8 {
		return nil, false
	}
	var c columns
	for _, x := range cols {
		f := fold(x[:n])
		c.add(f.even, f.odd)
	}
	folds := make([]folded, len(ys))
	for i, y := range ys {
		folds[i] = fold(y[:n])
	}
	return leastSquares(folds, &c, n, want)
}

// Coefficients fits y by the columns as [LeastSquares] does and returns the
// coefficients alone, at a small part of the cost.
func Coefficients(y []float64, cols [][]float64) ([]float64, bool) {
	if len(y) < len(cols) {
		return nil, false
	}
	var c columns
	for _, x := range cols {
		f := fold(x[:len(y)])
		c.add(f.even, f.odd)
	}
	nrm, ok := newNormal(&c)
	if !ok {
		return nil, false
	}
	return nrm.solve(c.times(fold(y))), true
}

// leastSquares is [LeastSquaresEach] of folded series of n values, at least 8 more than
// there are columns.
func leastSquares(ys []folded, cols *columns, n, want int) (es []Estimate, ok bool) {
	nrm, ok := newNormal(cols)
	if !ok {
		return nil, false
	}
	h := (n + 1) / 2
	es, res := make([]Estimate, len(ys)), make([]folded, len(ys))
	for k, y := range ys {
		beta := nrm.solve(cols.times(y))
		minus := make([]float64, len(beta))
		for i, b := range beta {
			minus[i] = -b
		}
		res[k] = folded{append([]float64(nil), y.even...), make([]float64, h)}
		copy(res[k].odd, y.odd)
		cols.combine(minus, res[k])
		es[k].Value = beta[want]
	}
	unit := make([]float64, cols.len())
	unit[want] = 1
	weights := folded{make([]float64, h), make([]float64, h)} // value = Σ weights·y
	cols.combine(nrm.solve(unit), weights)
	return es, spectralError(es, n, res, weights, cols, nrm)
}

// spectralError gives each of es the standard error of Σ weights·error, from the
// residuals of its fit.
func spectralError(es []Estimate, n int, res []folded, weights folded, cols *columns, nrm *normal) (ok bool) {
	p := cols.len()
	// A fitted sinusoid takes about three modes: as many are looked at beyond.
	modes := min(longRunModes+p-1, (n-p)/2)
	wide := min(3*modes, n-1)
	basis := cosinesOf(n)
	written, u := basis.rows(wide+1), make([]float64, (n+1)/2)
	half := rows(wide+1, p)
	through := make([]float64, wide+1) // weights·u
	seen := rows(len(res), modes+1)    // residual·u
	rest := weights.dot(weights)
	a := make([]float64, p)
	for j := range half {
		parity := j % 2 // even modes are even about the middle
		if written != nil {
			u = written[j]
		} else {
			basis.mode(j, u)
		}
		clear(a)
		timesPart(a, cols.part(parity), u)
		nrm.half(a, half[j])
		through[j] = dot(weights.part(parity), u)
		rest -= through[j] * through[j]
		if j <= modes {
			for k, r := range res {
				seen[k][j] = dot(r.part(parity), u)
			}
		}
	}
	left := leftInModes(half, modes)
	if len(left.used) < 4 {
		return false
	}
	for k := range es {
		es[k].SE, es[k].Dof = math.Sqrt(left.variance(seen[k], through, math.Max(0, rest))), left.dof
	}
	return true
}

// leftover tells what a fit leaves of errors in the lowest modes.
type leftover struct {
	kept  [][]float64 // kept[j][k] is the power of mode k that is left in mode j
	share []float64   // of mode j's own power
	used  []int       // modes with enough left
	dof   float64
}

// leftInModes takes of every mode what nrm.half makes of its products with the columns.
func leftInModes(half [][]float64, modes int) leftover {
	l := leftover{kept: rows(modes+1, len(half)), share: make([]float64, modes+1)}
	for j := 1; j <= modes; j++ {
		l.share[j] = 1 - dot(half[j], half[j])
		if l.share[j] <= 0.2 {
			continue
		}
		l.used = append(l.used, j)
		l.dof += l.share[j]
		timesPart(l.kept[j], half, half[j])
		for k, m := range l.kept[j] {
			if j == k {
				m--
			}
			l.kept[j][k] = m * m
		}
	}
	return l
}

// variance is that of the estimate, whose weights pass through the modes and, rest,
// above them: the mean over the shapes of the spectrum by their likelihood, given what
// is seen of the residual.
func (l *leftover) variance(seen, through []float64, rest float64) float64 {
	var logs, vars []float64
	powers := shapePowers(len(through))
	for i, s := range errorShapes {
		power := powers[i][:len(through)]
		scale, logE := 0.0, 0.0
		for _, j := range l.used {
			expect := dot(l.kept[j], power)
			scale += l.share[j] * seen[j] * seen[j] / expect
			logE += l.share[j] * math.Log(expect)
		}
		scale /= l.dof
		v := rest * power[len(power)-1]
		for k, h := range through {
			v += h * h * power[k]
		}
		vars = append(vars, scale*v)
		logs = append(logs, math.Log(s.prior)-0.5*(logE+l.dof*math.Log(math.Max(scale, 1e-300))))
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
	return variance / total
}

// rows returns a matrix of n rows of m zeros in one piece.
func rows(n, m int) [][]float64 {
	room, out := make([]float64, n*m), make([][]float64, n)
	for i := range out {
		out[i] = room[i*m : (i+1)*m : (i+1)*m]
	}
	return out
}

// shapes holds what errorShapes give for the first modes, as many as were asked for.
var shapes struct {
	sync.Mutex
	powers [][]float64
}

// shapePowers returns the power of each of errorShapes in at least n modes.
func shapePowers(n int) [][]float64 {
	shapes.Lock()
	defer shapes.Unlock()
	if len(shapes.powers) == 0 || len(shapes.powers[0]) < n {
		grown := rows(len(errorShapes), n+n/2)
		for i, s := range errorShapes {
			for j := range grown[i] {
				grown[i][j] = s.at(j)
			}
		}
		shapes.powers = grown // the old ones may still be read
	}
	return shapes.powers
}

// cosines gives the orthonormal cosine modes of n points,
// u_j[i] = sqrt(2/n)·cos(πj(i+½)/n), u_0 = 1/sqrt(n), from one table.
type cosines struct {
	n     int
	table []float64 // cos(π k/(2n)), k < 4n

	sync.Mutex
	first [][]float64 // modes already written
}

// bases keeps the modes of the lengths last used: all channels of a section have the
// same.
var bases = struct {
	sync.Mutex
	of map[int]*cosines
}{of: map[int]*cosines{}}

const (
	mostBases   = 8
	mostKept    = 1 << 17 // numbers in the modes of one length: 1 MB
	longestKept = 1 << 16 // series
)

func cosinesOf(n int) *cosines {
	if n > longestKept {
		return newCosines(n)
	}
	bases.Lock()
	defer bases.Unlock()
	c, ok := bases.of[n]
	if !ok {
		if len(bases.of) >= mostBases {
			clear(bases.of)
		}
		c = newCosines(n)
		bases.of[n] = c
	}
	return c
}

func newCosines(n int) *cosines {
	c := &cosines{n: n, table: make([]float64, 4*n)}
	for k := range c.table {
		c.table[k] = math.Cos(math.Pi * float64(k) / float64(2*n))
	}
	return c
}

// rows returns the first k modes, as mode writes them, or nil when they are too much to
// keep.
func (c *cosines) rows(k int) [][]float64 {
	h := (c.n + 1) / 2
	if k*h > mostKept {
		return nil
	}
	c.Lock()
	defer c.Unlock()
	for j := len(c.first); j < k; j++ {
		u := make([]float64, h)
		c.mode(j, u)
		c.first = append(c.first, u)
	}
	return c.first
}

// mode writes the one part of mode j that is not zero into u: the even one of even
// modes, the odd one of odd.
func (c *cosines) mode(j int, u []float64) {
	norm := 2 / math.Sqrt(float64(c.n)) // √2 of folding within
	if j == 0 {
		norm = math.Sqrt(2 / float64(c.n))
	}
	// At τ from the middle i + ½ = n/2 + τ.
	k, step := j*(c.n+1-c.n%2)%(4*c.n), 2*j
	for i := range u {
		u[i] = norm * c.table[k]
		if k += step; k >= 4*c.n {
			k -= 4 * c.n
		}
	}
	if c.n%2 == 1 { // the middle stands once
		u[0] *= math.Sqrt2 / 2
		if j%2 == 1 {
			u[0] = 0
		}
	}
}
