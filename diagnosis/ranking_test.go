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
	draw := func(t *rapid.T, name string) shares {
		// Few different values: many products are alike, and their order counts.
		values := rapid.SliceOfN(rapid.SampledFrom([]float64{0, 1e-9, 1e-4, 0.003, 0.1, 0.1, 0.3, 0.7}), 1, 300).Draw(t, name)
		var out shares
		for i, p := range values {
			out = append(out, share{p, int32(i + 1)})
		}
		return out
	}
	sorted := func(l shares) shares {
		most := 0.0
		for _, x := range l {
			most = max(most, x.p)
		}
		l = slices.DeleteFunc(slices.Clone(l), func(x share) bool { return !(x.p > faintest*most) })
		slices.SortStableFunc(l, func(x, y share) int { return cmp.Compare(y.p, x.p) })
		return l[:min(len(l), listWidth)]
	}
	rapid.Check(t, func(t *rapid.T) {
		l, m := draw(t, "l"), draw(t, "m")
		join := func(x, y int32) int32 { return 1000*x + y }
		var want shares
		for i, x := range sorted(l) {
			for j, y := range sorted(m) {
				if (i+1)*(j+1) > listWidth {
					break
				}
				want = append(want, share{x.p * y.p, join(x.set, y.set)})
			}
		}
		want = sorted(want)
		had := slices.Clone(l)
		got := l.times(m, join)
		if !slices.Equal(l, had) {
			t.Fatal("a list is not what it was once it is joined")
		}
		if !slices.Equal(got, want) {
			t.Fatalf("%d products, want %d:\n%v\n%v", len(got), len(want), got, want)
		}
	})
}
