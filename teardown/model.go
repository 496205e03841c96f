package teardown

import "slices"

// cost is what a plan costs so far: minutes in millionths, then what decides between
// equals: openings, insertions of flat cables, swaps of the supply's state. The three
// are packed into one number in that order, 20 bits each.
type cost struct{ time, rest int64 }

const (
	oneSwap      = 1
	oneInsertion = 1 << 20
	oneOpening   = 1 << 40
)

func (a cost) plus(b cost) cost { return cost{a.time + b.time, a.rest + b.rest} }

func (a cost) less(b cost) bool {
	return a.time < b.time || a.time == b.time && a.rest < b.rest
}

// class is a set of tasks that ask for the same state and stand in the same order to
// all others: done together or, where some are not worth it, not at all.
type class struct {
	tasks      []int
	need, shut set
	cased      bool
	offers     set
	uses       set // openings that it is a reason to open
	power      Power
	time       int64
	before     set
	optional   bool
	skip       int64 // expected minutes of leaving it for later
}

// model is what is searched: classes over the teardown tree.
type model struct {
	tree     []opening
	class    []class
	cables   int
	start    set
	must     set  // classes that must be done
	powered  bool // swaps of the supply count
	timed    bool // nothing but minutes counts
	apart    []set
	left     int64  // expected minutes of what was left out from the start
	priority []int  // openings, those that hang on others first
	all      set    // classes
	above    []set  // of each class those that come before it, at any distance
	turns    []turn // of the openings
	loose    []turn // of the flat cables
}

// turn is what of the work that must be done wants a thing open and what wants it shut:
// an opening, or a flat cable, which is shut when it is plugged in.
type turn struct{ askers, barrers set }

// force fixes what is done with an optional task: true, do it; false, leave it.
type force map[int]bool

// model makes the classes. Optional work that others wait for and that must be done is
// no longer optional; what is dearer now than later and that nothing waits for is left.
func (p *Problem) model(f force, powered bool) *model {
	n := len(p.tasks)
	out, must := make([]bool, n), make([]bool, n)
	for i, t := range p.tasks {
		do, told := f[i]
		must[i] = !t.Optional || told && do
		out[i] = told && !do
	}
	after := p.after()
	p.closeUnder(must)
	m := &model{tree: p.tree, cables: len(p.cables), start: p.start, powered: powered}
	for changed := true; changed; {
		changed = false
		for i := range p.tasks {
			if out[i] || must[i] {
				continue
			}
			waited := slices.ContainsFunc(after[i], func(j int) bool { return !out[j] })
			lost := slices.ContainsFunc(p.demands[i].before, func(j int) bool { return out[j] && !must[j] })
			if lost || !waited && p.demands[i].cost > p.skipping(i) {
				out[i], changed = true, true
			}
		}
	}
	of := make([]int, n)
	for i := range p.tasks {
		of[i] = -1
		if out[i] && !must[i] {
			m.left += p.skipping(i)
			continue
		}
		of[i] = m.classOf(p, i, must)
	}
	if len(m.class) > most {
		return m
	}
	for i := range p.tasks {
		if of[i] < 0 {
			continue
		}
		c := &m.class[of[i]]
		for _, j := range p.demands[i].before {
			c.before.add(of[j])
		}
		if must[i] {
			m.must.add(of[i])
		}
	}
	m.finish()
	return m
}

// skipping is the expected cost of leaving an optional task for later.
func (p *Problem) skipping(i int) int64 {
	return toUnits(p.tasks[i].expectedLater(p.demands[i].later))
}

// after lists for each task those that wait for it.
func (p *Problem) after() [][]int {
	out := make([][]int, len(p.tasks))
	for i := range p.demands {
		for _, j := range p.demands[i].before {
			out[j] = append(out[j], i)
		}
	}
	return out
}

// closeUnder adds what must be done because something that must be done waits for it.
func (p *Problem) closeUnder(must []bool) {
	for changed := true; changed; {
		changed = false
		for i := range must {
			if !must[i] {
				continue
			}
			for _, j := range p.demands[i].before {
				if !must[j] {
					must[j], changed = true, true
				}
			}
		}
	}
}

