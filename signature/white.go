package signature

import (
	"math"
	"slices"
)

// vec is a change of the figures in the form in which it is weighed: the figures of each
// track divided by the square root of their covariance, and what of them could as well
// be common to all tracks. Tracks that do not change are nil.
//
// With W the covariance of a track and E that of the common part, the covariance of all
// figures is W on the tracks plus E between all of them, and its inverse
//
//	aᵀC⁻¹b = Σ_t aᵀW⁻¹b - (Σ W⁻¹a)ᵀ(E⁻¹ + Σ W⁻¹)⁻¹(Σ W⁻¹b)
//
// so that inner is a sum over the tracks that both change, less one product. The common
// part holds, beside each row, how the delays of a row lean across the head: a tape that
// weaves turns all tracks about one line (the rows from len(rows) on).
type vec struct {
	xi [][]float64 // [track][row]
	v  []float64
}

func (a *vec) inner(b *vec) float64 {
	s := -dot(a.v, b.v)
	for t, x := range a.xi {
		if x != nil && b.xi[t] != nil {
			s += dot(x, b.xi[t])
		}
	}
	return s
}

// plus adds k·b to a, which must own its slices.
func (a *vec) plus(k float64, b *vec) {
	for t, x := range b.xi {
		if x == nil {
			continue
		}
		if a.xi[t] == nil {
			a.xi[t] = make([]float64, len(x))
		}
		for i, v := range x {
			a.xi[t][i] += k * v
		}
	}
	for i, v := range b.v {
		a.v[i] += k * v
	}
}

func (a *vec) clone() *vec {
	c := &vec{xi: make([][]float64, len(a.xi)), v: append([]float64(nil), a.v...)}
	for t, x := range a.xi {
		if x != nil {
			c.xi[t] = append([]float64(nil), x...)
		}
	}
	return c
}

// white turns changes of figures into vecs.
type white struct {
	d      *data
	dense  [][]int     // [track] rows of levels and delays that are there
	chol   []matrix    // [track] of their covariance
	scale  [][]float64 // [track][row] 1/sd of other rows, 0 where there is no figure
	lean   []int       // delay rows, in order
	common matrix      // Cholesky of E⁻¹ + Σ W⁻¹
}

func newWhite(d *data, s spread, bare bool) *white {
	w := &white{d: d}
	n := len(d.rows)
	e, _ := cholesky(d.commonCovariance(s))
	rowwise := e.inverse()
	for r, row := range d.rows {
		if row.kind == rowDelay {
			w.lean = append(w.lean, r)
		}
	}
	sum := newMatrix(n + len(w.lean))
	for i := range n {
		for j := range n {
			sum.set(i, j, rowwise.at(i, j))
		}
	}
	for k, r := range w.lean {
		sum.set(n+k, n+k, 1/sq(math.Max(d.weave[r], 1e-3)))
	}
	for t := range d.tracks {
		var rows []int
		scale := make([]float64, n)
		for r := range d.rows {
			switch {
			case d.sd[t][r] == missing:
			case d.rows[r].kind == rowLevel, d.rows[r].kind == rowDelay:
				rows = append(rows, r)
			default:
				scale[r] = 1 / d.ownSpread(s, t, r)
				sum.add(r, r, scale[r]*scale[r])
			}
		}
		l, _ := cholesky(d.trackCovariance(s, t, rows, bare))
		inv := l.inverse()
		for i, r := range rows {
			for j, q := range rows {
				v := inv.at(i, j)
				sum.add(r, q, v)
				// The rows that lean stand after the others.
				k, m := slices.Index(w.lean, r), slices.Index(w.lean, q)
				if k >= 0 {
					sum.add(n+k, q, v*d.lean(t))
					sum.add(q, n+k, v*d.lean(t))
				}
				if k >= 0 && m >= 0 {
					sum.add(n+k, n+m, v*sq(d.lean(t)))
				}
			}
		}
		w.dense, w.chol, w.scale = append(w.dense, rows), append(w.chol, l), append(w.scale, scale)
	}
	w.common, _ = cholesky(sum)
	return w
}

// of turns x[track][row] into a vec; a nil track does not change.
func (w *white) of(x [][]float64) *vec {
	d := w.d
	n := len(d.rows)
	out := &vec{xi: make([][]float64, len(x)), v: make([]float64, n+len(w.lean))}
	tmp := make([]float64, n)
	for t, col := range x {
		if col == nil {
			continue
		}
		xi := make([]float64, n)
		rows := w.dense[t]
		l := tmp[:len(rows)]
		for i, r := range rows {
			l[i] = col[r]
		}
		w.chol[t].forward(l, l)
		for i, r := range rows {
			xi[r] = l[i]
		}
		w.chol[t].backward(l, l)
		for i, r := range rows {
			out.v[r] += l[i]
			if d.rows[r].kind == rowDelay {
				out.v[n+slices.Index(w.lean, r)] += d.lean(t) * l[i]
			}
		}
		for r, k := range w.scale[t] {
			if k > 0 {
				xi[r] = col[r] * k
				out.v[r] += xi[r] * k
			}
		}
		out.xi[t] = xi
	}
	w.common.forward(out.v, out.v)
	return out
}

// shared is what all tracks have in common given a residual: the mean of the common part.
func (w *white) shared(r *vec) []float64 {
	out := make([]float64, len(r.v))
	w.common.backward(out, r.v)
	return out[:len(w.d.rows)]
}

// leans is how the delays of each row lean given a residual, arcmin, by row.
func (w *white) leans(r *vec) []float64 {
	all := make([]float64, len(r.v))
	w.common.backward(all, r.v)
	n := len(w.d.rows)
	out := make([]float64, n)
	for k, row := range w.lean {
		out[row] = all[n+k]
	}
	return out
}
