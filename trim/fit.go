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
func (f *fit) variance(g slopes) float64 { return f.covariance(g, g) }

func (f *fit) covariance(g, h slopes) float64 {
	n := f.known()
	sum := 0.0
	for a, i := range g.at {
		for c, j := range h.at {
			switch {
			case i < n && j < n:
				sum += g.x[a] * h.x[c] * f.cov.At(i, j)
			case i == j:
				sum += g.x[a] * h.x[c]
			}
		}
	}
	return sum
}

// known is how many unknowns there were at the last fit.
func (f *fit) known() int {
	if f.cov == nil {
		return 0
	}
	return f.cov.SymmetricDim()
}

// along is Σ·g, of all unknowns.
func (f *fit) along(g slopes) []float64 {
	out := make([]float64, len(f.z))
	n := f.known()
	for k, i := range g.at {
		if i >= n {
			out[i] += g.x[k]
			continue
		}
		for j := range n {
			out[j] += g.x[k] * f.cov.At(i, j)
		}
	}
	return out
}

// refit finds the most probable unknowns given all readings so far, and takes the
// covariance from the curvature there: Gauss and Newton's steps, damped after Marquardt
// (SIAM J. Appl. Math. 11, 1963) where one would raise the cost.
func (b *Bench) refit() {
	n := len(b.params)
	z := make([]float64, n)
	copy(z, b.fit.z)
	b.fit.z = z
	b.collect()
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
	for _, o := range b.seen {
		if o.batch != at.batch {
			at = world{b.moves[:o.moment], o.batch}
			p = b.eval(z, at, b.m.every, true)
		}
		e, g := o.mean-p.y[o.v], p.g[o.v]
		cost += e * e * o.weight
		for a, i := range g.at {
			gi := g.x[a] * o.weight
			r[i] += gi * e
			for c, j := range g.at {
				if j >= i {
					data[i*n+j] += gi * g.x[c]
				}
			}
		}
	}
	return h, r, cost
}

// seen is what was read of one quantity at one state: the weighted mean of its readings.
type seen struct {
	v, moment, batch int
	mean, weight     float64
}

// collect gathers the readings that count by state and quantity. Readings without a move
// or a change between them are of one state.
func (b *Bench) collect() {
	b.seen = b.seen[:0:0]
	type key struct{ v, moment, jumps int }
	at := map[key]int{}
	states := map[[2]int]int{} // of one moment and number of changes, the first batch
	for _, rd := range b.reads {
		if rd.doubted {
			continue
		}
		changes := 0
		for _, j := range b.jumps {
			if j.batch <= rd.batch {
				changes++
			}
		}
		state := [2]int{rd.moment, changes}
		if _, ok := states[state]; !ok {
			states[state] = rd.batch
		}
		k, w := key{rd.v, rd.moment, changes}, 1/(rd.SD*rd.SD)
		i, ok := at[k]
		if !ok {
			i = len(b.seen)
			at[k] = i
			b.seen = append(b.seen, seen{v: rd.v, moment: rd.moment, batch: states[state]})
		}
		o := &b.seen[i]
		o.mean += (rd.Value - o.mean) * w / (o.weight + w)
		o.weight += w
	}
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
