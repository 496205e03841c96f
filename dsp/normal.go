package dsp

import "math"

// normal solves least squares through the normal equations, with columns
// scaled to unit length so that seconds and radians mix without loss.
type normal struct {
	p     int
	scale []float64   // 1/length of each column
	chol  [][]float64 // lower triangle L with L·Lᵀ = scaled XᵀX
}

// newNormal factors XᵀX; ok is false when the columns are dependent to within
// rounding.
func newNormal(cols *columns) (n *normal, ok bool) {
	p := cols.len()
	n = &normal{p: p, scale: make([]float64, p), chol: make([][]float64, p)}
	room := make([]float64, p*(p+1)/2)
	for i := range p {
		n.chol[i], room = room[:i+1:i+1], room[i+1:]
	}
	for i := range p {
		// Row i of XᵀX, in the place of row i of its factor.
		timesPart(n.chol[i], cols.even[:i+1], cols.even[i])
		timesPart(n.chol[i], cols.odd[:i+1], cols.odd[i])
		l := math.Sqrt(n.chol[i][i])
		if !(l > 0) || math.IsInf(l, 0) {
			return nil, false
		}
		n.scale[i] = 1 / l
	}
	for i := range p {
		row := n.chol[i]
		for j := range row {
			s := row[j]*n.scale[i]*n.scale[j] - dot(row[:j], n.chol[j][:j])
			if i != j {
				row[j] = s / n.chol[j][j]
				continue
			}
			if !(s > 1e-13) {
				return nil, false
			}
			row[j] = math.Sqrt(s)
		}
	}
	return n, true
}

// solve returns (XᵀX)⁻¹·v.
func (n *normal) solve(v []float64) []float64 {
	x := make([]float64, n.p)
	n.half(v, x)
	for i := n.p - 1; i >= 0; i-- {
		x[i] /= n.chol[i][i]
		axpy(-x[i], n.chol[i][:i], x[:i])
	}
	for i := range x {
		x[i] *= n.scale[i]
	}
	return x
}

// half writes L⁻¹·v into x, so that half(u)·half(v) = uᵀ(XᵀX)⁻¹v.
func (n *normal) half(v, x []float64) {
	for i, row := range n.chol {
		x[i] = (v[i]*n.scale[i] - dot(row[:i], x[:i])) / row[i]
	}
}
