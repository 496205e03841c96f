package plan

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
)

// Model is a problem made ready for planning. It is never changed after [New] and
// may be used from several goroutines.
type Model struct {
	p        Problem
	n        int // states
	prior    []float64
	discount float64
	stuck    float64
	endCost  []float64
	class    []int
	acts     []act
	path     []uint64  // of each cover: itself and all before it
	inner    []uint64  // of each cover: itself and all behind it
	depth    []float64 // fewest moves of each state to Sound; infinite where there is no way

	tests     []int32 // actions that move nothing
	again     used    // the tests with Once, which tell something new after a move
	repairs   []int32 // actions that move something and do not end for sure
	number    []int32 // of each action, its number among the repairs
	closers   []int32 // tests with an outcome that ends, not for sure
	enders    []int32 // actions that end for sure, in every outcome
	places    []place // where repairs are
	onceWords int     // words of used that matter
	// Of each state, the repairs that help it and how much of a fault they take away.
	helps   []help
	helpsAt []int32
}

// place is one way of laying a machine open for repairs.
type place struct{ need, shut uint64 }

// help is the share of a state's faults that a repair takes away; the repair by its
// number.
type help struct {
	repair int32
	share  float64
}

// act is an action in flat form.
type act struct {
	cost     float64
	costIn   []float64
	need     uint64 // covers to be open
	shut     uint64 // covers to be closed
	outcomes int
	like     []float64 // [state·outcomes + outcome]; nil: one outcome
	ends     uint64    // outcomes that end
	sure     bool      // every outcome ends
	endP     []float64 // of each state after the move, the chance that the action ends; nil: never
	endAt    []chance  // those above 0
	rightAt  []chance  // those of them in which it is right to end: sound, or an end costs nothing
	alike    float64   // the chance in all states that repairs help, -1 where they differ
	endCost  []float64 // of each state before the move, the expected cost of ending; nil: nothing
	once     int       // bit among the actions with Once, -1
	renews   bool
	moves    bool
	from     []move
}

// chance is the probability of something in a state.
type chance struct {
	state int32
	p     float64
}

// move is what an action does to one state.
type move struct {
	state int32
	to    []Move
}

// used is the set of actions that tell nothing new.
type used [maxOnce / 64]uint64

func (u *used) has(bit int) bool { return bit >= 0 && u[bit/64]>>(bit%64)&1 != 0 }

// New makes a problem ready. The error says what in it cannot be understood.
func New(p Problem) (*Model, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	m := &Model{p: p, n: len(p.P), prior: p.P, discount: p.Discount, stuck: p.Stuck, endCost: p.EndCost, class: p.Class}
	if m.discount == 0 {
		m.discount = 1
	}
	if m.stuck == 0 {
		m.stuck = math.Inf(1)
	}
	if m.endCost == nil {
		m.endCost = make([]float64, m.n)
	}
	if m.class == nil {
		m.class = make([]int, m.n)
		for i := range m.class {
			m.class[i] = i
		}
	}
	m.lay()
	once := 0
	for i := range p.Actions {
		m.acts = append(m.acts, m.flat(&p.Actions[i]))
		if p.Actions[i].Once {
			m.acts[i].once = once
			once++
		}
	}
	m.onceWords = (once + 63) / 64
	m.sort()
	m.measureDepth()
	m.weighHelp()
	return m, nil
}

func (m *Model) lay() {
	m.path, m.inner = make([]uint64, len(m.p.Covers)), make([]uint64, len(m.p.Covers))
	for i := range m.p.Covers {
		for at := i; at != None; at = m.p.Covers[at].Behind {
			m.path[i] |= 1 << at
			m.inner[at] |= 1 << i
		}
	}
}

func (m *Model) flat(a *Action) act {
	f := act{cost: a.Cost, costIn: a.CostIn, outcomes: 1, once: -1, renews: a.Renews}
	if a.Cover != None {
		f.need = m.path[a.Cover]
	}
	for _, c := range a.Shut {
		f.shut |= m.inner[c]
	}
	if a.Like != nil {
		f.outcomes = len(a.Like[0])
		f.like = slices.Concat(a.Like...)
		if f.outcomes == 1 {
			f.like = nil
		}
	}
	for o, e := range a.Ends {
		if e {
			f.ends |= 1 << o
		}
	}
	f.sure = bits.OnesCount64(f.ends) == f.outcomes
	for s, row := range a.To {
		if len(row) == 0 || len(row) == 1 && row[0].State == s {
			continue
		}
		f.moves = true
		f.from = append(f.from, move{int32(s), row})
	}
	if f.ends != 0 {
		m.flatEnds(&f)
	}
	return f
}

func (m *Model) flatEnds(f *act) {
	f.endP = make([]float64, m.n)
	for s := range f.endP {
		for o := range f.outcomes {
			if f.ends>>o&1 != 0 {
				f.endP[s] += f.chance(s, o)
			}
		}
		if f.endP[s] > 0 {
			f.endAt = append(f.endAt, chance{int32(s), f.endP[s]})
			if s == m.p.Sound || m.endCost[s] == 0 {
				f.rightAt = append(f.rightAt, chance{int32(s), f.endP[s]})
			}
		}
	}
	f.endCost = make([]float64, m.n)
	for s := range f.endCost {
		f.endCost[s] = f.endP[s] * m.endCost[s]
	}
	for _, mv := range f.from {
		f.endCost[mv.state] = 0
		for _, t := range mv.to {
			f.endCost[mv.state] += t.P * f.endP[t.State] * m.endCost[t.State]
		}
	}
}

// chance of an outcome in a state, after the move.
func (a *act) chance(state, outcome int) float64 {
	if a.like == nil {
		return 1
	}
	return a.like[state*a.outcomes+outcome]
}

