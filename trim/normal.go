package trim

import "gonum.org/v1/gonum/mat"

// normal is a small least-squares problem, with a trace of a prior against turns that
// change nothing.
type normal struct{ *mat.SymDense }

func newNormal(n int) (normal, []float64) {
	a := mat.NewSymDense(n, nil)
	for i := range n {
		a.SetSym(i, i, 1e-9)
	}
	return normal{a}, make([]float64, n)
}

// add enters one equation row·x = e.
func (a normal) add(row []float64, e float64, r []float64) {
	a.SymRankOne(a.SymDense, 1, mat.NewVecDense(len(row), row))
	for i, x := range row {
		r[i] += x * e
	}
}

func (a normal) solve(r []float64) ([]float64, bool) { return solve(a.SymDense, r, 0) }
