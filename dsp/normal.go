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
func newNormal(cols [][]float64) (n *normal, ok bool) {
	p := len(cols)
	n = &normal{p: p, scale: make([]float64, p), chol: make([][]float64, p)}
	for i, c := range cols {
		l := math.Sqrt(dot(c, c))
		if !(l > 0) || math.IsInf(l, 0) {
			return nil, false
		}
		n.scale[i] = 1 / l
	}
	for i := range p {
		n.chol[i] = make([]float64, i+1)
		for j := 0; j <= i; j++ {
			s := dot(cols[i], cols[j]) * n.scale[i] * n.scale[j]
			for k := range j {
				s -= n.chol[i][k] * n.chol[j][k]
			}
			if i != j {
				n.chol[i][j] = s / n.chol[j][j]
				continue
			}
			if !(s > 1e-13) {
				return nil, false
			}
			n.chol[i][i] = math.Sqrt(s)
		}
	}
	return n, true
}

// solve returns (XᵀX)⁻¹·v.
func (n *normal) solve(v []float64) []float64 {
	x := n.half(v)
	for i := n.p - 1; i >= 0; i-- {
		for k := i + 1; k < n.p; k++ {
			x[i] -= n.chol[k][i] * x[k]
		}
		x[i] /= n.chol[i][i]
	}
	for i := range x {
		x[i] *= n.scale[i]
	}
	return x
}

// half returns L⁻¹·v, so that half(u)·half(v) = uᵀ(XᵀX)⁻¹v.
func (n *normal) half(v []float64) []float64 {
	x := make([]float64, n.p)
	for i := range x {
		x[i] = v[i] * n.scale[i]
		for k := range i {
			x[i] -= n.chol[i][k] * x[k]
		}
		x[i] /= n.chol[i][i]
	}
	return x
}
