package plan

import "math"

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
	m     *Model
	w     []float64 // mass by state, what has ended taken out
	left  float64   // its sum
	gain  []float64 // of each action that is a repair: share · mass
	order []int32   // repairs at hand in order of gain over cost
	block []int32
	best  []int32
	seen  []bool
	moved []float64
	open  uint64
	used  used
	spent float64
}

// negligible is the part of the mass at which a sequence counts as finished.
const negligible = 1e-9

func newCrew(m *Model) *crew {
	return &crew{m: m, w: make([]float64, m.n), gain: make([]float64, len(m.acts)), seen: make([]bool, len(m.acts))}
}

// load takes a belief, normalised or not.
func (c *crew) load(b []float64) {
	copy(c.w, b)
}

// loadSparse takes masses of some states.
func (c *crew) loadSparse(ids []int32, w []float64) {
	clear(c.w)
	for i, s := range ids {
		c.w[s] = w[i]
	}
}

// run is the cost, times the mass that was loaded, and the first action.
func (c *crew) run(open uint64, u used) (cost float64, first int32) {
	c.open, c.used, c.spent = open, u, 0
	c.left = sumOf(c.w)
	if c.left <= 0 {
		return 0, None
	}
	done := negligible * c.left
	c.survey()
	first = None
	least := math.Inf(1)
	stop := int32(None) // the first action if the sequence ends at least
	for range 4*len(c.m.repairs) + 16 {
		if e, a := c.ender(); c.spent+e < least {
			least, stop = c.spent+e, first
			if first == None {
				stop = a
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
			if len(block) == 1 || c.gain[r] > 1e-9*c.left {
				c.do(r)
			}
		}
		if closer != None {
			c.do(closer)
		}
		if c.left <= done {
			if c.spent < least {
				return c.spent, first
			}
			return least, stop
		}
		if c.spent >= least {
			return least, stop
		}
	}
	if stuck := c.spent + c.left*(c.m.stuck+c.m.reassembly(c.open)); stuck < least || math.IsInf(least, 1) {
		return stuck, first
	}
	return least, stop
}

// survey finds the repairs that can help and what share each has.
func (c *crew) survey() {
	clear(c.gain)
	for s, x := range c.w {
		if x > 0 {
			for _, h := range c.m.helps[c.m.helpsAt[s]:c.m.helpsAt[s+1]] {
				c.gain[h.repair] += x * h.share
			}
		}
	}
	c.order = c.order[:0]
	for _, r := range c.m.repairs {
		c.seen[r] = c.gain[r] > 0
		if c.seen[r] {
			c.order = append(c.order, r)
		}
	}
	c.sort()
}

// sort puts the repairs in order of gain over cost, stable: the order changes little
// from one block to the next, which insertion takes advantage of.
func (c *crew) sort() {
	keep := c.order[:0]
	tiny := 1e-12 * c.left
	for _, r := range c.order {
		if c.gain[r] > tiny && !c.used.has(c.m.acts[r].once) {
			keep = append(keep, r)
		} else {
			c.seen[r] = false
		}
	}
	c.order = keep
	for i := 1; i < len(keep); i++ {
		r := keep[i]
		g, cost := c.gain[r], c.m.acts[r].cost
		j := i
		for ; j > 0; j-- {
			// gain over cost without dividing by 0; ties to the lower index
			a, b := g*c.m.acts[keep[j-1]].cost, c.gain[keep[j-1]]*cost
			if a < b || a == b && keep[j-1] < r {
				break
			}
			keep[j] = keep[j-1]
		}
		keep[j] = r
	}
}

// shift changes the mass of a state and with it what its repairs gain.
func (c *crew) shift(s int32, by float64) {
	c.w[s] += by
	if c.w[s] < 1e-300 {
		c.w[s] = 0
	}
	for _, h := range c.m.helps[c.m.helpsAt[s]:c.m.helpsAt[s+1]] {
		c.gain[h.repair] += by * h.share
		if by > 0 && !c.seen[h.repair] {
			c.seen[h.repair] = true
			c.order = append(c.order, h.repair)
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
	if f.once >= 0 && f.moves {
		c.used[f.once/64] |= 1 << (f.once % 64)
	}
}

// end takes out what an action has ended.
func (c *crew) end(f *act) {
	out := 0.0
	for s, p := range f.endP {
		if x := c.w[s] * p; x > 0 {
			c.spent += x * c.m.endCost[s]
			out += x
			c.shift(int32(s), -x)
		}
	}
	if out > 0 {
		c.spent += out * c.m.reassembly(c.open)
		c.left -= out
	}
}

// ender is the cheapest way to end for sure now.
func (c *crew) ender() (float64, int32) {
	best, which := math.Inf(1), int32(None)
	for _, a := range c.m.enders {
		f := &c.m.acts[a]
		cost, open := c.m.access(c.open, f.need, f.shut)
		total := c.left * (cost + f.cost + c.m.reassembly(open))
		for s := range f.costIn {
			total += c.w[s] * f.costIn[s]
		}
		if total < best && !c.used.has(f.once) {
			for s, x := range c.w {
				if x > 0 {
					total += x * c.endCostAfter(f, s)
				}
			}
		}
		if total < best && !c.used.has(f.once) {
			best, which = total, a
		}
	}
	return best, which
}

func (c *crew) endCostAfter(f *act, s int) float64 {
	if f.renews && f.ends == 0 {
		return 0
	}
	for _, mv := range f.from {
		if int(mv.state) == s {
			v := 0.0
			for _, t := range mv.to {
				v += t.P * c.m.endCost[t.State]
			}
			return v
		}
	}
	return c.m.endCost[s]
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
	c.sort()
	c.block = c.block[:0]
	top := choice{cost: 1, closer: None}
	for _, v := range c.m.closers {
		cost, _ := c.m.access(c.open, c.m.acts[v].need, c.m.acts[v].shut)
		if gain := c.ending(v); top.over(gain, cost+c.m.acts[v].cost) {
			top = choice{gain, cost + c.m.acts[v].cost, 0, 0, v}
		}
	}
	sound := 0.0
	if c.m.p.Sound != None {
		sound = c.w[c.m.p.Sound]
	}
	here := false
	for _, p := range c.m.places {
		cost, open := c.m.access(c.open, p.need, p.shut)
		if open == c.open {
			if here {
				continue
			}
			here = true
		}
		if b := c.prefix(open, cost, sound); top.over(b.gain, b.cost) {
			top = b
		}
	}
	c.best = append(c.best[:0], c.block[top.from:top.from+top.n]...)
	return c.best, top.closer
}

// ending is the mass that a test ends rightly.
func (c *crew) ending(v int32) float64 {
	gain := 0.0
	f := &c.m.acts[v]
	if s := c.m.p.Sound; s != None {
		gain = c.w[s] * f.endP[s]
	}
	for s, p := range f.endP {
		if s != c.m.p.Sound && p > 0 && c.m.endCost[s] == 0 {
			gain += c.w[s] * p
		}
	}
	return gain
}

// prefix is the best prefix of the repairs that can be reached with these covers
// open, with the way to prove it.
func (c *crew) prefix(open uint64, opening, sound float64) choice {
	top := choice{cost: 1, closer: None}
	gain, cost := sound, opening
	from, n := len(c.block), 0
	silent := false // a repair among them does not show whether it cured
	for _, r := range c.order {
		f := &c.m.acts[r]
		if f.need&^open != 0 || f.shut&open != 0 {
			continue
		}
		c.block = append(c.block, r)
		n++
		gain, cost = gain+c.gain[r], cost+f.cost
		better := f.ends == 0 && !silent // the first that needs a proof may be worth more with the next
		silent = silent || f.ends == 0
		if !silent && top.over(gain, cost) {
			top, better = choice{gain, cost, from, n, None}, true
		}
		for _, v := range c.m.closers {
			if !silent {
				break
			}
			vf := &c.m.acts[v]
			extra, _ := c.m.access(open, vf.need, vf.shut)
			if total := cost + extra + vf.cost; top.over(gain, total) {
				top, better = choice{gain, total, from, n, v}, true
			}
		}
		// in order of ratio: where one more does not help, none after it does
		if !better {
			break
		}
	}
	return top
}
