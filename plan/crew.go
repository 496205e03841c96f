package plan

import (
	"cmp"
	"math"
	"slices"
)

// crew works out what it costs to go straight to the repairs: the expected cost of
// a fixed sequence of repairs, each proved or not, when the only thing looked at is
// whether the problem has ended. It is the cost of a plan that can be carried out,
// so never below the least expected cost.
//
// The sequence grows by blocks. For each place that repairs are in, the block is the
// prefix of the repairs there in order of share over cost with the highest
// (Σ share)/(opening + Σ cost), a test that ends the problem included where the
// repairs do not show by themselves whether they cured; the best block comes next.
// The share of a repair is the probability that it cures, and the nth part of it
// where n faults have to be cured. After each block everything is weighed anew.
// With one fault and repairs that show their success it is the optimal rule of
// scheduling under tree precedence (W. A. Horn 1972) for covers side by side. An
// action that ends the problem for sure is taken where that is cheaper than going on.
//
// A crew has its own memory and serves one goroutine.
type crew struct {
	m      *Model
	done   float64   // part of the mass at which a sequence counts as finished
	w      []float64 // mass by state, what has ended taken out
	left   float64   // its sum
	tiny   float64   // mass that no repair is made for
	tail   float64   // cost of what is left at the end, by mass; at least that of what was there
	gain   []float64 // of each repair, by number in Model.repairs: share · mass
	listed []bool    // whether it is in line
	line   []turn    // repairs at hand in order of gain over cost
	proof  []float64 // of each closer, its cost from a place
	block  []int32   // actions of the blocks that are compared
	moved  []float64
	open   uint64
	used   used
	spent  float64
}

// turn is a repair in line.
type turn struct {
	key, gain, cost float64
	perCost         float64 // 1/cost
	need, shut      uint64
	repair          int32
	shows           bool // by itself, whether it cured
}

// A sequence counts as finished when this part of the mass is left: for a policy that
// is followed, and for the many that are compared with each other. What is left is
// taken to cost what it costs where all began.
const (
	doneFollowed = 1e-9
	doneCompared = 0.01
)

func newCrew(m *Model, done float64) *crew {
	return &crew{m: m, done: done, w: make([]float64, m.n), gain: make([]float64, len(m.repairs)),
		listed: make([]bool, len(m.repairs)), proof: make([]float64, len(m.closers))}
}

// load takes masses of all states.
func (c *crew) load(b []float64) { copy(c.w, b) }

// loadSparse takes masses of some states.
func (c *crew) loadSparse(b belief) {
	clear(c.w)
	for i, s := range b.ids {
		c.w[s] = b.w[i]
	}
}

// run is the cost, times the mass that was loaded, and the first action.
func (c *crew) run(open uint64, u used) (cost float64, first int32) {
	c.open, c.used, c.spent = open, u, 0
	all := sumOf(c.w)
	c.left, c.tiny = all, all*c.done*1e-3
	if all <= 0 {
		return 0, None
	}
	c.line = c.line[:0]
	clear(c.listed)
	c.survey()
	first = None
	least, stop := math.Inf(1), int32(None) // of ending for sure at some point, and the first action then
	for range 4*len(c.m.repairs) + 16 {
		if len(c.m.enders) > 0 {
			if e, a := c.ender(); c.spent+e < least {
				if least, stop = c.spent+e, first; first == None {
					stop = a
				}
			}
		}
		block, closer := c.next()
		if len(block) == 0 && closer == None {
			break
		}
		if first == None {
			if first = closer; len(block) > 0 {
				first = block[0]
			}
		}
		for _, r := range block {
			if len(block) == 1 || c.gain[c.m.number[r]] > c.tiny {
				c.do(r)
			}
		}
		if closer != None {
			c.do(closer)
		}
		if c.left <= c.done*all || c.spent >= least {
			if c.left > 0 {
				c.spent += c.left * max(c.tail, c.spent/all)
			}
			if c.spent < least {
				return c.spent, first
			}
			return least, stop
		}
	}
	if stuck := c.spent + c.left*(c.m.stuck+c.m.reassembly(c.open)); stuck < least || stop == None {
		return stuck, first
	}
	return least, stop
}