// sort puts the actions into groups.
func (m *Model) sort() {
	m.number = make([]int32, len(m.acts))
	for i := range m.acts {
		a := &m.acts[i]
		switch {
		case a.renews || a.sure:
			m.enders = append(m.enders, int32(i))
		case a.moves:
			m.number[i] = int32(len(m.repairs))
			m.repairs = append(m.repairs, int32(i))
			if p := (place{a.need, a.shut}); !slices.Contains(m.places, p) {
				m.places = append(m.places, p)
			}
		case a.ends != 0:
			m.closers = append(m.closers, int32(i))
		}
		if !a.moves && !a.sure && !a.renews {
			m.tests = append(m.tests, int32(i))
			if a.once >= 0 {
				m.again[a.once/64] |= 1 << (a.once % 64)
			}
		}
	}
}

// measureDepth counts moves backwards from the sound state.
func (m *Model) measureDepth() {
	m.depth = make([]float64, m.n)
	for s := range m.depth {
		m.depth[s] = math.Inf(1)
	}
	if m.p.Sound == None {
		return
	}
	m.depth[m.p.Sound] = 0
	for again := true; again; {
		again = false
		for i := range m.acts {
			for _, f := range m.acts[i].from {
				for _, t := range f.to {
					if d := m.depth[t.State] + 1; t.P > 0 && d < m.depth[f.state] {
						m.depth[f.state], again = d, true
					}
				}
			}
		}
	}
}

// weighHelp lists by state which repairs take faults away.
func (m *Model) weighHelp() {
	lists := make([][]help, m.n)
	for _, r := range m.repairs {
		for _, f := range m.acts[r].from {
			d := m.depth[f.state]
			share := 0.0
			for _, t := range f.to {
				if after := m.depth[t.State]; !math.IsInf(d, 1) && after < d {
					share += t.P * (d - after) / d
				}
			}
			if share > 0 {
				lists[f.state] = append(lists[f.state], help{m.number[r], share})
			}
		}
	}
	for _, l := range lists {
		m.helpsAt = append(m.helpsAt, int32(len(m.helps)))
		m.helps = append(m.helps, l...)
	}
	m.helpsAt = append(m.helpsAt, int32(len(m.helps)))
	for i := range m.acts {
		m.acts[i].alike = m.alike(&m.acts[i])
	}
}

func (m *Model) alike(f *act) float64 {
	p := -1.0
	for s := range f.endP {
		if m.helpsAt[s+1] == m.helpsAt[s] {
			continue
		}
		if p >= 0 && f.endP[s] != p {
			return -1
		}
		p = f.endP[s]
	}
	return p
}

// access is the cost of closing what an action wants closed and opening what it
// wants open, and what is open then.
func (m *Model) access(open, need, shut uint64) (cost float64, then uint64) {
	if open&shut == 0 && need&^open == 0 {
		return 0, open
	}
	for b := open & shut; b != 0; b &= b - 1 {
		cost += m.p.Covers[bits.TrailingZeros64(b)].Close
	}
	then = open &^ shut
	for b := need &^ then; b != 0; b &= b - 1 {
		cost += m.p.Covers[bits.TrailingZeros64(b)].Open
	}
	return cost, then | need
}

// reassembly is the cost of closing all that is open, where that is asked for.
func (m *Model) reassembly(open uint64) float64 {
	cost := 0.0
	if m.p.Reassemble {
		for b := open; b != 0; b &= b - 1 {
			cost += m.p.Covers[bits.TrailingZeros64(b)].Close
		}
	}
	return cost
}

// after is what tells nothing new after action a.
func (m *Model) after(u used, a int) used {
	f := &m.acts[a]
	if f.moves {
		for i, again := range m.again[:m.onceWords] {
			u[i] &^= again
		}
	}
	if f.renews {
		u = used{}
	}
	if f.once >= 0 {
		u[f.once/64] |= 1 << (f.once % 64)
	}
	return u
}

// point is a situation in the form that planning works with.
type point struct {
	b    []float64
	open uint64
	used used
}

func (m *Model) point(s Situation) (point, error) {
	q := point{b: s.Belief}
	if q.b == nil {
		q.b = m.prior
	}
	if len(q.b) != m.n {
		return q, fmt.Errorf("plan: a belief of %d states, the problem has %d", len(q.b), m.n)
	}
	if err := checkChances("belief", q.b); err != nil {
		return q, err
	}
	for _, c := range s.Open {
		if c < 0 || c >= len(m.path) {
			return q, fmt.Errorf("plan: open cover %d of %d", c, len(m.path))
		}
		q.open |= m.path[c]
	}
	for _, a := range s.Used {
		if a < 0 || a >= len(m.acts) {
			return q, fmt.Errorf("plan: used action %d of %d", a, len(m.acts))
		}
		if b := m.acts[a].once; b >= 0 {
			q.used[b/64] |= 1 << (b % 64)
		}
	}
	return q, nil
}

func (m *Model) situation(q point) Situation {
	s := Situation{Belief: q.b}
	for b := q.open; b != 0; b &= b - 1 {
		s.Open = append(s.Open, bits.TrailingZeros64(b))
	}
	for a := range m.acts {
		if q.used.has(m.acts[a].once) {
			s.Used = append(s.Used, a)
		}
	}
	return s
}

// settled says whether a belief is the end of a problem of identification.
func (m *Model) settled(b []float64) bool {
	if m.p.Goal != Identify {
		return false
	}
	class, total := -1, 0.0
	for s, x := range b {
		if x > 0 && (class < 0 || x > b[class]) {
			class = s
		}
	}
	for s, x := range b {
		if m.class[s] == m.class[class] {
			total += x
		}
	}
	return total >= 1-1e-9
}
