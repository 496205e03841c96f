package diagnosis

import (
	"cmp"
	"encoding/binary"
	"math"
	"slices"
)

// proposals lists the likeliest accused fault sets of subtrees. A set goes by a number:
// scopes have no component in common, so two sets of a subtree are the same where those of
// its parts are, and the faults themselves are only written out at the end.
type proposals struct {
	a      *accusation
	memo   [][]shares       // node, class
	sets   []joint          // by number; 0 is the empty set
	causes [][]cause        // of sets that lie in one scope
	named  map[string]int32 // those sets by their causes
	joined pairTable        // two sets: both together
	at     []int32          // by number of a set: its place in a list that is made, from 1
	// A product is what the own faults of a row and the subtrees below it come to, as far
	// as they are joined. Rows alike so far have it in common.
	products []shares
	own      []map[string]int32   // node, own faults of a row: their product
	next     []map[[2]int32]int32 // child, product and class of the child: the product of them
}

// joint is a set of faults made of the sets x and y, or with x below 0 entry -1-x of
// proposals.causes.
type joint struct{ x, y int32 }

// share is a set of faults by its number with a probability.
type share struct {
	p   float64
	set int32
}

type shares []share

// propose lists the likeliest accused fault sets of all, the offsets averaged out. It only
// proposes: the probabilities reported are summed exactly afterwards.
func (a *accusation) propose() list {
	if a.proposed != nil {
		return a.proposed
	}
	nodes := a.post.s.nodes
	l := &proposals{a: a, sets: make([]joint, 1), named: map[string]int32{"": 0}, memo: make([][]shares, len(nodes)),
		own: make([]map[string]int32, len(nodes)), next: make([]map[[2]int32]int32, len(nodes))}
	for i, n := range nodes {
		l.memo[i] = make([]shares, len(n.classes))
		l.own[i], l.next[i] = map[string]int32{}, map[[2]int32]int32{}
	}
	found := l.subtree(0, int(a.post.s.root()))
	a.proposed = make(list, len(found))
	for k, x := range found {
		causes := l.spell(x.set, nil)
		slices.SortFunc(causes, compareCauses)
		a.proposed[k] = partial{causes, x.p}
	}
	return a.proposed
}

// subtree is the list of a subtree given its class.
func (l *proposals) subtree(i, c int) shares {
	if got := l.memo[i][c]; got != nil {
		return got
	}
	n := l.a.post.s.nodes[i]
	cl := n.classes[c]
	weights := l.a.post.row[i][c]
	total := sumOf(weights)
	counts := func(w float64) bool { return total != 0 && w >= 1e-5*total }
	for x, w := range weights { // first what is below: only one list is made at a time
		for k, ch := range n.children {
			if counts(w) {
				l.subtree(ch, int(cl.child[x*len(n.children)+k]))
			}
		}
	}
	out := shares{}
	for x, w := range weights {
		if !counts(w) {
			continue
		}
		at := l.ownFaults(i, int(cl.rows[x]))
		for k, ch := range n.children {
			at = l.times(at, ch, cl.child[x*len(n.children)+k])
		}
		for len(l.at) < len(l.sets) {
			l.at = append(l.at, 0)
		}
		for _, e := range l.products[at] {
			if l.at[e.set] == 0 {
				out = append(out, share{set: e.set})
				l.at[e.set] = int32(len(out))
			}
			out[l.at[e.set]-1].p += e.p * w / total
		}
	}
	for _, e := range out {
		l.at[e.set] = 0
	}
	out = out.trim(listWidth)
	l.memo[i][c] = out
	return out
}

// ownFaults is the product of the own faults of a row alone.
func (l *proposals) ownFaults(i, row int) int32 {
	of := l.a.of(i, row)
	out := make(shares, len(of))
	key := make([]byte, 0, 12*len(of))
	for k, e := range of {
		out[k] = share{e.p, l.number(e.causes)}
		key = binary.LittleEndian.AppendUint64(key, math.Float64bits(e.p))
		key = binary.LittleEndian.AppendUint32(key, uint32(out[k].set))
	}
	at, ok := l.own[i][string(key)]
	if !ok {
		at = l.keep(out)
		l.own[i][string(key)] = at
	}
	return at
}

