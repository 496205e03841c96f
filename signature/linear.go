package signature

import "math"

// matrix is a small dense symmetric or lower triangular matrix, row by row.
type matrix struct {
	n int
	a []float64
}

func newMatrix(n int) matrix { return matrix{n, make([]float64, n*n)} }

func (m matrix) at(i, j int) float64     { return m.a[i*m.n+j] }
func (m matrix) set(i, j int, v float64) { m.a[i*m.n+j] = v }
func (m matrix) add(i, j int, v float64) { m.a[i*m.n+j] += v }

// cholesky returns the lower triangle L with L·Lᵀ = m; ok is false where m is not
// positive definite.
func cholesky(m matrix) (l matrix, ok bool) {
	l = newMatrix(m.n)
	for i := range m.n {
		for j := 0; j <= i; j++ {
			s := m.at(i, j)
			for k := range j {
				s -= l.at(i, k) * l.at(j, k)
			}
			switch {
			case i != j:
				l.set(i, j, s/l.at(j, j))
			case !(s > 0):
				return l, false
			default:
				l.set(i, i, math.Sqrt(s))
			}
		}
	}
	return l, true
}

// forward solves L·x = b into dst, which may be b.
func (m matrix) forward(dst, b []float64) {
	for i := range m.n {
		s := b[i]
		row := m.a[i*m.n : i*m.n+i]
		for k, v := range row {
			s -= v * dst[k]
		}
		dst[i] = s / m.at(i, i)
	}
}

// backward solves Lᵀ·x = b into dst, which may be b.
func (m matrix) backward(dst, b []float64) {
	for i := m.n - 1; i >= 0; i-- {
		s := b[i]
		for k := i + 1; k < m.n; k++ {
			s -= m.at(k, i) * dst[k]
		}
		dst[i] = s / m.at(i, i)
	}
}

// solve solves L·Lᵀ·x = b.
func (m matrix) solve(b []float64) []float64 {
	x := make([]float64, m.n)
	m.forward(x, b)
	m.backward(x, x)
	return x
}

// inverse is (L·Lᵀ)⁻¹.
func (m matrix) inverse() matrix {
	inv := newMatrix(m.n)
	e := make([]float64, m.n)
	for j := range m.n {
		clear(e)
		e[j] = 1
		x := m.solve(e)
		for i, v := range x {
			inv.set(i, j, v)
		}
	}
	return inv
}

// logDet is ln det(L·Lᵀ).
func (m matrix) logDet() float64 {
	s := 0.0
	for i := range m.n {
		s += 2 * math.Log(m.at(i, i))
	}
	return s
}

// dot is the inner product of two slices of one length, in four sums that do not wait
// for each other.
func dot(a, b []float64) float64 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	i := 0
	for ; i+4 <= len(a); i += 4 {
		x, y := a[i:i+4:i+4], b[i:i+4:i+4]
		s0 += x[0] * y[0]
		s1 += x[1] * y[1]
		s2 += x[2] * y[2]
		s3 += x[3] * y[3]
	}
	for ; i < len(a); i++ {
		s0 += a[i] * b[i]
	}
	return s0 + s1 + s2 + s3
}
