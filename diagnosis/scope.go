package diagnosis

import (
	"encoding/binary"
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
	alive []int32 // rows in use
	outA  float64 // prior mass of more faults than maxFaults

	classes []*class
	index   map[string]int32

	net netNode
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
	rows  []int32 // indices of alive rows
	ids   []int32 // rows × own observations: effect number
	child []int32 // rows × children: class number there
}

// buildNodes makes the tree and attaches observations and kinds of faults.
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
		s.makeKinds(n)
	}
}

// enumerate lists the fault sets of a scope and merges them into rows.
func (s *solver) enumerate(n *node) {
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
	n.useAll()
}

// useAll puts every row in use.
func (n *node) useAll() {
	n.alive = make([]int32, len(n.rows))
	for i := range n.alive {
		n.alive[i] = int32(i)
	}
}

// rowBound is the most rows that the fault sets of a scope can make.
func (s *solver) rowBound(n *node) float64 {
	k, sets, choose := float64(len(n.kinds)), 1.0, 1.0
	for i := range s.m.maxFaults {
		choose *= (k + float64(i)) / float64(i+1)
		sets += choose
	}
	return sets
}

// makeKinds numbers each atom's effect at each observation that sees it and
// puts atoms with equal numbers together.
func (s *solver) makeKinds(n *node) {
	at := make([]int, len(s.m.obs))
	for k, o := range n.sub {
		at[o] = k
	}
	byKey := map[string]int{}
	sig := make([]int32, len(n.sub))
	var key []byte
	for _, c := range n.comps {
		comp := &s.m.components[c]
		if comp.prior <= 0 {
			continue
		}
		for a, atom := range comp.atoms {
			clear(sig)
			for _, l := range s.seen[c] {
				sig[at[l.obs]] = s.m.obs[l.obs].space.single(l.pos, atom.effect)
			}
			key = key[:0]
			for k, id := range sig {
				if id != 0 {
					key = binary.AppendUvarint(binary.AppendUvarint(key, uint64(k)), uint64(id))
				}
			}
			if s.m.maxFaults > 2 {
				key = binary.AppendUvarint(key[:0], uint64(len(n.kinds))) // see faultSet weights
			}
			k, ok := byKey[string(key)]
			if !ok {
				k = len(n.kinds)
				byKey[string(key)] = k
				n.kinds = append(n.kinds, kind{sig: slices.Clone(sig)})
			}
			n.kinds[k].add(atomRef{c, a, comp.prior * atom.weight / (1 - comp.prior)})
		}
	}
}

// sight is the place of a component on the path of an observation.
type sight struct{ obs, pos int }

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
func (s *solver) classOf(i int, upper []int32) int32 {
	n := s.nodes[i]
	key := idKey(upper)
	if c, ok := n.index[key]; ok {
		return c
	}
	c := int32(len(n.classes))
	n.index[key] = c
	n.classes = append(n.classes, &class{upper: slices.Clone(upper)})
	return c
}

// clear is the class of a subtree when nothing above is at fault.
func (s *solver) clear(i int) int32 {
	return s.classOf(i, make([]int32, len(s.nodes[i].sub)))
}

// build works out the rows of a class.
func (s *solver) build(i int, cl *class) {
	n := s.nodes[i]
	cl.built = true
	cl.rows, cl.ids, cl.child = nil, nil, nil
	for a := range n.alive {
		cl.rows = append(cl.rows, int32(a))
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
			cl.child = append(cl.child, s.classOf(c, merged[at:at+size]))
			at += size
		}
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
