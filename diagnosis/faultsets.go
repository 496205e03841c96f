package diagnosis

import (
	"encoding/binary"
	"slices"
)

// faultSets is the posterior over the sets of faulty components of a problem
// with one scope, by a key of the set. It lists every set, so it is for small
// problems.
func (p *posterior) faultSets() map[string]float64 {
	s := p.s
	out := map[string]float64{}
	n := s.nodes[0]
	for a, r := range n.alive {
		post := 0.0
		for c, rows := range p.row[0] {
			for x, w := range rows {
				if int(n.classes[c].rows[x]) == a {
					post += w / p.z
				}
			}
		}
		if post == 0 {
			continue
		}
		for _, f := range n.rows[r].sets {
			share := post * n.sets[f].w / n.rows[r].w
			s.expand(n, &n.sets[f], func(atoms []atomRef, part float64) {
				out[compKey(atoms)] += share * part
			})
		}
	}
	return out
}

// expand visits the combinations of atoms of a fault set with their shares,
// which sum to 1. Two atoms of one component never stand together. The slice is
// the visitor's until it returns.
func (s *solver) expand(n *node, f *faultSet, visit func(atoms []atomRef, share float64)) {
	switch len(f.kinds) {
	case 0:
		visit(nil, 1)
	case 1:
		k := &n.kinds[f.kinds[0]]
		for i, a := range k.atoms {
			visit(k.atoms[i:i+1:i+1], a.odds/k.sum)
		}
	case 2:
		s.expandPair(n, f, visit)
	default: // each kind is one atom when more than two are counted
		atoms := make([]atomRef, len(f.kinds))
		for i, k := range f.kinds {
			atoms[i] = n.kinds[k].atoms[0]
		}
		visit(atoms, 1)
	}
}

func (s *solver) expandPair(n *node, f *faultSet, visit func([]atomRef, float64)) {
	a, b := &n.kinds[f.kinds[0]], &n.kinds[f.kinds[1]]
	same := f.kinds[0] == f.kinds[1]
	pairs := func(do func(x, y atomRef)) {
		for i, x := range a.atoms {
			for j, y := range b.atoms {
				if x.comp != y.comp && (!same || i < j) {
					do(x, y)
				}
			}
		}
	}
	sum := 0.0
	pairs(func(x, y atomRef) { sum += x.odds * y.odds })
	if sum <= 0 {
		return
	}
	both := make([]atomRef, 2)
	pairs(func(x, y atomRef) {
		both[0], both[1] = x, y
		visit(both, x.odds*y.odds/sum)
	})
}

// compKey is a key of the set of components of some atoms.
func compKey(atoms []atomRef) string {
	comps := make([]int, len(atoms))
	for i, a := range atoms {
		comps[i] = a.comp
	}
	slices.Sort(comps)
	var b []byte
	for _, c := range comps {
		b = binary.AppendUvarint(b, uint64(c))
	}
	return string(b)
}
