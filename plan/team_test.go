package plan

import (
	"math/rand/v2"
	"reflect"
	"runtime"
	"testing"
)

// TestRankingByAnyNumberOfScouts: a ranking is the same to the last bit however many
// processors there are.
func TestRankingByAnyNumberOfScouts(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	for seed := range uint64(3) {
		p := bench(rand.New(rand.NewPCG(seed, 9)), 12, 30, 40, 5, 14, 6)
		s := Situation{}
		var alone *Ranking
		for _, n := range []int{1, 2, 5} {
			runtime.GOMAXPROCS(n)
			r, err := Rank(t.Context(), p, s, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Steps) < 10 || r.Exact {
				t.Fatalf("%d steps, exact %v: nothing was shared out", len(r.Steps), r.Exact)
			}
			if alone == nil {
				alone = r
			} else if !reflect.DeepEqual(r, alone) {
				t.Errorf("seed %d, %d processors: the ranking is another than by one", seed, n)
			}
		}
	}
}
