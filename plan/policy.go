package plan

import (
	"context"
	"math"
)

// Policy says which action comes next, [None] to give up.
type Policy func(Situation) int

// Cost is the expected cost of following a policy to the end, exact: every
// situation that it leads to is visited, at most limit of them.
func (m *Model) Cost(ctx context.Context, s Situation, policy Policy, limit int) (float64, error) {
	q, err := m.point(s)
	if err != nil {
		return 0, err
	}
	v, _, err := m.follow(policy, limit).value(ctx, q)
	return v, err
}

// follow is the graph in which each situation has the policy's action only.
func (m *Model) follow(policy Policy, limit int) *graph {
	return newGraph(m, limit, func(q point) []int32 {
		if a := policy(m.situation(q)); a != None {
			return []int32{int32(a)}
		}
		return nil
	})
}

// Information is the policy of most bits per cost, covers included; it goes to the
// repairs when no test tells anything. The bits are those about the state, or about
// the class where the goal is to identify it.
func (m *Model) Information() Policy {
	repairs := m.Repairs()
	return func(s Situation) int {
		q, err := m.point(s)
		if err != nil {
			return None
		}
		best, most := None, 0.0
		for _, a := range m.tests {
			if q.used.has(m.acts[a].once) || !m.acts[a].tells(q.b) {
				continue
			}
			rate := m.bits(q.b, &m.acts[a]) / m.price(q, a)
			if rate > most*(1+1e-11)+1e-15 {
				best, most = int(a), rate
			}
		}
		if best == None && m.p.Goal != Identify {
			return repairs(s)
		}
		return best
	}
}

// price of an action with its covers, before any outcome; above 0.
func (m *Model) price(q point, a int32) float64 {
	f := &m.acts[a]
	cost, _ := m.access(q.open, f.need, f.shut)
	return max(cost+f.cost, 1e-9)
}

// bits is the information of a test about the state, or about the class.
func (m *Model) bits(b []float64, f *act) float64 {
	if m.p.Goal == Identify && m.p.Class != nil {
		return m.classBits(b, f)
	}
	h := 0.0
	for o := range f.outcomes {
		p := 0.0
		for s, x := range b {
			if x > 0 {
				l := f.chance(s, o)
				p += x * l
				h += x * xlog2(l)
			}
		}
		h -= xlog2(p)
	}
	return h
}

func (m *Model) classBits(b []float64, f *act) float64 {
	h := 0.0
	total := map[int]float64{}
	for s, x := range b {
		total[m.class[s]] += x
	}
	joint := make([]float64, m.n) // by the first state of a class
	first := make([]int, m.n)
	for s := range first {
		for t := range m.n {
			if m.class[t] == m.class[s] {
				first[s] = t
				break
			}
		}
	}
	for o := range f.outcomes {
		clear(joint)
		p := 0.0
		for s, x := range b {
			v := x * f.chance(s, o)
			joint[first[s]] += v
			p += v
		}
		for _, v := range joint {
			h += xlog2(v)
		}
		h -= xlog2(p)
	}
	for s := range first {
		if first[s] == s {
			h -= xlog2(total[m.class[s]])
		}
	}
	return h
}

// xlog2 is x·log2(x), 0 at 0.
func xlog2(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return x * math.Log2(x)
}

// Repairs is the policy that goes straight to the repairs by the block rule.
func (m *Model) Repairs() Policy {
	return func(s Situation) int {
		q, err := m.point(s)
		if err != nil {
			return None
		}
		w := newCrew(m, doneFollowed)
		w.load(q.b)
		_, first := w.run(q.open, q.used)
		return int(first)
	}
}

// Myopic is the policy of one test by the value of information: the test after
// which repairs costs least, or what repairs does at once when no test lowers that.
// The costs of repairs are exact; at most limit situations are visited for them.
func (m *Model) Myopic(repairs Policy, limit int) Policy {
	return m.lookahead(repairs, limit, m.tests)
}

// Rollout is the policy that looks one step ahead: the action after which base costs
// least. It is never worse than base. The costs of base are exact; at most limit
// situations are visited for them. Ties go to the lower index.
func (m *Model) Rollout(base Policy, limit int) Policy {
	return m.lookahead(base, limit, m.all())
}

func (m *Model) lookahead(base Policy, limit int, among []int32) Policy {
	g := m.follow(base, limit)
	ctx := context.Background()
	return func(s Situation) int {
		q, err := m.point(s)
		if err != nil || m.settled(q.b) {
			return None
		}
		now := base(s)
		best, least := now, math.Inf(1)
		try := func(a int32) {
			if !m.changes(q, a) {
				return
			}
			v, branches := m.step(q, a)
			for _, br := range branches {
				after, _, err := g.value(ctx, br.point)
				if err != nil {
					return
				}
				v += m.discount * br.p * after
			}
			if less(v, least) || !less(least, v) && int(a) < best {
				best, least = int(a), min(v, least)
			}
		}
		if now != None {
			try(int32(now))
		}
		for _, a := range among {
			if int(a) != now {
				try(a)
			}
		}
		return best
	}
}
