package plan

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
)

// graph holds situations that can be reached, each once, with what can be done in
// them and the least expected cost to the end. Beliefs that agree to 1e-10 are one.
type graph struct {
	m      *Model
	choose func(point) []int32 // the actions to consider in a situation
	limit  int
	index  map[string]int32
	nodes  []node
	edges  []edge
	heads  []head
	order  []int32 // post-order of what is not solved yet
	key    []byte
	next   []float64
}

type node struct {
	point
	heads, end int32 // its actions in graph.heads
	value      float64
	over       bool
}

// head is an action taken in a situation.
type head struct {
	action     int32
	cost       float64 // expected, with covers and with the ends it may lead to
	edges, end int32
}

type edge struct {
	p  float64
	to int32
}

func newGraph(m *Model, limit int, choose func(point) []int32) *graph {
	return &graph{m: m, limit: limit, choose: choose, index: map[string]int32{}, next: make([]float64, m.n)}
}

// value is the cost to the end from a situation.
func (g *graph) value(ctx context.Context, q point) (float64, int32, error) {
	at, err := g.add(ctx, q)
	if err != nil {
		return 0, 0, err
	}
	if err := g.solve(ctx); err != nil {
		return 0, 0, err
	}
	return g.nodes[at].value, at, nil
}

func (g *graph) keyOf(q point) []byte {
	k := g.key[:0]
	k = binary.LittleEndian.AppendUint64(k, q.open)
	for _, u := range q.used[:g.m.onceWords] {
		k = binary.LittleEndian.AppendUint64(k, u)
	}
	for s, x := range q.b {
		if r := uint64(math.Round(x * 1e10)); r > 0 {
			k = binary.LittleEndian.AppendUint16(k, uint16(s))
			k = binary.LittleEndian.AppendUint64(k, r)
		}
	}
	g.key = k
	return k
}

// add explores a situation and all that follow from it.
func (g *graph) add(ctx context.Context, q point) (int32, error) {
	key := g.keyOf(q)
	if at, ok := g.index[string(key)]; ok {
		return at, nil
	}
	if len(g.nodes) >= g.limit {
		return 0, fmt.Errorf("%w: more than %d", ErrTooLarge, g.limit)
	}
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	at := int32(len(g.nodes))
	g.index[string(key)] = at
	g.nodes = append(g.nodes, node{point: q})
	var heads []head
	if g.m.settled(q.b) {
		g.nodes[at].over = true
	} else {
		for _, a := range g.choose(q) {
			h, ok, err := g.expand(ctx, q, at, a)
			if err != nil {
				return 0, err
			}
			if ok {
				heads = append(heads, h)
			}
		}
	}
	n := &g.nodes[at]
	n.heads = int32(len(g.heads))
	g.heads = append(g.heads, heads...)
	n.end = int32(len(g.heads))
	g.order = append(g.order, at)
	return at, nil
}

// expand follows one action; not ok: it changes nothing that is worth a cost.
func (g *graph) expand(ctx context.Context, q point, at, action int32) (head, bool, error) {
	h := head{action: action}
	if !g.m.changes(q, action) {
		return h, false, nil
	}
	cost, branches := g.m.step(q, action)
	h.cost = cost
	var edges []edge
	for _, br := range branches {
		to, err := g.add(ctx, br.point)
		if err != nil {
			return h, false, err
		}
		edges = append(edges, edge{br.p, to})
	}
	if len(edges) == 1 && edges[0].to == at && g.m.discount == 1 {
		return h, false, nil
	}
	h.edges = int32(len(g.edges))
	g.edges = append(g.edges, edges...)
	h.end = int32(len(g.edges))
	return h, true, nil
}

