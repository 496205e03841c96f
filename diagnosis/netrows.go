package diagnosis

import (
	"math"
)

// netNode prepares a scope: its rows are none and each kind of fault, pairs come
// as they are needed.
func (s *solver) netNode(n *node) {
	x := &n.net
	place := map[int]int{}
	x.place = place
	for j, f := range n.fams {
		place[f] = j
	}
	bySlot := map[int]int{}
	for k, o := range n.own {
		f := s.shared[o]
		if f < 0 {
			x.plain = append(x.plain, k)
			continue
		}
		at, ok := bySlot[f]
		if !ok {
			at = len(x.slots)
			bySlot[f] = at
			x.slots = append(x.slots, slot{fam: place[f]})
		}
		x.slots[at].obs = append(x.slots[at].obs, k)
	}
	x.inner = len(n.children) > 0
	x.users = make([][]user, len(n.fams))
	for k, ch := range n.children {
		var to, turn []int
		for q, f := range s.nodes[ch].fams {
			j := place[f]
			to = append(to, j)
			turn = append(turn, len(x.users[j]))
			x.users[j] = append(x.users[j], user{k, q})
		}
		x.famAt, x.turn = append(x.famAt, to), append(x.turn, turn)
	}
	if x.inner {
		x.ahead, x.mine = s.gridOf(n), s.gridOf(n)
		x.cav = s.gridOf(n)
	}
	s.singleRows(n)
}

// gridOf is room for a message about each offset of a subtree.
func (s *solver) gridOf(n *node) [][]float64 {
	out := make([][]float64, len(n.fams))
	size := 0
	for _, f := range n.fams {
		size += len(s.m.families[f].nodes)
	}
	all := make([]float64, size)
	for j, f := range n.fams {
		k := len(s.m.families[f].nodes)
		out[j], all = all[:k:k], all[k:]
	}
	return out
}

// singleRows lists none and every single kind of fault as the rows of a scope and
// works out what pairs weigh.
func (s *solver) singleRows(n *node) {
	x := &n.net
	good, sum, square := 1.0, 0.0, 0.0
	for _, c := range n.comps {
		p := s.m.components[c].prior
		good *= 1 - p
		sum += p / (1 - p)
		square += p / (1 - p) * p / (1 - p)
	}
	mass := 1 + sum
	if s.m.maxFaults > 1 {
		mass += (sum*sum - square) / 2
		k := len(n.kinds)
		x.pair = make([]float64, k*k)
		for a := range k {
			for b := a; b < k; b++ {
				w := s.pairWeight(n, []int32{int32(a)}, b, n.kinds[a].sum)
				x.pair[a*k+b], x.pair[b*k+a] = w, w
			}
		}
	}
	n.outA = math.Max(0, 1-good*mass)
	x.rowOf, x.ghostOf = map[[2]int32]int32{}, map[[2]int32]int32{}
	s.addRow(n, nil, make([]int32, len(n.sub)), 1/mass)
	for k := range n.kinds {
		s.addRow(n, []int32{int32(k)}, n.kinds[k].sig, n.kinds[k].sum/mass)
	}
}

func (s *solver) addRow(n *node, kinds []int32, sig []int32, w float64) int32 {
	r := int32(len(n.rows))
	n.sets = append(n.sets, faultSet{kinds, w})
	n.rows = append(n.rows, row{w: w, sig: sig, sets: []int32{r}})
	return r
}

// pairRow is the row of two kinds of fault at once.
func (s *solver) pairRow(n *node, a, b int) int32 {
	key := [2]int32{int32(a), int32(b)}
	r, ok := n.net.rowOf[key]
	if !ok {
		r = s.addRow(n, key[:], nil, n.net.pair[a*len(n.kinds)+b]*n.rows[0].w)
		n.net.rowOf[key] = r
	}
	return r
}

// sigOf is the signature of a row, worked out when it is first asked for.
func (s *solver) sigOf(n *node, r int32) []int32 {
	row := &n.rows[r]
	if row.sig == nil {
		row.sig = s.signature(n, n.sets[row.sets[0]].kinds)
	}
	return row.sig
}

// ghostRow is the row of two kinds that never gets sums of its own.
func (s *solver) ghostRow(n *node, a, b int) int32 {
	key := [2]int32{int32(a), int32(b)}
	r, ok := n.net.ghostOf[key]
	if !ok {
		r = s.addRow(n, key[:], nil, n.net.pair[a*len(n.kinds)+b]*n.rows[0].w)
		n.net.ghostOf[key] = r
	}
	return r
}
