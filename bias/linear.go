package bias

import "math"

// lower is the Cholesky factor of a symmetric positive definite matrix, row by row.
type lower [][]float64

// factorise returns L of k = L·Lᵀ. What rounding leaves of a direction without variance
// counts as the least that keeps the factor finite.
func factorise(k [][]float64) lower {
	l := make(lower, len(k))
	for i := range k {
		l[i] = make([]float64, i+1)
		for j := 0; j <= i; j++ {
			s := k[i][j]
			for m := range j {
				s -= l[i][m] * l[j][m]
			}
			if i == j {
				l[i][i] = math.Sqrt(math.Max(s, 1e-10))
			} else {
				l[i][j] = s / l[j][j]
			}
		}
	}
	return l
}

// whiten puts L⁻¹·v into out.
func (l lower) whiten(v, out []float64) {
	for i, row := range l {
		s := v[i]
		for j, x := range row[:i] {
			s -= x * out[j]
		}
		out[i] = s / row[i]
	}
}

// logDet is the logarithm of the determinant of L·Lᵀ.
func (l lower) logDet() float64 {
	s := 0.0
	for i := range l {
		s += 2 * math.Log(l[i][i])
	}
	return s
}

// times is L·v.
func (l lower) times(v []float64) []float64 {
	out := make([]float64, len(l))
	for i, row := range l {
		for j, x := range row {
			out[i] += x * v[j]
		}
	}
	return out
}

func square(n int) [][]float64 {
	out := make([][]float64, n)
	for i := range out {
		out[i] = make([]float64, n)
	}
	return out
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i, x := range a {
		s += x * b[i]
	}
	return s
}
