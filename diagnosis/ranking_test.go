package diagnosis

import (
	"cmp"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Two lists are joined as if every product had been made, put in order and cut off.
func TestJoinedListsAreTheLikeliestProducts(t *testing.T) {
	t.Parallel()
	draw := func(t *rapid.T, name string, from int) list {
		// Few different values: many products are alike, and their order counts.
		values := rapid.SliceOfN(rapid.SampledFrom([]float64{0, 1e-9, 1e-4, 0.003, 0.1, 0.1, 0.3, 0.7}), 1, 300).Draw(t, name)
		var out list
		for i, p := range values {
			out = append(out, partial{[]cause{{from + 2*i, 0}}, p})
		}
		return out
	}
	sorted := func(l list) list {
		most := 0.0
		for _, x := range l {
			most = max(most, x.p)
		}
		l = slices.DeleteFunc(slices.Clone(l), func(x partial) bool { return !(x.p > faintest*most) })
		slices.SortStableFunc(l, func(x, y partial) int { return cmp.Compare(y.p, x.p) })
		return l[:min(len(l), listWidth)]
	}
	rapid.Check(t, func(t *rapid.T) {
		l, m := draw(t, "l", 0), draw(t, "m", 1)
		var want list
		for i, x := range sorted(l) {
			for j, y := range sorted(m) {
				if (i+1)*(j+1) > listWidth {
					break
				}
				both := []cause{x.causes[0], y.causes[0]}
				slices.SortFunc(both, compareCauses)
				want = append(want, partial{both, x.p * y.p})
			}
		}
		want = sorted(want)
		got := l.times(m)
		if !slices.EqualFunc(got, want, func(x, y partial) bool { return x.p == y.p && slices.Equal(x.causes, y.causes) }) {
			t.Fatalf("%d products, want %d:\n%v\n%v", len(got), len(want), got, want)
		}
	})
}
