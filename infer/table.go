package infer

import "math"

// table is a factor: weights over vars in ascending order, last fastest, times
// exp(logScale).
type table struct {
	vars     []Var
	states   []int
	w        []float64
	logScale float64
}

// newTable copies weights, given with vars in any order, into ascending order.
func newTable(g *Graph, vars []Var, weights []float64) table {
	t := table{vars: sorted(vars)}
	size := 1
	for _, v := range t.vars {
		t.states = append(t.states, g.states[v])
		size *= g.states[v]
	}
	t.w = make([]float64, size)
	src := strides(vars, func(v Var) int { return g.states[v] })
	walk(t.states, pick(src, t.vars), func(to, from int) { t.w[to] = weights[from] })
	t.rescale()
	return t
}

// rescale divides by the largest entry and keeps its logarithm, so that long
// products stay within range. An all-zero table is left alone.
func (t *table) rescale() {
	top := 0.0
	for _, w := range t.w {
		top = math.Max(top, w)
	}
	if top == 0 || top == 1 {
		return
	}
	for i := range t.w {
		t.w[i] /= top
	}
	t.logScale += math.Log(top)
}

// condition cuts the evidence out of the table.
func (t table) condition(ev Evidence) table {
	var out table
	offset := 0
	all := strides(t.vars, func(v Var) int { return t.state(v) })
	for i, v := range t.vars {
		if s, ok := ev[v]; ok {
			offset += s * all[v]
			continue
		}
		out.vars = append(out.vars, v)
		out.states = append(out.states, t.states[i])
	}
	if len(out.vars) == len(t.vars) {
		return t
	}
	out.w = make([]float64, product(out.states))
	walk(out.states, pick(all, out.vars), func(to, from int) { out.w[to] = t.w[from+offset] })
	out.logScale = t.logScale
	out.rescale()
	return out
}

func (t table) state(v Var) int {
	for i, u := range t.vars {
		if u == v {
			return t.states[i]
		}
	}
	return 0
}

// combine multiplies the tables over the union of their variables and sums out
// the variable drop (none when drop < 0). The caller has checked the size.
func combine(tables []table, vars []Var, states []int, drop Var) table {
	w := make([]float64, product(states))
	for i := range w {
		w[i] = 1
	}
	out := table{vars: vars, states: states, w: w}
	for _, t := range tables {
		own := strides(t.vars, func(v Var) int { return t.state(v) })
		walk(states, pick(own, vars), func(to, from int) { w[to] *= t.w[from] })
		out.logScale += t.logScale
		out.rescale()
	}
	if drop < 0 {
		return out
	}
	return out.sumOut(drop)
}

// sumOut sums the variable drop out of the table.
func (t table) sumOut(drop Var) table {
	var out table
	n := 1
	for i, v := range t.vars {
		if v == drop {
			n = t.states[i]
			continue
		}
		out.vars = append(out.vars, v)
		out.states = append(out.states, t.states[i])
	}
	all := strides(t.vars, func(v Var) int { return t.state(v) })
	step := all[drop]
	out.w = make([]float64, product(out.states))
	walk(out.states, pick(all, out.vars), func(to, from int) {
		sum := 0.0
		for s := range n {
			sum += t.w[from+s*step]
		}
		out.w[to] = sum
	})
	out.logScale = t.logScale
	out.rescale()
	return out
}

// spread returns the table normalised by sum, in the order of vars, with the
// variables of the evidence put back in.
func (t table) spread(g *Graph, vars []Var, ev Evidence, sum float64) []float64 {
	size := 1
	for _, v := range vars {
		size *= g.states[v]
	}
	out := make([]float64, size)
	to := strides(vars, func(v Var) int { return g.states[v] })
	base := 0
	for _, v := range vars {
		if s, ok := ev[v]; ok {
			base += s * to[v]
		}
	}
	walk(t.states, pick(to, t.vars), func(from, at int) { out[base+at] = t.w[from] / sum })
	return out
}

// strides returns the step of each variable in a table laid out in the order
// of vars, last fastest.
func strides(vars []Var, states func(Var) int) map[Var]int {
	out := make(map[Var]int, len(vars))
	step := 1
	for i := len(vars) - 1; i >= 0; i-- {
		out[vars[i]] = step
		step *= states(vars[i])
	}
	return out
}

// pick lists the strides of vars; a variable that is not there has stride 0.
func pick(stride map[Var]int, vars []Var) []int {
	out := make([]int, len(vars))
	for i, v := range vars {
		out[i] = stride[v]
	}
	return out
}

// walk visits every entry of a table with the given states in order, and the
// position that belongs to it in another table with the given strides.
func walk(states, stride []int, visit func(index, other int)) {
	at := make([]int, len(states))
	other := 0
	for i := range product(states) {
		visit(i, other)
		for k := len(states) - 1; k >= 0; k-- {
			at[k]++
			other += stride[k]
			if at[k] < states[k] {
				break
			}
			other -= stride[k] * states[k]
			at[k] = 0
		}
	}
}

func product(states []int) int {
	n := 1
	for _, s := range states {
		n *= s
	}
	return n
}