// classOf puts a task into the class it belongs to, or a new one.
func (m *model) classOf(p *Problem, i int, must []bool) int {
	d := &p.demands[i]
	worth := must[i] || d.cost <= p.skipping(i)
	for k := range m.class {
		j := m.class[k].tasks[0]
		if must[j] != must[i] || !worth || !must[j] && p.demands[j].cost > p.skipping(j) {
			continue
		}
		if p.demands[j].sameState(d) && p.sameOrder(i, j) {
			m.class[k].tasks = append(m.class[k].tasks, i)
			m.class[k].time += d.cost
			if !must[i] {
				m.class[k].skip += p.skipping(i)
			}
			return k
		}
	}
	c := class{tasks: []int{i}, need: d.need, shut: d.shut, cased: d.cased, offers: d.offers, power: d.power, time: d.cost, optional: !must[i]}
	if c.optional {
		c.skip = p.skipping(i)
	}
	c.uses = c.need
	for o := range c.offers.all {
		c.uses = c.uses.or(p.tree[o].chain)
	}
	if !m.powered {
		c.power = AnyPower
	}
	m.class = append(m.class, c)
	return len(m.class) - 1
}

// sameOrder tells whether two tasks follow the same tasks and are waited for by the same.
func (p *Problem) sameOrder(i, j int) bool {
	same := func(a, b []int) bool {
		for _, x := range a {
			if !slices.Contains(b, x) {
				return false
			}
		}
		return true
	}
	a, b := p.demands[i].before, p.demands[j].before
	if !same(a, b) || !same(b, a) {
		return false
	}
	for k := range p.demands {
		if slices.Contains(p.demands[k].before, i) != slices.Contains(p.demands[k].before, j) {
			return false
		}
	}
	return true
}

// finish puts the classes into an order in which they can be done, and prepares what
// the bounds need.
func (m *model) finish() {
	m.rank()
	m.above = make([]set, len(m.class))
	for k := range m.class {
		m.all.add(k)
		for b := range m.class[k].before.all {
			m.above[k].add(b)
			m.above[k] = m.above[k].or(m.above[b])
		}
	}
	m.turns, m.loose = make([]turn, len(m.tree)), make([]turn, m.cables)
	for k := range m.must.all {
		c := &m.class[k]
		for i := range c.need.all {
			m.turns[i].askers.add(k)
			for _, x := range m.tree[i].cables {
				m.loose[x].askers.add(k)
			}
		}
		for i := range c.shut.all {
			m.turns[i].barrers.add(k)
		}
		plugged := m.cablesOf(m.every()).minus(m.cablesOf(m.every().minus(c.shut)))
		for x := range plugged.all {
			m.loose[x].barrers.add(k)
		}
	}
	for i := len(m.tree) - 1; i >= 0; i-- {
		m.priority = append(m.priority, i) // parents are planted before their children
	}
	m.separate()
}

// every is the set of all openings.
func (m *model) every() set {
	var s set
	for i := range m.tree {
		s.add(i)
	}
	return s
}

// rank renumbers the classes so that each comes after those that it follows.
func (m *model) rank() {
	var order []int
	placed := set{}
	to := make([]int, len(m.class))
	for len(order) < len(m.class) {
		for k := range m.class {
			if !placed.has(k) && m.class[k].before.within(placed) {
				placed.add(k)
				to[k] = len(order)
				order = append(order, k)
			}
		}
	}
	move := func(s set) set {
		var out set
		for k := range s.all {
			out.add(to[k])
		}
		return out
	}
	class := make([]class, len(order))
	for n, k := range order {
		class[n] = m.class[k]
		class[n].before = move(class[n].before)
	}
	m.class, m.must = class, move(m.must)
}

// separate finds which powered classes can never share one stretch of power: their
// states exclude each other, or between them comes work that ends the stretch.
func (m *model) separate() {
	n := len(m.class)
	m.apart = make([]set, n)
	clash := func(a, b int) bool {
		x, y := &m.class[a], &m.class[b]
		return x.need.meets(y.shut) || y.need.meets(x.shut)
	}
	for a := range n {
		for b := range n {
			if m.class[a].power != On || m.class[b].power != On || a == b {
				continue
			}
			apart := clash(a, b)
			if m.above[b].has(a) {
				for x := range m.above[b].all {
					if m.above[x].has(a) && (m.class[x].power == Off || clash(x, a) || clash(x, b)) {
						apart = true
					}
				}
			}
			if apart {
				m.apart[a].add(b)
				m.apart[b].add(a)
			}
		}
	}
}
