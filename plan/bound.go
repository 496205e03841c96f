package plan

import (
	"context"
	"math"
)

// Clairvoyant is what somebody would pay, on average, who knew the state: in each
// state the cheapest way to the end, with its covers, its repairs and whatever test
// must end it. No policy costs less. It needs Discount 1; where the goal is to
// identify the state it is 0. The error is the context's.
func (m *Model) Clairvoyant(ctx context.Context, s Situation) (float64, error) {
	q, err := m.point(s)
	if err != nil || m.p.Goal == Identify {
		return 0, err
	}
	c := clairvoyant{m: m, index: map[seer]int{}}
	starts := make([]int, m.n)
	for state, x := range q.b {
		if x > 0 {
			starts[state] = c.add(seer{int32(state), q.open, q.used})
		}
	}
	if err := c.solve(ctx); err != nil {
		return 0, err
	}
	total := 0.0
	for state, x := range q.b {
		if x > 0 {
			total += x * c.value[starts[state]]
		}
	}
	return total, nil
}

// seer is a known state with what is open and used.
type seer struct {
	state int32
	open  uint64
	used  used
}

type clairvoyant struct {
	m     *Model
	index map[seer]int
	at    []seer
	ways  [][]way
	value []float64
}

// way is an action in a known state.
type way struct {
	cost float64
	to   []edge
}

func (c *clairvoyant) add(q seer) int {
	if i, ok := c.index[q]; ok {
		return i
	}
	i := len(c.at)
	c.index[q] = i
	c.at = append(c.at, q)
	c.ways = append(c.ways, nil)
	c.value = append(c.value, 0)
	var ways []way
	for a := range c.m.acts {
		if w, ok := c.way(q, a); ok {
			ways = append(ways, w)
		}
	}
	c.ways[i] = ways
	return i
}

// way follows an action that moves or may end this state; others tell a clairvoyant
// nothing.
func (c *clairvoyant) way(q seer, a int) (way, bool) {
	f := &c.m.acts[a]
	to := []Move{{int(q.state), 1}}
	moves := false
	for _, mv := range f.from {
		if mv.state == q.state {
			to, moves = mv.to, true
		}
	}
	if !moves && (f.endP == nil || f.endP[q.state] == 0) || q.used.has(f.once) {
		return way{}, false
	}
	cost, open := c.m.access(q.open, f.need, f.shut)
	cost += f.cost
	if f.costIn != nil {
		cost += f.costIn[q.state]
	}
	w := way{cost: cost}
	after := c.m.after(q.used, a)
	for _, t := range to {
		end := 0.0
		if f.endP != nil {
			end = f.endP[t.State]
		}
		w.cost += t.P * end * (c.m.endCost[t.State] + c.m.reassembly(open))
		if p := t.P * (1 - end); p > 1e-15 {
			w.to = append(w.to, edge{p, int32(c.add(seer{int32(t.State), open, after}))})
		}
	}
	return w, true
}

// solve iterates from 0 upwards: with costs of at least 0 every sweep is a bound, and
// with others the sweeps only end when nothing changes.
func (c *clairvoyant) solve(ctx context.Context) error {
	for range 10_000 {
		if err := ctx.Err(); err != nil {
			return err
		}
		change := 0.0
		for i := len(c.at) - 1; i >= 0; i-- {
			best := math.Inf(1)
			if len(c.ways[i]) == 0 {
				best = c.m.stuck + c.m.reassembly(c.at[i].open)
			}
			for _, w := range c.ways[i] {
				best = min(best, c.cost(w, i))
			}
			if best != c.value[i] {
				change = max(change, math.Abs(best-c.value[i]))
				c.value[i] = best
			}
		}
		if change <= 1e-12 {
			return nil
		}
	}
	return nil
}

func (c *clairvoyant) cost(w way, at int) float64 {
	v, stay := w.cost, 0.0
	for _, e := range w.to {
		if int(e.to) == at {
			stay += e.p
		} else {
			v += e.p * c.value[e.to]
		}
	}
	return v / (1 - stay)
}
