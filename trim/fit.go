package trim

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// fit is the most probable unknowns and their covariance; unknowns that came after the
// last fit are as before any reading.
type fit struct {
	z    []float64
	cov  *mat.SymDense
	cost float64 // -2·log of the posterior, up to a constant
}

// variance is gᵀ·Σ·g.
func (f *fit) variance(g []float64) float64 { return f.covariance(g, g) }

func (f *fit) covariance(g, h []float64) float64 {
	n := 0
	if f.cov != nil {
		n = f.cov.SymmetricDim()
	}
	sum := 0.0
	for i, x := range g {
		switch {
		case x == 0:
		case i >= n:
			sum += x * h[i]
		default:
			for j, y := range h[:n] {
				if y != 0 {
					sum += x * y * f.cov.At(i, j)
				}
			}
		}
	}
	return sum
}

// along is Σ·g.
func (f *fit) along(g []float64) []float64 {
	out := make([]float64, len(g))
	n := 0
	if f.cov != nil {
		n = f.cov.SymmetricDim()
	}
	for i, x := range g {
		switch {
		case x == 0:
		case i >= n:
			out[i] = x
		default:
			for j := range n {
				out[j] += x * f.cov.At(i, j)
			}
		}
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

// refit finds the most probable unknowns given all readings so far, and takes the
// covariance from the curvature there: Gauss and Newton's steps, damped after Marquardt
// (SIAM J. Appl. Math. 11, 1963) where one would raise the cost.
func (b *Bench) refit() {
	n := len(b.params)
	z := make([]float64, n)
	copy(z, b.fit.z)
	b.fit.z = z
	h, r, cost := b.normal(z)
	damp := 0.0
	for range 40 {
		step, ok := solve(h, r, damp)
		if !ok {
			damp = max(1e-3, 10*damp)
			continue
		}
		next, longest := make([]float64, n), 0.0
		for i := range z {
			next[i] = z[i] + step[i]
			longest = max(longest, math.Abs(step[i]))
		}
		h2, r2, cost2 := b.normal(next)
		if !(cost2 <= cost+1e-9) {
			if damp = max(1e-2, 10*damp); damp > 1e8 {
				break
			}
			continue
		}
		z, h, r, cost = next, h2, r2, cost2
		damp /= 10
		if damp < 1e-4 {
			damp = 0
		}
		if longest < 1e-6 {
			break
		}
	}
	var chol mat.Cholesky
	cov := mat.NewSymDense(n, nil)
	if chol.Factorize(h) {
		// h ≥ identity, so its inverse always exists.
		_ = chol.InverseTo(cov)
	}
	b.fit = fit{z, cov, cost}
}

func solve(h *mat.SymDense, r []float64, damp float64) ([]float64, bool) {
	n := len(r)
	a := h
	if damp > 0 {
		a = mat.NewSymDense(n, nil)
		a.CopySym(h)
		for i := range n {
			a.SetSym(i, i, h.At(i, i)*(1+damp))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return nil, false
	}
	out := mat.NewVecDense(n, nil)
	if err := chol.SolveVecTo(out, mat.NewVecDense(n, r)); err != nil {
		return nil, false
	}
	return out.RawVector().Data, true
}

// normal is the normal matrix, the descent and the cost at unknowns z.
func (b *Bench) normal(z []float64) (h *mat.SymDense, r []float64, cost float64) {
	n := len(z)
	h, r = mat.NewSymDense(n, nil), make([]float64, n)
	data := h.RawSymmetric().Data
	for i, x := range z {
		data[i*n+i] = 1
		r[i] = -x
		cost += x * x
	}
	var p point
	at := world{batch: -1}
	idx := make([]int, 0, 32)
	for _, rd := range b.reads {
		if rd.doubted {
			continue
		}
		if rd.batch != at.batch {
			at = world{b.moves[:rd.moment], rd.batch}
			p = b.eval(z, at, true)
		}
		e, w, g := rd.Value-p.y[rd.v], 1/(rd.SD*rd.SD), p.g[rd.v]
		cost += e * e * w
		idx = idx[:0]
		for i, x := range g {
			if x != 0 {
				idx = append(idx, i)
			}
		}
		for a, i := range idx {
			gi := g[i] * w
			r[i] += gi * e
			for _, j := range idx[a:] {
				data[i*n+j] += gi * g[j]
			}
		}
	}
	return h, r, cost
}

// settleSigns tries each family whose direction is not known the other way round, keeps
// the likelier, and how sure that is.
func (b *Bench) settleSigns() {
	for f := range b.sign {
		if b.sure[f] > 0.9999 || !b.tried(f) {
			continue
		}
		kept := b.fit
		b.sign[f] = -b.sign[f]
		b.refit()
		if b.fit.cost > kept.cost {
			b.sign[f] = -b.sign[f]
			b.fit, kept = kept, b.fit
		}
		b.sure[f] = 1 / (1 + math.Exp((b.fit.cost-kept.cost)/2))
	}
}

// tried is whether a trim of a family was turned with effect and something read since.
func (b *Bench) tried(f int) bool {
	for _, mv := range b.moves[:b.fresh] {
		if b.m.family[mv.trim] == f && mv.factor != 0 {
			return true
		}
	}
	return false
}
