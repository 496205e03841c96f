package diagnosis

import "cmp"

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

// sink puts the top in its place.
func (h ranking) sink() {
	for i := 0; ; {
		k := 2*i + 1
		if k >= len(h) {
			return
		}
		if k+1 < len(h) && h[k+1].compare(h[k]) < 0 {
			k++
		}
		if h[i].compare(h[k]) <= 0 {
			return
		}
		h[i], h[k] = h[k], h[i]
		i = k
	}
}

// rise puts the last in its place.
func (h ranking) rise() {
	for i := len(h) - 1; i > 0; {
		k := (i - 1) / 2
		if h[k].compare(h[i]) <= 0 {
			return
		}
		h[i], h[k] = h[k], h[i]
		i = k
	}
}
