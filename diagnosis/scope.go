package diagnosis

import (
	"math"
	"slices"
)

// node is a scope with everything the sums need.
type node struct {
	parent   int
	children []int
	own      []int // observations whose deepest scope this is
	sub      []int // observations of the whole subtree, own first
	fams     []int // shared offsets of the subtree
	comps    []int

	kinds []kind
	sets  []faultSet
	rows  []row
	alive []int32   // rows in use
	share []float64 // per alive row: about its share of the posterior
	outA  float64   // prior mass of more faults than maxFaults

	classes []*class
	index   map[string]int32
}

// kind is all atoms of a scope that no observation can tell apart.
type kind struct {
	atoms []atomRef
	sum   float64    // of odds
	by    []compOdds // the same by component, in ascending order
	sig   []int32    // per observation of sub: its number there
}

type compOdds struct {
	comp int
	odds float64
}

// add counts the odds of one more atom. Components come in ascending order.
func (k *kind) add(a atomRef) {
	k.atoms = append(k.atoms, a)
	k.sum += a.odds
	if last := len(k.by) - 1; last >= 0 && k.by[last].comp == a.comp {
		k.by[last].odds += a.odds
		return
	}
	k.by = append(k.by, compOdds{a.comp, a.odds})
}

// of is the odds of one component within the kind.
func (k *kind) of(comp int) float64 {
	for _, b := range k.by {
		if b.comp == comp {
			return b.odds
		}
	}
	return 0
}

// atomRef is an atom of a component with its prior odds against "good".
type atomRef struct {
	comp, atom int
	odds       float64
}

// faultSet is a multiset of kinds: up to maxFaults simultaneous faults.
type faultSet struct {
	kinds []int32
	w     float64 // prior probability
}

// row is all fault sets with the same effect on every observation.
type row struct {
	w    float64
	sig  []int32
	sets []int32
}

// class is one combination of what the scopes above do to the observations of
// a subtree, with the rows of this scope worked out under it.
type class struct {
	upper []int32
	built bool
	// weight is about the largest share of the posterior that comes through
	// this class. Rows that would add next to nothing to it are left out.
	weight float64
	rows   []int32 // indices of alive rows
	ids    []int32 // rows × own observations: effect number
	child  []int32 // rows × children: class number there
}

// buildNodes makes the tree. Observations are attached, fault sets enumerated
// and those of equal effect merged.
func (s *solver) buildNodes() {
	m := s.m
	s.nodes = make([]*node, len(m.scopes))
	for i, sc := range m.scopes {
		s.nodes[i] = &node{parent: sc.parent, index: map[string]int32{}}
		if sc.parent >= 0 {
			p := s.nodes[sc.parent]
			p.children = append(p.children, i)
		}
	}
	for c := range m.components {
		n := s.nodes[m.components[c].scope]
		n.comps = append(n.comps, c)
	}
	for o, ob := range m.obs {
		n := s.nodes[m.scopeOf(ob)]
		n.own = append(n.own, o)
	}
	for i := len(s.nodes) - 1; i >= 0; i-- {
		n := s.nodes[i]
		n.sub = append(n.sub, n.own...)
		for _, c := range n.children {
			n.sub = append(n.sub, s.nodes[c].sub...)
		}
		seen := map[int]bool{}
		for _, o := range n.sub {
			if f := s.shared[o]; f >= 0 && !seen[f] {
				seen[f] = true
				n.fams = append(n.fams, f)
			}
		}
	}
	for _, n := range s.nodes {
		s.enumerate(n)
	}
}

// enumerate lists the fault sets of a scope and merges them into rows.
func (s *solver) enumerate(n *node) {
	s.makeKinds(n)
	goodAll := 1.0
	for _, c := range n.comps {
		goodAll *= 1 - s.m.components[c].prior
	}
	n.sets = []faultSet{{nil, 1}}
	s.grow(n, nil, 0, 1)
	mass := 0.0
	for _, f := range n.sets {
		mass += f.w
	}
	n.outA = math.Max(0, 1-goodAll*mass)
	byKey := map[string]int32{}
	for i := range n.sets {
		f := &n.sets[i]
		f.w /= mass
		sig := s.signature(n, f.kinds)
		key := idKey(sig)
		r, ok := byKey[key]
		if !ok {
			r = int32(len(n.rows))
			byKey[key] = r
			n.rows = append(n.rows, row{sig: sig})
		}
		n.rows[r].w += f.w
		n.rows[r].sets = append(n.rows[r].sets, int32(i))
	}
	n.alive = make([]int32, len(n.rows))
	n.share = make([]float64, len(n.rows))
	for i := range n.alive {
		n.alive[i], n.share[i] = int32(i), 1
	}
}

