package infer

import (
	"errors"
	"fmt"
	"math"
)

// MaxTable is the largest number of entries that an intermediate table may
// have (128 MiB of float64).
const MaxTable = 1 << 24

// Errors that a caller can act on.
var (
	// ErrImpossible says that the evidence has probability 0 under the model.
	ErrImpossible = errors.New("the evidence is impossible under the model")
	// ErrTooLarge says that the graph is too densely connected for exact
	// elimination within MaxTable entries.
	ErrTooLarge = errors.New("the graph needs a table too large to build")
)

// Var is a variable of one [Graph], numbered in the order of creation.
type Var int

// Evidence fixes variables to states, numbered from 0.
type Evidence map[Var]int

// Graph is a discrete factor graph. The zero value is an empty graph. Building
// it is not safe for concurrent use; asking it is.
type Graph struct {
	names   []string
	states  []int
	factors []table
}

// Var adds a variable with the given number of states and returns it. The name
// is used in error messages only. It panics unless states > 0.
func (g *Graph) Var(name string, states int) Var {
	if states < 1 {
		panic(fmt.Sprintf("infer: variable %q with %d states", name, states))
	}
	g.names = append(g.names, name)
	g.states = append(g.states, states)
	return Var(len(g.names) - 1)
}

// Factor multiplies the model by a table over vars. Entries run with the last
// variable fastest: for vars (A, B) entry a*states(B)+b is the weight of
// A = a, B = b. The values are copied. It panics on a table of the wrong
// length, a repeated or unknown variable, and a weight that is negative or not
// finite: these are mistakes of the program, not of the data.
func (g *Graph) Factor(vars []Var, weights []float64) {
	size := 1
	seen := map[Var]bool{}
	for _, v := range vars {
		if int(v) < 0 || int(v) >= len(g.states) || seen[v] {
			panic(fmt.Sprintf("infer: factor over unknown or repeated variable %d", v))
		}
		seen[v] = true
		size *= g.states[v]
	}
	if len(weights) != size {
		panic(fmt.Sprintf("infer: factor of %d weights, want %d", len(weights), size))
	}
	for i, w := range weights {
		if !(w >= 0) || math.IsInf(w, 0) {
			panic(fmt.Sprintf("infer: weight %d of a factor is %v", i, w))
		}
	}
	g.factors = append(g.factors, newTable(g, vars, weights))
}

// FactorFunc is [Graph.Factor] with the weights given by a function of the
// states of vars, in their order. The slice passed to f is reused.
func (g *Graph) FactorFunc(vars []Var, f func(state []int) float64) {
	size := 1
	for _, v := range vars {
		size *= g.states[v]
	}
	weights := make([]float64, size)
	state := make([]int, len(vars))
	for i := range weights {
		rest := i
		for k := len(vars) - 1; k >= 0; k-- {
			state[k] = rest % g.states[vars[k]]
			rest /= g.states[vars[k]]
		}
		weights[i] = f(state)
	}
	g.Factor(vars, weights)
}

// LogEvidence returns the natural logarithm of the sum of the model's weights
// over all assignments that agree with the evidence; for a Bayesian network
// that is ln P(evidence). Impossible evidence gives −Inf and no error.
func (g *Graph) LogEvidence(ev Evidence) (float64, error) {
	t, err := g.eliminate(nil, ev)
	if err != nil {
		return 0, err
	}
	return math.Log(t.w[0]) + t.logScale, nil
}

// Joint returns P(vars | evidence) as a table with the last of vars fastest. A
// variable that is also in the evidence has its whole weight on that state.
// With no vars it returns the single entry 1.
func (g *Graph) Joint(vars []Var, ev Evidence) ([]float64, error) {
	t, err := g.eliminate(vars, ev)
	if err != nil {
		return nil, err
	}
	sum := 0.0
	for _, w := range t.w {
		sum += w
	}
	if sum == 0 {
		return nil, ErrImpossible
	}
	return t.spread(g, vars, ev, sum), nil
}

// Posterior returns P(v | evidence), one entry per state.
func (g *Graph) Posterior(v Var, ev Evidence) ([]float64, error) {
	return g.Joint([]Var{v}, ev)
}

// Posteriors returns the posterior of every variable, in order of creation.
func (g *Graph) Posteriors(ev Evidence) ([][]float64, error) {
	out := make([][]float64, len(g.states))
	for v := range g.states {
		p, err := g.Posterior(Var(v), ev)
		if err != nil {
			return nil, fmt.Errorf("posterior of %s: %w", g.names[v], err)
		}
		out[v] = p
	}
	return out, nil
}

// check rejects evidence and queries about states and variables that do not
// exist.
func (g *Graph) check(keep []Var, ev Evidence) error {
	for v, s := range ev {
		if int(v) < 0 || int(v) >= len(g.states) {
			return fmt.Errorf("infer: evidence on unknown variable %d", v)
		}
		if s < 0 || s >= g.states[v] {
			return fmt.Errorf("infer: evidence %s = %d, but it has states 0 to %d", g.names[v], s, g.states[v]-1)
		}
	}
	seen := map[Var]bool{}
	for _, v := range keep {
		if int(v) < 0 || int(v) >= len(g.states) || seen[v] {
			return fmt.Errorf("infer: query of unknown or repeated variable %d", v)
		}
		seen[v] = true
	}
	return nil
}
