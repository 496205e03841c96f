package teardown

import (
	"container/heap"
	"context"
	"slices"
)

// DefaultNodes is how many situations one search looks at before it gives up the proof.
const DefaultNodes = 40000

// act is one thing done: an opening made or closed, a class done that is not worth it
// by itself, the supply switched, or the end: all closed, the rest left.
type act struct {
	do actKind
	i  int // opening or class
}

type actKind uint8

const (
	begin actKind = iota
	open
	shut
	perform
	swap
	end
)

// node is a situation reached, with how.
type node struct {
	state
	spent  cost
	bound  cost // spent and what is still to come at least
	from   *node
	act    act
	number int // in the order of finding, so that ties do not depend on chance
	at     int // in the heap
}

// frontier is a heap of what is to be looked at: least bound first, then what is
// furthest on, then the latest.
type frontier []*node

func (f frontier) Len() int { return len(f) }
func (f frontier) Less(i, j int) bool {
	a, b := f[i], f[j]
	if a.bound != b.bound {
		return a.bound.less(b.bound)
	}
	if a.spent != b.spent {
		return b.spent.less(a.spent)
	}
	return a.number > b.number
}
func (f frontier) Swap(i, j int) {
	f[i], f[j] = f[j], f[i]
	f[i].at, f[j].at = i, j
}
func (f *frontier) Push(x any) {
	n := x.(*node)
	n.at = len(*f)
	*f = append(*f, n)
}
func (f *frontier) Pop() any {
	old := *f
	n := old[len(old)-1]
	*f = old[:len(old)-1]
	n.at = -1
	return n
}

// found is the outcome of a search.
type found struct {
	acts   []act
	spent  cost
	least  int64 // no plan takes fewer expected minutes, in millionths
	proved bool
	nodes  int
}

// search is A* over situations. Nothing is lost by what it does not try: work that the
// present state allows and that is not dearer now than later is done at once, since
// having done it hinders nothing; something is opened only where work that is left
// could want it, and closed before the end only where such work wants it shut, since
// the closing at the end costs the same.
func (m *model) search(ctx context.Context, limit int) (found, error) {
	known := map[state]*node{}
	var queue frontier
	count := 0
	add := func(s state, spent cost, from *node, a act) {
		if m.timed {
			spent.rest = 0
		}
		old, ok := known[s]
		if ok && !spent.less(old.spent) {
			return
		}
		count++
		n := &node{state: s, spent: spent, from: from, act: a, number: count}
		n.bound = spent
		if a.do != end {
			n.bound = spent.plus(m.bound(&s))
		}
		if m.timed {
			n.bound.rest = 0
		}
		if ok && old.at >= 0 {
			heap.Remove(&queue, old.at)
		}
		known[s] = n
		heap.Push(&queue, n)
	}
	first := state{open: m.start}
	spent := cost{time: m.left + m.settle(&first)}
	add(first, spent, nil, act{do: begin})
	for looked := 0; len(queue) > 0; looked++ {
		if looked%1024 == 0 && ctx.Err() != nil {
			return found{}, ctx.Err()
		}
		n := heap.Pop(&queue).(*node)
		if n.act.do == end {
			return found{acts: n.acts(), spent: n.spent, least: n.spent.time, proved: true, nodes: looked}, nil
		}
		if looked == limit {
			return found{least: n.bound.time, nodes: looked}, nil
		}
		m.successors(&n.state, func(a act, s state, c cost) { add(s, n.spent.plus(c), n, a) })
	}
	panic("teardown: a checked problem has no plan")
}

// acts are the acts that led to a node, in order.
func (n *node) acts() []act {
	var out []act
	for ; n.from != nil; n = n.from {
		out = append(out, n.act)
	}
	slices.Reverse(out)
	return out
}

// successors yields each act worth trying in a state, the state after it, and its cost.
func (m *model) successors(s *state, yield func(act, state, cost)) {
	if m.must.within(s.done) {
		a := act{do: end}
		next, c := m.apply(s, a)
		yield(a, next, c)
	}
	var useful, hinders set
	var here, swapped bool
	try := func(a act) {
		next, c := m.apply(s, a)
		yield(a, next, c)
	}
	for k := range m.all.minus(s.done).all {
		c := &m.class[k]
		useful, hinders = useful.or(c.uses), hinders.or(c.shut)
		if !m.fits(s, k) {
			continue
		}
		here = !m.powered || c.power == AnyPower || (c.power == On) == s.on
		if here && !m.worth(k) {
			try(act{perform, k})
		}
		swapped = swapped || !here
	}
	if swapped {
		try(act{do: swap})
	}
	for i := range m.tree {
		if s.open.has(i) {
			if hinders.has(i) && m.tree[i].behind.and(s.open).count() == 1 {
				try(act{shut, i})
			}
			continue
		}
		if useful.has(i) && m.openable(s, i) {
			try(act{open, i})
		}
	}
}

func (m *model) openable(s *state, i int) bool {
	o := &m.tree[i]
	return (o.parent < 0 || s.open.has(o.parent)) && !o.rivals.meets(s.open)
}

// fits tells whether a class could be done now, but for the supply.
func (m *model) fits(s *state, k int) bool {
	c := &m.class[k]
	return c.need.within(s.open) && c.before.within(s.done) && !c.shut.meets(s.open) && (!c.cased || c.offers.meets(s.open))
}

// worth tells whether a class that can be done is: it must be, or costs no more now.
func (m *model) worth(k int) bool {
	c := &m.class[k]
	return !c.optional || c.time <= c.skip
}

// settle does all that the state allows and that is worth it, and returns the minutes.
func (m *model) settle(s *state) int64 {
	var spent int64
	for before := s.done; ; before = s.done {
		for k := range m.all.minus(s.done).all {
			c := &m.class[k]
			if !m.fits(s, k) || !m.worth(k) || m.powered && c.power != AnyPower && (c.power == On) != s.on {
				continue
			}
			s.done.add(k)
			spent += c.time
		}
		if s.done == before {
			return spent
		}
	}
}

// apply does one act, and all that it makes free to do.
func (m *model) apply(s *state, a act) (state, cost) {
	next := *s
	var c cost
	if a.do != perform && a.do != swap && s.on {
		next.on = false // nothing is opened or closed with power on
		c.rest += oneSwap
	}
	switch a.do {
	case open:
		next.open.add(a.i)
		c.time += m.tree[a.i].down
		c.rest += oneOpening
	case shut:
		next.open.drop(a.i)
		c.time += m.tree[a.i].shutting()
		c.rest += int64(m.cablesOf(s.open).minus(m.cablesOf(next.open)).count()) * oneInsertion
	case perform:
		next.done.add(a.i)
		c.time += m.class[a.i].time
	case swap:
		next.on = !s.on
		c.rest += oneSwap
	case end:
		for i := range s.open.all {
			c.time += m.tree[i].shutting()
		}
		c.rest += int64(m.cablesOf(s.open).count()) * oneInsertion
		for k := range m.class {
			if !s.done.has(k) {
				c.time += m.class[k].skip
				next.done.add(k)
			}
		}
		next.open, next.over = set{}, true
		return next, c
	}
	c.time += m.settle(&next)
	return next, c
}

// cablesOf are the flat cables that these openings part.
func (m *model) cablesOf(open set) set {
	var out set
	if m.cables == 0 {
		return out
	}
	for i := range open.all {
		for _, c := range m.tree[i].cables {
			out.add(c)
		}
	}
	return out
}