// survey finds what each repair gains.
func (c *crew) survey() {
	m := c.m
	clear(c.gain)
	for s, x := range c.w {
		if x > 0 {
			for _, h := range m.helps[m.helpsAt[s]:m.helpsAt[s+1]] {
				c.gain[h.repair] += x * h.share
			}
		}
	}
	for r, g := range c.gain {
		if g > c.tiny && !c.listed[r] {
			c.enlist(int32(r))
		}
	}
}

func (c *crew) enlist(r int32) {
	c.listed[r] = true
	f := &c.m.acts[c.m.repairs[r]]
	c.line = append(c.line, turn{cost: f.cost, perCost: 1 / f.cost, need: f.need, shut: f.shut, repair: r, shows: f.ends != 0})
}

// sort puts the line in order of gain over cost: it changes little from one block to
// the next, which insertion takes advantage of. Ties go to the lower index.
func (c *crew) sort() {
	n := 0
	for j := range c.line {
		t := &c.line[j]
		t.gain = c.gain[t.repair]
		if t.gain <= c.tiny || c.used.has(c.m.acts[c.m.repairs[t.repair]].once) {
			c.listed[t.repair] = false
			continue
		}
		t.key = t.gain * t.perCost // infinite for what is free
		if n == j && (n == 0 || ahead(&c.line[n-1], t)) {
			n++
			continue
		}
		moved, i := *t, n
		for ; i > 0 && !ahead(&c.line[i-1], &moved); i-- {
			c.line[i] = c.line[i-1]
		}
		c.line[i] = moved
		n++
	}
	c.line = c.line[:n]
}

func ahead(a, b *turn) bool { return a.key > b.key || a.key == b.key && a.repair < b.repair }

// shift changes the mass of a state and with it what its repairs gain.
func (c *crew) shift(s int32, by float64) {
	m := c.m
	c.w[s] += by
	if c.w[s] < 1e-300 {
		c.w[s] = 0
	}
	for _, h := range m.helps[m.helpsAt[s]:m.helpsAt[s+1]] {
		c.gain[h.repair] += by * h.share
		if by > 0 && !c.listed[h.repair] {
			c.enlist(h.repair)
		}
	}
}

// do carries out an action: its cost, its moves, and what ends with it leaves.
func (c *crew) do(a int32) {
	f := &c.m.acts[a]
	cost, open := c.m.access(c.open, f.need, f.shut)
	c.open = open
	c.spent += c.left * (cost + f.cost)
	for s := range f.costIn {
		c.spent += c.w[s] * f.costIn[s]
	}
	c.moved = c.moved[:0]
	for _, mv := range f.from {
		c.moved = append(c.moved, c.w[mv.state])
	}
	for i, mv := range f.from {
		if x := c.moved[i]; x > 0 {
			c.shift(mv.state, -x)
			for _, t := range mv.to {
				if t.P > 0 {
					c.shift(int32(t.State), x*t.P)
				}
			}
		}
	}
	if f.endP != nil {
		c.end(f)
	}
	if f.once >= 0 || f.moves {
		c.used = c.m.after(c.used, int(a))
	}
}

// end takes out what an action has ended.
func (c *crew) end(f *act) {
	out, faulty := 0.0, false
	for _, e := range f.endAt {
		x := c.w[e.state] * e.p
		if x <= 0 {
			continue
		}
		c.spent += x * c.m.endCost[e.state]
		out += x
		if c.w[e.state] -= x; c.w[e.state] < 1e-300 {
			c.w[e.state] = 0
		}
		faulty = faulty || c.m.helpsAt[e.state+1] > c.m.helpsAt[e.state]
	}
	switch {
	case faulty && f.alike >= 0: // all that repairs help loses the same part
		for i := range c.line {
			c.gain[c.line[i].repair] *= 1 - f.alike
		}
	case faulty:
		c.survey()
	}
	if out > 0 {
		c.spent += out * c.m.reassembly(c.open)
		c.left = max(0, c.left-out)
	}
}