func (l *proposals) keep(product shares) int32 {
	l.products = append(l.products, product)
	return int32(len(l.products) - 1)
}

// times is a product joined with the list of a child.
func (l *proposals) times(product int32, child int, class int32) int32 {
	below := l.memo[child][class]
	if len(below) == 1 && below[0].set == 0 {
		return product
	}
	key := [2]int32{product, class}
	at, ok := l.next[child][key]
	if !ok {
		at = l.keep(l.products[product].times(below, l.join))
		l.next[child][key] = at
	}
	return at
}

// number is that of a set of causes of one scope.
func (l *proposals) number(causes []cause) int32 {
	key := causeKey(causes)
	no, ok := l.named[key]
	if !ok {
		l.causes = append(l.causes, causes)
		no = l.add(joint{x: int32(-len(l.causes))})
		l.named[key] = no
	}
	return no
}

func (l *proposals) add(j joint) int32 {
	l.sets = append(l.sets, j)
	return int32(len(l.sets) - 1)
}

// join is two sets of different scopes in one.
func (l *proposals) join(x, y int32) int32 {
	if x == 0 || y == 0 {
		return x + y
	}
	key := uint64(x)<<32 | uint64(y)
	if no, ok := l.joined.get(key); ok {
		return no
	}
	no := l.add(joint{x, y})
	l.joined.put(key, no)
	return no
}

// spell appends the causes of a set.
func (l *proposals) spell(set int32, to []cause) []cause {
	switch j := l.sets[set]; {
	case set == 0:
		return to
	case j.x < 0:
		return append(to, l.causes[-1-j.x]...)
	default:
		return l.spell(j.y, l.spell(j.x, to))
	}
}

// trim keeps the likeliest entries, as far as they matter. The list stays as it is.
func (l shares) trim(n int) shares {
	most := 0.0
	for i := range l {
		most = max(most, l[i].p)
	}
	faint := func(x share) bool { return !(x.p > faintest*most) }
	if slices.ContainsFunc(l, faint) {
		l = slices.DeleteFunc(slices.Clone(l), faint)
	}
	if slices.IsSortedFunc(l, func(x, y share) int { return cmp.Compare(y.p, x.p) }) {
		return l[:min(n, len(l))]
	}
	order := make(ranking, len(l))
	for i := range l {
		order[i] = ranked{l[i].p, int32(i), 0}
	}
	order = order.first(n)
	out := make(shares, len(order))
	for i, o := range order {
		out[i] = l[o.i]
	}
	return out
}

// times joins independent parts.
func (l shares) times(m shares, join func(x, y int32) int32) shares {
	l, m = l.trim(listWidth), m.trim(listWidth)
	if len(l) == 0 || len(m) == 0 {
		return nil
	}
	// The products with one of the shorter list, a row, fall along the longer, and the
	// first of each row with the row: the next one is always the first of what is left of
	// a row that is begun.
	long, short, across := l, m, false
	if len(l) < len(m) {
		long, short, across = m, l, true
	}
	at := func(row, k int) ranked {
		p := short[row].p * long[k].p
		if across {
			return ranked{p, int32(row), int32(k)}
		}
		return ranked{p, int32(k), int32(row)}
	}
	out := make(shares, 0, min(listWidth, len(l)*len(m)))
	rows := append(make(ranking, 0, 64), at(0, 0))
	for least := faintest * rows[0].p; len(rows) > 0 && len(out) < listWidth && rows[0].p > least; {
		o := rows[0]
		out = append(out, share{o.p, join(l[o.i].set, m[o.j].set)})
		row, k := int(o.j), int(o.i)
		if across {
			row, k = k, row
		}
		// As many as (row+1)(k+1) products are at least as large as that of row and k.
		if k+1 < min(len(long), listWidth/(row+1)) {
			rows[0] = at(row, k+1)
		} else {
			rows[0] = rows[len(rows)-1]
			rows = rows[:len(rows)-1]
		}
		rows.sink(0)
		if k == 0 && row+1 < min(len(short), listWidth) {
			rows = append(rows, at(row+1, 0))
			rows.rise()
		}
	}
	return out
}