// makeKinds numbers each atom's effect at each observation that sees it and
// puts atoms with equal numbers together.
func (s *solver) makeKinds(n *node) {
	byKey := map[string]int{}
	for _, c := range n.comps {
		comp := &s.m.components[c]
		if comp.prior <= 0 {
			continue
		}
		for a, at := range comp.atoms {
			sig := make([]int32, len(n.sub))
			for k, o := range n.sub {
				if pos, ok := s.pos[o][c]; ok {
					sig[k] = s.m.obs[o].space.single(pos, at.effect)
				}
			}
			key := idKey(sig)
			if s.m.maxFaults > 2 {
				key = idKey([]int32{int32(len(n.kinds))}) // see faultSet weights
			}
			k, ok := byKey[key]
			if !ok {
				k = len(n.kinds)
				byKey[key] = k
				n.kinds = append(n.kinds, kind{sig: sig})
			}
			n.kinds[k].add(atomRef{c, a, comp.prior * at.weight / (1 - comp.prior)})
		}
	}
}

// grow appends all fault sets that extend chosen by kinds from first on. With
// up to two faults kinds hold many atoms and the weight of a pair leaves out
// the pairs within one component; with more, each kind is one atom.
func (s *solver) grow(n *node, chosen []int32, first int, w float64) {
	if len(chosen) == s.m.maxFaults {
		return
	}
	for k := first; k < len(n.kinds); k++ {
		next := w * n.kinds[k].sum
		if len(chosen) > 0 {
			next = s.pairWeight(n, chosen, k, w)
		}
		if next <= 0 {
			continue
		}
		set := append(append([]int32(nil), chosen...), int32(k))
		n.sets = append(n.sets, faultSet{set, next})
		s.grow(n, set, k, next)
	}
}

// pairWeight is the summed odds of a set extended by kind k.
func (s *solver) pairWeight(n *node, chosen []int32, k int, w float64) float64 {
	b := &n.kinds[k]
	if s.m.maxFaults > 2 {
		for _, j := range chosen {
			if n.kinds[j].atoms[0].comp == b.atoms[0].comp {
				return 0
			}
		}
		return w * b.sum
	}
	a := &n.kinds[chosen[0]]
	same := 0.0
	for i, j := 0, 0; i < len(a.by) && j < len(b.by); {
		switch x, y := a.by[i], b.by[j]; {
		case x.comp < y.comp:
			i++
		case x.comp > y.comp:
			j++
		default:
			same += x.odds * y.odds
			i, j = i+1, j+1
		}
	}
	both := a.sum*b.sum - same
	if int(chosen[0]) == k {
		both /= 2
	}
	if both < 1e-15*a.sum*b.sum { // rounding of a difference that is zero
		return 0
	}
	return both
}

// signature merges the effects of several kinds at each observation.
func (s *solver) signature(n *node, kinds []int32) []int32 {
	sig := make([]int32, len(n.sub))
	for _, k := range kinds {
		for i, id := range n.kinds[k].sig {
			if id != 0 {
				sig[i] = s.m.obs[n.sub[i]].space.merge(sig[i], id)
			}
		}
	}
	return sig
}

// classOf finds or makes the class of a subtree for given upper effects.
func (s *solver) classOf(i int, upper []int32, weight float64) int32 {
	n := s.nodes[i]
	key := idKey(upper)
	if c, ok := n.index[key]; ok {
		return c
	}
	c := int32(len(n.classes))
	n.index[key] = c
	n.classes = append(n.classes, &class{upper: slices.Clone(upper), weight: weight})
	return c
}

// clear is the class of a subtree when nothing above is at fault.
func (s *solver) clear(i int) int32 {
	return s.classOf(i, make([]int32, len(s.nodes[i].sub)), 1)
}

// build works out the rows of a class.
func (s *solver) build(i int, cl *class) {
	n := s.nodes[i]
	cl.built = true
	cl.rows, cl.ids, cl.child = nil, nil, nil
	for a := range n.alive {
		if a == 0 || n.share[a]*cl.weight >= s.least {
			cl.rows = append(cl.rows, int32(a))
		}
	}
	merged := make([]int32, len(n.sub))
	for _, a := range cl.rows {
		sig := n.rows[n.alive[a]].sig
		for k, o := range n.sub {
			merged[k] = s.m.obs[o].space.merge(cl.upper[k], sig[k])
		}
		cl.ids = append(cl.ids, merged[:len(n.own)]...)
		at := len(n.own)
		for _, c := range n.children {
			size := len(s.nodes[c].sub)
			cl.child = append(cl.child, s.classOf(c, merged[at:at+size], cl.weight*min(1, n.share[a])))
			at += size
		}
	}
}

// forget drops all classes; they are worked out again as they are needed.
func (s *solver) forget() {
	for _, n := range s.nodes {
		n.classes, n.index = nil, map[string]int32{}
	}
}

// idKey makes a map key of effect numbers.
func idKey(ids []int32) string {
	b := make([]byte, 0, 4*len(ids))
	for _, v := range ids {
		b = append(b, byte(v), byte(v>>8), byte(v>>16), byte(v>>24))
	}
	return string(b)
}
