package plan

import (
	"context"
	"math"
)

// Solution is the least expected cost of a situation, and of each action in it.
type Solution struct {
	Cost   float64
	Action int // the best; None if the problem is over or nothing is left to do
	// Q is the expected cost of each action taken next with the best plan after it;
	// infinite for an action that changes nothing.
	Q     []float64
	Nodes int // situations that can be reached
}

// Exact finds the least expected cost by dynamic programming over all situations
// that can be reached, at most limit of them: [ErrTooLarge] says that there are
// more, [ErrDiverges] that no plan ends. Beliefs are told apart to 1e-10. Ties go
// to the lower index.
func (m *Model) Exact(ctx context.Context, s Situation, limit int) (*Solution, error) {
	q, err := m.point(s)
	if err != nil {
		return nil, err
	}
	return m.exact(ctx, q, limit, m.all())
}

func (m *Model) all() []int32 {
	all := make([]int32, len(m.acts))
	for i := range all {
		all[i] = int32(i)
	}
	return all
}

func (m *Model) exact(ctx context.Context, q point, limit int, among []int32) (*Solution, error) {
	g := newGraph(m, limit, func(point) []int32 { return among })
	v, at, err := g.value(ctx, q)
	if err != nil {
		return nil, err
	}
	sol := &Solution{Cost: v, Action: None, Q: make([]float64, len(m.acts)), Nodes: len(g.nodes)}
	for a := range sol.Q {
		sol.Q[a] = math.Inf(1)
	}
	n := &g.nodes[at]
	for i := n.heads; i < n.end; i++ {
		h := &g.heads[i]
		sol.Q[h.action] = g.cost(h, at)
		if sol.Action == None || less(sol.Q[h.action], sol.Q[sol.Action]) {
			sol.Action = int(h.action)
		}
	}
	return sol, nil
}

// less compares costs; what differs by rounding only is equal.
func less(a, b float64) bool {
	if math.IsInf(b, 1) {
		return a < b
	}
	return a < b-1e-11*max(1, math.Abs(b))
}
