package teardown

import (
	"cmp"
	"context"
	"slices"
)

// width is how many unfinished plans are carried along where no proof is in reach.
const width = 24

// beam makes a plan that is not proved least: class by class, the most promising
// unfinished plans are carried along. Each step closes what the next class wants shut,
// opens what it needs, and does it, with all that becomes free.
func (m *model) beam(ctx context.Context) (found, error) {
	first := &node{state: state{open: m.start}}
	first.spent = cost{time: m.left + m.settle(&first.state)}
	front := []*node{first}
	var best *node
	for len(front) > 0 {
		if ctx.Err() != nil {
			return found{}, ctx.Err()
		}
		seen := map[state]*node{}
		for _, n := range front {
			if m.must.within(n.done) {
				if e := m.step(n, act{do: end}); best == nil || e.spent.less(best.spent) {
					best = e
				}
			}
			for k := range m.class {
				if n.done.has(k) || !m.class[k].before.within(n.done) || !m.worth(k) {
					continue
				}
				next := m.reach(n, k)
				if old, ok := seen[next.state]; !ok || next.spent.less(old.spent) {
					next.number = k
					next.bound = next.spent.plus(m.bound(&next.state))
					seen[next.state] = next
				}
			}
		}
		front = front[:0]
		for _, n := range seen {
			if best == nil || n.bound.less(best.spent) {
				front = append(front, n)
			}
		}
		slices.SortFunc(front, compareNodes)
		front = front[:min(len(front), width)]
	}
	return found{acts: best.acts(), spent: best.spent}, nil
}

// compareNodes orders unfinished plans by what they promise; equals by their state, so
// that the order of a map decides nothing.
func compareNodes(a, b *node) int {
	if c := cmp.Or(cmp.Compare(a.bound.time, b.bound.time), cmp.Compare(a.bound.rest, b.bound.rest), cmp.Compare(b.spent.time, a.spent.time)); c != 0 {
		return c
	}
	return cmp.Or(slices.Compare(a.done[:], b.done[:]), slices.Compare(a.open[:], b.open[:]))
}

func (m *model) step(n *node, a act) *node {
	s, c := m.apply(&n.state, a)
	return &node{state: s, spent: n.spent.plus(c), from: n, act: a}
}

// reach closes and opens what class k wants until it is done.
func (m *model) reach(n *node, k int) *node {
	c := &m.class[k]
	need := c.need
	if c.cased && !c.offers.meets(n.open) {
		best := set{}
		for i := range c.offers.all {
			if chain := m.tree[i].chain; best.empty() || m.around(chain.minus(n.open)) < m.around(best.minus(n.open)) {
				best = chain
			}
		}
		need = need.or(best)
	}
	bars := c.shut
	for i := range need.minus(n.open).all {
		for r := range m.tree[i].rivals.all {
			bars = bars.or(m.tree[r].behind)
		}
	}
	for _, i := range m.priority {
		if n.open.has(i) && bars.has(i) {
			n = m.step(n, act{shut, i})
		}
	}
	for i := range need.all { // parents before what is behind them
		if !n.open.has(i) {
			n = m.step(n, act{open, i})
		}
	}
	if !n.done.has(k) && m.powered {
		n = m.step(n, act{do: swap})
	}
	return n
}

func (m *model) around(s set) int64 {
	var sum int64
	for i := range s.all {
		sum += m.tree[i].cycle()
	}
	return sum
}