// solve finds the values of what was added since the last time, by value iteration
// in post-order: one sweep where nothing leads back.
func (g *graph) solve(ctx context.Context) error {
	const sweeps = 200_000
	for range sweeps {
		if err := ctx.Err(); err != nil {
			return err
		}
		change := 0.0
		for _, at := range g.order {
			n := &g.nodes[at]
			v := g.best(n, at)
			if v != n.value {
				d := math.Abs(v - n.value)
				if math.IsInf(v, 0) && math.IsInf(n.value, 0) {
					d = 0
				}
				change = max(change, d/max(1, math.Abs(v)))
				if math.IsInf(v, 0) {
					change = 1
				}
				n.value = v
			}
		}
		if change <= 1e-13*(1.0001-g.m.discount)/1.0001 || change <= 1e-15 {
			g.order = g.order[:0]
			return nil
		}
		if g.m.discount == 1 && change <= 1e-13 {
			g.order = g.order[:0]
			return nil
		}
	}
	return ErrDiverges
}

// best is the least cost over the actions of a situation.
func (g *graph) best(n *node, at int32) float64 {
	if n.over {
		return 0
	}
	if n.heads == n.end {
		return g.m.stuck + g.m.reassembly(n.open)
	}
	best := math.Inf(1)
	for i := n.heads; i < n.end; i++ {
		best = min(best, g.cost(&g.heads[i], at))
	}
	return best
}

// cost of taking an action in situation at and the best after it. A return to the
// same situation is summed as a geometric series.
func (g *graph) cost(h *head, at int32) float64 {
	v, stay := h.cost, 0.0
	for _, e := range g.edges[h.edges:h.end] {
		if e.to == at {
			stay += e.p * g.m.discount
		} else {
			v += g.m.discount * e.p * g.nodes[e.to].value
		}
	}
	return v / (1 - stay)
}

// branch is an outcome that does not end the problem.
type branch struct {
	outcome int
	p       float64
	point
}

// changes says whether an action can change what is known or what is.
func (m *Model) changes(q point, action int32) bool {
	f := &m.acts[action]
	if q.used.has(f.once) {
		return false
	}
	if f.ends != 0 || f.renews || m.discount < 1 {
		return true
	}
	for _, mv := range f.from {
		if q.b[mv.state] > 0 {
			return true
		}
	}
	return f.tells(q.b)
}

// tells says whether a test's outcomes depend on the state.
func (f *act) tells(b []float64) bool {
	if f.like == nil {
		return false
	}
	var first []float64
	for s, x := range b {
		if x <= 0 {
			continue
		}
		row := f.like[s*f.outcomes : (s+1)*f.outcomes]
		if first == nil {
			first = row
			continue
		}
		for o := range row {
			if math.Abs(row[o]-first[o]) > 1e-12 {
				return true
			}
		}
	}
	return false
}

// step is the expected cost of an action and the situations it leads to.
func (m *Model) step(q point, action int32) (float64, []branch) {
	f := &m.acts[action]
	cost, open := m.access(q.open, f.need, f.shut)
	cost += f.cost
	for s := range f.costIn {
		cost += q.b[s] * f.costIn[s]
	}
	b := f.move(q.b)
	after := m.after(q.used, int(action))
	var out []branch
	for o := range f.outcomes {
		next := make([]float64, m.n)
		total := 0.0
		for s, x := range b {
			if x > 0 {
				next[s] = x * f.chance(s, o)
				total += next[s]
			}
		}
		if total <= 1e-15 {
			continue
		}
		if f.ends>>o&1 != 0 {
			cost += total * m.reassembly(open)
			for s, x := range next {
				cost += x * m.endCost[s]
			}
			continue
		}
		if f.renews {
			copy(next, m.prior)
		} else {
			for s := range next {
				next[s] /= total
			}
		}
		out = append(out, branch{o, total, point{next, open, after}})
	}
	return cost, out
}

// move is the belief after an action's moves; the same slice when nothing moves.
func (f *act) move(b []float64) []float64 {
	if !f.moves {
		return b
	}
	next := make([]float64, len(b))
	copy(next, b)
	for _, mv := range f.from {
		next[mv.state] -= b[mv.state]
		for _, t := range mv.to {
			next[t.State] += b[mv.state] * t.P
		}
	}
	for s := range next {
		if next[s] < 1e-17 { // what is left of x - x
			next[s] = 0
		}
	}
	return next
}
