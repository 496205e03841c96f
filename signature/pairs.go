package signature

import (
	"math"
	"slices"
)

// Pair is two causes that act together, in the order of their names.
type Pair [2]Cause

// PairOf orders two causes.
func PairOf(a, b Cause) Pair {
	if b < a {
		a, b = b, a
	}
	return Pair{a, b}
}

// pairs weighs causes two at a time: each that alone says something, with every other on
// top of it. Of the two orders in which a pair can be reached the better one counts.
func (r *result) pairs(base *fit, list []*suspect, single map[Cause]float64) map[Pair]float64 {
	out := map[Pair]float64{}
	for first, l := range single {
		if l < relevant {
			continue
		}
		var top *suspect
		score := math.Inf(-1)
		for _, s := range list {
			if s.cause == first {
				if v := r.full.likelihood(base, s) + s.within(); v > score {
					top, score = s, v
				}
			}
		}
		if top == nil {
			continue // found in another way than by fitting
		}
		q, _ := r.full.promise(base, base.chol.inverse(), top)
		with := r.full.solve(append(slices.Clone(base.list), top), append(slices.Clone(base.q), q...))
		sums := map[Cause]float64{}
		for _, s := range list {
			if s.cause == first || s.cause == GroupGain {
				continue
			}
			v := r.full.likelihood(with, s) + s.within()
			if old, ok := sums[s.cause]; ok {
				v = logAdd(old, v)
			}
			sums[s.cause] = v
		}
		for second, v := range sums {
			p := PairOf(first, second)
			if old, ok := out[p]; !ok || l+v > old {
				out[p] = l + v
			}
		}
	}
	return out
}
