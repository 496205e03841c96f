package dsp

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestSelectOrdersAroundTheIndex(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		a := rapid.SliceOfN(rapid.Float64Range(-3, 3), 1, 200).Draw(r, "a")
		if rapid.Bool().Draw(r, "coarse") { // many equal values
			for i := range a {
				a[i] = float64(int(a[i]))
			}
		}
		k := rapid.IntRange(0, len(a)-1).Draw(r, "k")
		sorted := slices.Sorted(slices.Values(a))
		if got := Select(a, k); got != sorted[k] || a[k] != got {
			r.Fatalf("Select(%d) = %g, at the index %g, want %g", k, got, a[k], sorted[k])
		}
		for i, v := range a {
			if i < k && v > a[k] || i > k && v < a[k] {
				r.Fatalf("%g at %d, %g at %d", v, i, a[k], k)
			}
		}
	})
}
