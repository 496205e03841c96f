package diagnosis

import (
	"cmp"
	"math"
	"slices"

	"headstack/machine"
)

// Which stages count as accused: those that explanations are made of. The
// others keep about their prior and would only dilute every explanation with
// faults that nothing speaks for.
const (
	accusedP     = 0.003
	accusedBits  = 0.7 // odds at least doubled by the evidence
	maxAccused   = 40
	explanations = 10
	listWidth    = 200  // partial explanations carried along
	faintest     = 1e-6 // share of the likeliest below which one is dropped
)

// cause is a component in one of its fault modes.
type cause struct{ comp, mode int }

// accusation is the set of accused components and what follows from it.
type accusation struct {
	p        *problem
	post     *posterior
	in       map[int]bool
	is       []bool                // the same by component
	part     [][][]partial         // per node and alive row: its accused faults with shares
	rows     map[[2]int][]weighted // node, alive row
	proposed list                  // once it is asked for
}

// partial is a set of accused faults with a probability.
type partial struct {
	causes []cause
	p      float64
}

type list []partial

// bitsOf is the change of log-odds in bits from probability before to after.
func bitsOf(after, before float64) float64 {
	const tiny = 1e-12
	clamp := func(p float64) float64 { return math.Min(1-tiny, math.Max(tiny, p)) }
	after, before = clamp(after), clamp(before)
	return math.Log2(after/(1-after)) - math.Log2(before/(1-before))
}

// accuse picks the accused components.
func accuse(p *problem, post *posterior) *accusation {
	a := &accusation{p: p, post: post, in: map[int]bool{}, is: make([]bool, len(p.seen)), rows: map[[2]int][]weighted{}}
	var found []int
	for c := range p.seen {
		f := post.faulty(c) // cured or not: what was accused may still be there
		if f >= accusedP && bitsOf(f, p.model.components[c].prior) >= accusedBits {
			found = append(found, c)
		}
	}
	slices.SortStableFunc(found, func(x, y int) int { return cmp.Compare(p.now(post, y), p.now(post, x)) })
	for _, c := range found[:min(len(found), maxAccused)] {
		a.in[c], a.is[c] = true, true
	}
	a.part = make([][][]partial, len(post.s.nodes))
	for i, n := range post.s.nodes {
		a.part[i] = make([][]partial, len(n.alive))
	}
	return a
}

// of is the accused faults of an alive row, with shares that sum to 1.
func (a *accusation) of(i, row int) []partial {
	if a.part[i][row] != nil {
		return a.part[i][row]
	}
	s := a.post.s
	n := s.nodes[i]
	r := &n.rows[n.alive[row]]
	var out list
	for _, f := range r.sets {
		set := &n.sets[f]
		share := set.w / r.w
		if !a.touches(n, set) {
			out = out.add(nil, share)
			continue
		}
		s.expand(n, set, func(atoms []atomRef, part float64) {
			out = out.add(a.causes(atoms), share*part)
		})
	}
	a.part[i][row] = out
	return out
}

// touches says whether a fault set can hold an accused component.
func (a *accusation) touches(n *node, f *faultSet) bool {
	for _, k := range f.kinds {
		for _, b := range n.kinds[k].by {
			if a.is[b.comp] {
				return true
			}
		}
	}
	return false
}

func (a *accusation) causes(atoms []atomRef) []cause {
	var out []cause
	for _, at := range atoms {
		if x := &a.p.model.components[at.comp].atoms[at.atom]; a.is[at.comp] && x.effect.until == 0 {
			out = append(out, cause{at.comp, x.mode})
		}
	}
	slices.SortFunc(out, compareCauses)
	return out
}

func compareCauses(x, y cause) int {
	if c := cmp.Compare(x.comp, y.comp); c != 0 {
		return c
	}
	return cmp.Compare(x.mode, y.mode)
}

// add sums probability into the entry of the same faults.
func (l list) add(causes []cause, p float64) list {
	for i := range l {
		if slices.Equal(l[i].causes, causes) {
			l[i].p += p
			return l
		}
	}
	return append(l, partial{causes, p})
}

func causeKey(causes []cause) string {
	ids := make([]int32, 0, 2*len(causes))
	for _, c := range causes {
		ids = append(ids, int32(c.comp), int32(c.mode))
	}
	return idKey(ids)
}

// explain returns the likeliest explanations with exact probabilities.
func (a *accusation) explain() list {
	if len(a.in) == 0 {
		return nil
	}
	proposed := a.propose()
	proposed = proposed[:min(len(proposed), explanations)]
	found := make(shares, len(proposed))
	for k, e := range proposed {
		p := a.probability(func(i int, causes []cause) bool { return slices.Equal(causes, a.within(i, e.causes)) })
		found[k] = share{p, int32(k)}
	}
	found = found.trim(explanations)
	out := make(list, len(found))
	for k, x := range found {
		out[k] = partial{proposed[x.set].causes, x.p}
	}
	return out
}

// cured is the probability that no accused component is faulty but those of
// the given explanation.
func (a *accusation) cured(e []cause) float64 {
	return a.probability(func(_ int, causes []cause) bool {
		for _, c := range causes {
			if !slices.ContainsFunc(e, func(x cause) bool { return x.comp == c.comp }) {
				return false
			}
		}
		return true
	})
}

// within is the part of an explanation that lies in scope i.
func (a *accusation) within(i int, causes []cause) []cause {
	var out []cause
	for _, c := range causes {
		if a.p.model.components[c.comp].scope == i {
			out = append(out, c)
		}
	}
	return out
}

// probability sums the posterior of all hypotheses whose accused faults in
// every scope satisfy ok.
func (a *accusation) probability(ok func(scope int, causes []cause) bool) float64 {
	s := a.post.s
	factor := make([][]float64, len(s.nodes))
	for i, n := range s.nodes {
		factor[i] = make([]float64, len(n.alive))
		for row := range n.alive {
			for _, e := range a.of(i, row) {
				if ok(i, e.causes) {
					factor[i][row] += e.p
				}
			}
		}
	}
	return a.post.share(factor)
}

// fault describes a cause for the verdict.
func (p *problem) fault(c cause) Fault {
	in := p.seen[c.comp]
	m := p.mode(c)
	return Fault{Stage: in.Stage.ID, Key: in.Key, Part: in.Part(), Mode: m.Mode, Cause: m.Cause}
}

func (p *problem) mode(c cause) *machine.FaultMode {
	return &p.eng.atlas.modes[p.seen[c.comp].Stage][c.mode]
}
