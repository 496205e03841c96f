package diagnosis

import (
	"cmp"
	"math"
	"slices"

	"headstack/machine"
)

// hypothesis is a set of faults on the way from the shared scope to one scope,
// with its posterior probability.
type hypothesis struct {
	p     float64
	atoms []atomRef
	// about numbers the accused faults among them; equal numbers mean equal
	// explanations as far as this way is concerned.
	about int
}

// Limits of the list of hypotheses that predictions are made from.
const (
	leastHypothesis = 1e-5
	maxHypotheses   = 2500
	perRow          = 40
)

// way lists the hypotheses from the shared scope down to scope target. Within
// a class the offsets are averaged out.
func (a *accusation) way(target int) []hypothesis {
	s := a.post.s
	line := []int{target}
	for i := target; i > 0; i = s.m.scopes[i].parent {
		line = append(line, s.m.scopes[i].parent)
	}
	slices.Reverse(line)
	var out []hypothesis
	a.walk(line, int(s.root()), hypothesis{p: 1}, &out)
	slices.SortStableFunc(out, func(x, y hypothesis) int { return cmp.Compare(y.p, x.p) })
	out = out[:min(len(out), maxHypotheses)]
	sum := 0.0
	numbers := map[string]int{}
	for i := range out {
		sum += out[i].p
		key := causeKey(a.causes(out[i].atoms))
		if _, ok := numbers[key]; !ok {
			numbers[key] = len(numbers)
		}
		out[i].about = numbers[key]
	}
	for i := range out {
		out[i].p /= sum
	}
	return out
}

func (a *accusation) walk(line []int, c int, h hypothesis, out *[]hypothesis) {
	s := a.post.s
	i := line[0]
	n := s.nodes[i]
	cl := n.classes[c]
	weights := a.post.row[i][c]
	total := sumOf(weights)
	for x, w := range weights {
		if total == 0 || h.p*w/total < leastHypothesis {
			continue
		}
		for _, part := range a.atomsOfRow(i, int(cl.rows[x])) {
			next := hypothesis{p: h.p * w / total * part.p, atoms: append(slices.Clone(h.atoms), part.atoms...)}
			if next.p < leastHypothesis {
				continue
			}
			if len(line) == 1 {
				*out = append(*out, next)
				continue
			}
			k := slices.Index(n.children, line[1])
			a.walk(line[1:], int(cl.child[x*len(n.children)+k]), next, out)
		}
	}
}

// weighted is a set of atoms with its share of a row.
type weighted struct {
	atoms []atomRef
	p     float64
}

// atomsOfRow lists the likeliest sets of atoms of an alive row.
func (a *accusation) atomsOfRow(i, row int) []weighted {
	if l, ok := a.rows[[2]int{i, row}]; ok {
		return l
	}
	s := a.post.s
	n := s.nodes[i]
	r := &n.rows[n.alive[row]]
	var out []weighted
	for _, f := range r.sets {
		share := n.sets[f].w / r.w
		s.expand(n, &n.sets[f], func(atoms []atomRef, part float64) {
			if share*part > 1e-4 {
				out = append(out, weighted{slices.Clone(atoms), share * part})
			}
		})
	}
	slices.SortStableFunc(out, func(x, y weighted) int { return cmp.Compare(y.p, x.p) })
	out = out[:min(len(out), perRow)]
	sum := 0.0
	for _, w := range out {
		sum += w.p
	}
	for k := range out {
		out[k].p /= sum
	}
	a.rows[[2]int{i, row}] = out
	return out
}

// forecast is the posterior distribution of what a new observation would meet:
// for each group of hypotheses that are one explanation, the probability of
// each effect number of the observation's space.
type forecast struct {
	space *space
	of    []map[int32]float64 // per explanation
}

