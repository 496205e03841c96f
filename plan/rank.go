package plan

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"
)

// Options sets how far planning goes. The zero value is meant for use at the bench.
type Options struct {
	// Fast judges every action by what the repairs cost after it and looks no further.
	Fast bool
	// Tests is how many tests are judged, those with the most bits per cost, and half as
	// many repairs, those with the most gain per cost; 0: 60, and 40 with Fast.
	Tests int
	// Rollouts is how many of the best actions are looked into further; 0: 12.
	Rollouts int
	// Depth is how many actions the plan after them is followed; 0: 4.
	Depth int
	// Breadth is how many tests are weighed at each step of it, those with the most
	// bits per cost; 0: 2, and 5 where at most 16 states are possible.
	Breadth int
	// ExactStates is the most states for which an exact plan is tried; 0: 10.
	ExactStates int
	// ExactNodes is the most situations that it may visit; 0: 3000, and 50 000 with a
	// discount.
	ExactNodes int
	// NoExact leaves the exact plan out.
	NoExact bool
}

// Ranking is what to do next.
type Ranking struct {
	// Steps are the actions worth considering, least Q first; ties by index.
	Steps []Step
	// Cost is the least Q.
	Cost float64
	// Repairs is the expected cost of going straight to the repairs; infinite where they
	// cannot end the problem. In a problem of identification it is an estimate of what
	// finding out costs.
	Repairs float64
	// Stop says that no test is worth its cost: the best action moves something or ends
	// the problem for sure. It is also true when there is nothing to do.
	Stop bool
	// Exact says that Cost and Q are the least possible. Otherwise each Q is the cost of
	// a plan that can be carried out, so the least is not above it; in a problem of
	// identification it is an estimate.
	Exact bool
}

// Step is an action that could be taken next.
type Step struct {
	Action int
	Q      float64 // expected total, this action first and then as planned
	Gain   float64 // Ranking.Repairs minus Q; says nothing in a problem of identification
	Access float64 // cost of the covers to be closed and opened for it, part of Q
	// Outcomes are the chances of its outcomes.
	Outcomes []float64
	// Looked says that the plan after it was looked into, not only the repairs.
	Looked bool
}

// Rank makes a problem ready and ranks its actions; see [Model.Rank].
func Rank(ctx context.Context, p Problem, s Situation, o Options) (*Ranking, error) {
	m, err := New(p)
	if err != nil {
		return nil, err
	}
	return m.Rank(ctx, s, o)
}

// Rank ranks the actions by the expected cost to the end. It is exact where few
// states and situations remain. Else each action is judged by the cost of repairs
// after each of its outcomes, and the best are judged again by the plan that takes a
// test wherever one more lowers that cost. The error says what in the situation cannot
// be understood, or is the context's.
func (m *Model) Rank(ctx context.Context, s Situation, o Options) (*Ranking, error) {
	q, err := m.point(s)
	if err != nil {
		return nil, err
	}
	b := sparse(q.b)
	o.fill(m, len(b.ids))
	k := newScout(ctx, m, o)
	r := &Ranking{Stop: true}
	k.crew.done = doneFollowed
	r.Repairs, _ = k.rest(b, q.open, q.used)
	k.crew.done = doneCompared
	if m.settled(q.b) {
		r.Repairs, r.Exact = 0, true
		return r, nil
	}
	among := m.useful(q)
	if sol := m.tryExact(ctx, q, o, among); sol != nil {
		r.Exact = true
		for _, a := range among {
			if !math.IsInf(sol.Q[a], 1) {
				r.Steps = append(r.Steps, Step{Action: int(a), Q: sol.Q[a], Looked: true})
			}
		}
	} else if r.Steps, err = k.judge(b, q, among, r.Repairs); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	m.finish(r, q)
	return r, nil
}

func (o *Options) fill(m *Model, possible int) {
	def := func(v *int, d int) {
		if *v <= 0 {
			*v = d
		}
	}
	if o.Fast {
		def(&o.Tests, 40)
	}
	def(&o.Tests, 60)
	def(&o.Rollouts, 12)
	def(&o.Depth, 4)
	if possible <= fewStates {
		def(&o.Breadth, 5)
	}
	def(&o.Breadth, 2)
	def(&o.ExactStates, 10)
	if m.discount < 1 {
		def(&o.ExactNodes, 50_000)
		o.ExactStates = max(o.ExactStates, m.n)
	}
	def(&o.ExactNodes, 3000)
}

// finish sorts the steps and fills in what is only shown.
func (m *Model) finish(r *Ranking, q point) {
	r.Cost = r.Repairs
	for i := range r.Steps {
		st := &r.Steps[i]
		f := &m.acts[st.Action]
		if st.Q < math.Inf(1) {
			st.Gain = r.Repairs - st.Q
		}
		st.Access, _ = m.access(q.open, f.need, f.shut)
		st.Outcomes = make([]float64, f.outcomes)
		for s, x := range f.move(q.b) {
			for o := range st.Outcomes {
				if x > 0 {
					st.Outcomes[o] += x * f.chance(s, o)
				}
			}
		}
	}
	slices.SortStableFunc(r.Steps, func(a, b Step) int {
		switch {
		case less(a.Q, b.Q):
			return -1
		case less(b.Q, a.Q):
			return 1
		}
		return cmp.Compare(a.Action, b.Action)
	})
	if len(r.Steps) > 0 {
		best := &m.acts[r.Steps[0].Action]
		r.Cost = r.Steps[0].Q
		r.Stop = best.moves || best.sure || best.renews
	}
}

// reach are the states that those of a belief can move to, themselves included.
func (m *Model) reach(b []float64) []float64 {
	in := slices.Clone(b)
	for again := true; again; {
		again = false
		for i := range m.acts {
			for _, mv := range m.acts[i].from {
				if in[mv.state] <= 0 {
					continue
				}
				for _, t := range mv.to {
					if t.P > 0 && in[t.State] <= 0 {
						in[t.State], again = 1, true
					}
				}
			}
		}
	}
	return in
}

// useful are the actions that may change something, now or later.
func (m *Model) useful(q point) []int32 {
	all := point{b: m.reach(q.b), open: q.open}
	var out []int32
	for a := range m.acts {
		f := &m.acts[a]
		if !m.changes(all, int32(a)) || q.used.has(f.once) && f.moves {
			continue
		}
		out = append(out, int32(a))
	}
	return out
}

// exactWork bounds the sums of an exact plan that is tried: states times outcomes of
// all actions followed, about 20 ns each.
const exactWork = 1_000_000

// tryExact is nil where the exact plan is out of reach.
func (m *Model) tryExact(ctx context.Context, q point, o Options, among []int32) *Solution {
	if o.NoExact {
		return nil
	}
	states := 0
	for _, x := range m.reach(q.b) {
		if x > 0 {
			states++
		}
	}
	if states > o.ExactStates+1 { // the sound state beside
		return nil
	}
	work := 0
	for _, a := range among {
		work += m.acts[a].outcomes * m.n
	}
	limit := o.ExactNodes
	if m.discount == 1 {
		limit = min(limit, exactWork/max(work, 1))
	}
	sol, err := m.exact(ctx, q, limit, among)
	if err != nil || errors.Is(ctx.Err(), context.Canceled) {
		return nil
	}
	return sol
}