// ender is the cheapest way to end for sure now.
func (c *crew) ender() (float64, int32) {
	best, which := math.Inf(1), int32(None)
	for _, a := range c.m.enders {
		f := &c.m.acts[a]
		if c.used.has(f.once) {
			continue
		}
		cost, open := c.m.access(c.open, f.need, f.shut)
		total := c.left * (cost + f.cost + c.m.reassembly(open))
		for s := range f.costIn {
			total += c.w[s] * f.costIn[s]
		}
		for s, x := range f.endCost {
			total += c.w[s] * x
		}
		if total < best {
			best, which = total, a
		}
	}
	return best, which
}

// choice is the best block so far.
type choice struct {
	gain, cost float64
	from, n    int // in crew.block
	closer     int32
}

// over says whether gain/cost beats the choice's.
func (t *choice) over(gain, cost float64) bool { return gain*t.cost > t.gain*cost*(1+1e-12) }

// next is the block of the highest ratio, and the test that proves it; None when
// its repairs show it themselves. The slice lasts until the next call.
func (c *crew) next() (block []int32, closer int32) {
	m := c.m
	c.sort()
	c.block = c.block[:0]
	top := choice{cost: 1, closer: None}
	for _, v := range m.closers {
		f := &m.acts[v]
		if c.used.has(f.once) {
			continue
		}
		gain := 0.0
		for _, e := range f.rightAt {
			gain += c.w[e.state] * e.p
		}
		if gain > c.tiny {
			cost, _ := m.access(c.open, f.need, f.shut)
			if top.over(gain, cost+f.cost) {
				top = choice{gain, cost + f.cost, 0, 0, v}
			}
		}
	}
	if len(c.line) > 0 {
		sound := 0.0
		if m.p.Sound != None {
			sound = c.w[m.p.Sound]
		}
		c.prefix(&top, c.open, 0, sound) // what is at hand
		for _, p := range m.places {
			cost, open := m.access(c.open, p.need, p.shut)
			if open != c.open {
				c.prefix(&top, open, cost, sound)
			}
		}
	}
	return c.block[top.from : top.from+top.n], top.closer
}

// prefix finds the best prefix of the repairs that can be reached with these covers
// open, with the way to prove it, and keeps it if it is better than top.
func (c *crew) prefix(top *choice, open uint64, opening, sound float64) {
	best := choice{cost: 1, closer: None}
	gain, cost := sound, opening
	from, n := len(c.block), 0
	silent := false // a repair among them does not show whether it cured
	for i := range c.line {
		t := &c.line[i]
		if t.need&^open != 0 || t.shut&open != 0 {
			continue
		}
		if n == 0 && t.key*top.cost <= top.gain && sound <= 0 {
			return // opening only lowers the ratio of the first
		}
		c.block = append(c.block, c.m.repairs[t.repair])
		n++
		gain, cost = gain+t.gain, cost+t.cost
		better := !t.shows && !silent // the first that needs a proof may be worth more with the next
		if better {
			silent = true
			for k, v := range c.m.closers {
				f := &c.m.acts[v]
				access, _ := c.m.access(open, f.need, f.shut)
				c.proof[k] = access + f.cost
			}
		}
		if !silent {
			if best.over(gain, cost) {
				best, better = choice{gain, cost, from, n, None}, true
			}
		} else {
			for k, v := range c.m.closers {
				if total := cost + c.proof[k]; best.over(gain, total) {
					best, better = choice{gain, total, from, n, v}, true
				}
			}
		}
		if !better {
			break // in order of ratio: where one more does not help, none after it does
		}
	}
	if best.n > 0 && top.over(best.gain, best.cost) {
		*top = best
	}
}

// gains are the repairs that gain most by cost, covers included, best first.
func (c *crew) gains(q point) []int32 {
	c.survey()
	var by []rated
	for r, g := range c.gain {
		if a := c.m.repairs[r]; g > 0 && !q.used.has(c.m.acts[a].once) {
			by = append(by, rated{a, g / c.m.price(q, a)})
		}
	}
	slices.SortStableFunc(by, func(a, b rated) int { return cmp.Compare(b.by, a.by) })
	out := make([]int32, len(by))
	for i, r := range by {
		out[i] = r.action
	}
	return out
}