// predict makes the forecast for an observation that sees the given path.
// Stages that no evidence has touched yet come in with their priors.
func (a *accusation) predict(hyps []hypothesis, path []machine.Instance, project func(effect) effect) forecast {
	f := forecast{space: newSpace(project)}
	at := map[int]int{}
	var unseen []machine.Instance
	for k, in := range path {
		if c, ok := a.p.comp[in]; ok {
			at[c] = k
		} else {
			unseen = append(unseen, in)
		}
	}
	ids := map[[2]int]int32{}
	single := func(x atomRef, pos int) int32 {
		key := [2]int{x.comp, x.atom}
		id, ok := ids[key]
		if !ok {
			id = f.space.single(pos, a.p.model.components[x.comp].atoms[x.atom].effect)
			ids[key] = id
		}
		return id
	}
	var known []map[int32]float64
	for _, h := range hyps {
		id := int32(0)
		for _, x := range h.atoms {
			if pos, ok := at[x.comp]; ok {
				id = f.space.merge(id, single(x, pos))
			}
		}
		for h.about >= len(known) {
			known = append(known, map[int32]float64{})
		}
		known[h.about][id] += h.p
	}
	extra := a.unseen(f.space, unseen)
	for _, m := range known {
		all := map[int32]float64{}
		for _, id := range sortedIDs(m) {
			for _, e := range extra {
				all[f.space.merge(id, e.id)] += m[id] * e.p
			}
		}
		f.of = append(f.of, all)
	}
	return f
}

// unseenEffect is the effect of at most one fault among untouched stages.
type unseenEffect struct {
	id int32
	p  float64
}

func (a *accusation) unseen(sp *space, list []machine.Instance) []unseenEffect {
	out := []unseenEffect{{0, 1}}
	at := map[int32]int{0: 0}
	for k, in := range list {
		prior := a.p.eng.atlas.prior[in]
		odds := prior / (1 - prior)
		for _, x := range a.p.eng.atlas.atomsOf(in) {
			id := sp.single(k, x.effect)
			i, ok := at[id]
			if !ok {
				i = len(out)
				at[id] = i
				out = append(out, unseenEffect{id: id})
			}
			out[i].p += odds * x.weight
		}
	}
	sum := 0.0
	for _, e := range out {
		sum += e.p
	}
	for i := range out {
		out[i].p /= sum
	}
	return out
}

// gain is the expected reduction in bits of the entropy of the explanations by
// an observation whose outcome k has probability prob(effect)[k]: the mutual
// information of explanation and outcome. With whole set it is the information
// about every fault that the observation sees, explanation or not.
func (f forecast) gain(outcomes int, prob func(arrive []total, out []float64), whole bool) float64 {
	table := map[int32][]float64{}
	row := func(id int32) []float64 {
		v, ok := table[id]
		if !ok {
			v = make([]float64, outcomes)
			prob(f.space.totals(id), v)
			table[id] = v
		}
		return v
	}
	mean := make([]float64, outcomes)
	inside := 0.0
	for _, ids := range f.of {
		own := make([]float64, outcomes)
		weight := 0.0
		for _, id := range sortedIDs(ids) {
			p := ids[id]
			weight += p
			v := row(id)
			for k := range own {
				own[k] += p * v[k]
			}
			if whole {
				inside += p * entropyBits(v, 1)
			}
		}
		if weight == 0 {
			continue
		}
		if !whole {
			inside += weight * entropyBits(own, weight)
		}
		for k := range mean {
			mean[k] += own[k]
		}
	}
	return math.Max(0, entropyBits(mean, sumOf(mean))-inside)
}

func sortedIDs(m map[int32]float64) []int32 {
	out := make([]int32, 0, len(m))
	for id := range m {
		out = append(out, id)
	}
	slices.Sort(out)
	return out
}

// entropyBits of v/total.
func entropyBits(v []float64, total float64) float64 {
	h := 0.0
	for _, x := range v {
		if x > 0 {
			h -= x / total * math.Log2(x/total)
		}
	}
	return h
}
