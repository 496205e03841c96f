package diagnosis

import (
	"cmp"
	"slices"
)

// ranked is an entry of a list, or the product of entries i and j of two, by its
// probability.
type ranked struct {
	p    float64
	i, j int32
}

// compare puts the likeliest first; what is alike keeps the order of i and j.
func (x ranked) compare(y ranked) int {
	switch {
	case x.p > y.p:
		return -1
	case x.p < y.p:
		return 1
	case x.i != y.i:
		return cmp.Compare(x.i, y.i)
	}
	return cmp.Compare(x.j, y.j)
}

// ranking is a heap, the first of all at its top.
type ranking []ranked

// before says whether x comes first.
func (x *ranked) before(y *ranked) bool {
	return x.p > y.p || x.p == y.p && (x.i < y.i || x.i == y.i && x.j < y.j)
}

// sink puts entry i, which may come too early, in its place.
func (h ranking) sink(i int) {
	if i >= len(h) {
		return
	}
	x := h[i]
	for {
		k := 2*i + 1
		if k >= len(h) {
			break
		}
		if k+1 < len(h) && h[k+1].before(&h[k]) {
			k++
		}
		if !h[k].before(&x) {
			break
		}
		h[i] = h[k]
		i = k
	}
	h[i] = x
}

// rise puts the last in its place.
func (h ranking) rise() {
	for i := len(h) - 1; i > 0; {
		k := (i - 1) / 2
		if !h[i].before(&h[k]) {
			return
		}
		h[i], h[k] = h[k], h[i]
		i = k
	}
}

// first are the first n of entries in any order, which it puts in another.
func (h ranking) first(n int) ranking {
	if len(h) < 4*n {
		slices.SortFunc(h, ranked.compare)
		return h[:min(n, len(h))]
	}
	for i := len(h)/2 - 1; i >= 0; i-- {
		h.sink(i)
	}
	out := make(ranking, n)
	for k := range out {
		out[k] = h[0]
		h[0] = h[len(h)-1]
		h = h[:len(h)-1]
		h.sink(0)
	}
	return out
}
