package teardown

// state is a situation at the bench: what is done, what is open, whether it is on.
type state struct {
	done, open set
	on         bool
	over       bool // all closed, and the rest left
}

// bound returns a cost that no completion of the plan from s undercuts.
//
// Each opening is counted by itself. What is open has to be shut once. Along every
// chain of tasks that wait for each other, an opening has to be made as often as one
// that wants it shut stands before one that needs it; the worst chain counts. Optional
// work is chosen as if openings were free of any order: a tree of openings, each with
// its cost unless it is open or must be opened anyway, and at each the gain of the work
// there; the best subtree is found from the leaves. All of this leaves conditions out,
// so it is a lower bound; openings, insertions and swaps are bounded in the same way.
func (m *model) bound(s *state) cost {
	var h cost
	left := m.must.minus(s.done)
	var again set // openings that must be made once more at least
	for i := range m.tree {
		o := &m.tree[i]
		open := s.open.has(i)
		if open {
			h.time += o.shutting()
		}
		if n := m.alternations(&m.turns[i], left, open); n > 0 {
			again.add(i)
			h.time += int64(n) * o.cycle()
			h.rest += int64(n) * oneOpening
		}
	}
	powered := 0
	for k := range left.all {
		h.time += m.class[k].time
		if m.class[k].power == On {
			powered++
		}
	}
	h.time += m.options(s, again)
	h.rest += m.insertions(s, left)*oneInsertion + m.stretches(s, powered)
	return h
}

// alternations is how often a thing must still be opened for what is left, by the worst
// chain of tasks that must be done. Of each task on the way, asks holds the most
// openings of a chain that leaves the thing open, and bars that of one that leaves it
// shut.
func (m *model) alternations(t *turn, left set, open bool) int {
	first := int8(1)
	if open {
		first = 0
	}
	askers, barrers := t.askers.and(left), t.barrers.and(left)
	if askers.empty() {
		return 0
	}
	if barrers.empty() {
		return int(first)
	}
	const none = -100
	var asks, bars [most]int8
	worst, signed := int8(0), askers.or(barrers)
	for k := range signed.all { // in an order in which they can be done
		a, b := int8(none), int8(none)
		for j := range m.above[k].and(signed).all {
			a, b = max(a, asks[j]), max(b, bars[j])
		}
		if askers.has(k) {
			a = max(a, b+1, first)
		} else {
			b = max(b, a, 0)
		}
		asks[k], bars[k] = a, b
		worst = max(worst, a, b)
	}
	return int(worst)
}

// options is the least that optional work still costs: what is skipped by its expected
// later cost, what is done by its minutes, and openings that only it asks for.
func (m *model) options(s *state, again set) int64 {
	var total int64
	var gain [most]int64
	var any bool
	for k := range m.all.minus(m.must).minus(s.done).all {
		c := &m.class[k]
		total += c.skip
		if c.skip <= c.time {
			continue
		}
		at := -1
		for i := range c.need.all {
			if at < 0 || m.tree[at].chain.count() < m.tree[i].chain.count() {
				at = i
			}
		}
		if at < 0 {
			total -= c.skip - c.time
			continue
		}
		gain[at] += c.skip - c.time
		any = true
	}
	if !any {
		return total
	}
	for _, i := range m.priority {
		if gain[i] == 0 {
			continue
		}
		g := gain[i]
		if !s.open.has(i) && !again.has(i) {
			g = max(0, g-m.tree[i].cycle())
		}
		if up := m.tree[i].parent; up >= 0 {
			gain[up] += g
		} else {
			total -= g
		}
	}
	return total
}

// insertions bounds how often flat cables are still plugged in: each that is parted,
// and as often as the worst chain of tasks wants it parted again.
func (m *model) insertions(s *state, left set) int64 {
	if m.cables == 0 {
		return 0
	}
	n, parted := 0, m.cablesOf(s.open)
	for c := range m.cables {
		n += m.alternations(&m.loose[c], left, parted.has(c))
	}
	return int64(n + parted.count())
}

// stretches bounds the swaps of the supply's state that are still to come: twice the
// number of powered classes found that exclude each other, and the one that ends the
// present stretch.
func (m *model) stretches(s *state, powered int) int64 {
	if !m.powered {
		return 0
	}
	var n int64
	if powered > 0 {
		var chosen set
		for k := range m.must.minus(s.done).all {
			if m.class[k].power == On && chosen.within(m.apart[k]) {
				chosen.add(k)
			}
		}
		n = 2 * int64(chosen.count())
	}
	if s.on {
		n++
	}
	return n
}
