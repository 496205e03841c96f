package plan

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// bench is a random machine of the size met at the bench: states of no, one and two
// faults, tests with wrong outcomes, covers that hide each other, repairs that may
// fail, and a functional test that wants some covers shut.
func bench(rng *rand.Rand, faults, states, tests, outcomes, repairs, covers int) Problem {
	pr := Problem{Sound: 0, Reassemble: true, EndCost: make([]float64, states), P: make([]float64, states)}
	for i := range covers {
		c := Cover{Open: 1 + 9*rng.Float64(), Close: 1 + 5*rng.Float64(), Behind: None}
		if i > 1 {
			c.Behind = rng.IntN(i) - 1
		}
		pr.Covers = append(pr.Covers, c)
	}
	sets := [][]int{nil}
	index := map[string]int{fmt.Sprint([]int(nil)): 0}
	for f := range faults {
		index[fmt.Sprint([]int{f})] = len(sets)
		sets = append(sets, []int{f})
	}
	for len(sets) < states {
		a, b := rng.IntN(faults), rng.IntN(faults)
		set := []int{min(a, b), max(a, b)}
		if _, ok := index[fmt.Sprint(set)]; a == b || ok {
			continue
		}
		index[fmt.Sprint(set)] = len(sets)
		sets = append(sets, set)
	}
	sum := 0.0
	for s, set := range sets {
		pr.P[s] = math.Pow(rng.Float64(), 2) * math.Pow(0.1, math.Max(0, float64(len(set))-1))
		if s == 0 {
			pr.P[s] = 0.02
		} else {
			pr.EndCost[s] = 240
		}
		sum += pr.P[s]
	}
	for s := range pr.P {
		pr.P[s] /= sum
	}
	place := func() int { return rng.IntN(covers+1) - 1 }
	for range tests {
		a := Action{Cost: 1 + 9*rng.Float64(), Cover: place(), Once: true}
		by := make([]int, faults) // which outcome each fault shows
		for f := range by {
			if rng.Float64() < 0.4 {
				by[f] = 1 + rng.IntN(outcomes-1)
			}
		}
		for _, set := range sets {
			row := make([]float64, outcomes)
			shows := 0
			for _, f := range set {
				shows = max(shows, by[f])
			}
			for o := range row {
				row[o] = 0.04 / float64(outcomes)
			}
			row[shows] += 0.96
			a.Like = append(a.Like, row)
		}
		pr.Actions = append(pr.Actions, a)
	}
	for r := range repairs {
		f := r % faults
		a := Action{Cost: 5 + 35*rng.Float64(), Cover: place(), To: make([][]Move, states), Once: r >= faults}
		success := 0.97
		if r >= faults {
			a.Cost /= 4
			success = 0.5
		}
		for s, set := range sets {
			left := []int(nil)
			has := false
			for _, g := range set {
				if g == f {
					has = true
				} else {
					left = append(left, g)
				}
			}
			if has {
				a.To[s] = []Move{{index[fmt.Sprint(left)], success}, {s, 1 - success}}
			}
		}
		pr.Actions = append(pr.Actions, a)
	}
	verify := Action{ID: "verify", Cost: 4, Cover: None, Ends: []bool{true, false}}
	if covers > 0 {
		verify.Shut = []int{covers - 1}
	}
	for s := range sets {
		p := 0.03
		if s == 0 {
			p = 0.99
		}
		verify.Like = append(verify.Like, []float64{p, 1 - p})
	}
	pr.Actions = append(pr.Actions, verify)
	pr.Stuck = 1000
	return pr
}

func benchmarkRank(b *testing.B, o Options, faults, states, tests, outcomes, repairs, covers int) {
	m := ready(b, bench(rand.New(rand.NewPCG(1, 1)), faults, states, tests, outcomes, repairs, covers))
	var r *Ranking
	var err error
	for b.Loop() {
		if r, err = m.Rank(context.Background(), Situation{}, o); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(r.Cost, "minutes")
	b.ReportMetric(r.Repairs, "minutes-by-repairs")
}

func BenchmarkRank(b *testing.B)     { benchmarkRank(b, Options{}, 36, 64, 150, 6, 40, 12) }
func BenchmarkRankFast(b *testing.B) { benchmarkRank(b, Options{Fast: true}, 36, 64, 150, 6, 40, 12) }
func BenchmarkRankSmall(b *testing.B) {
	benchmarkRank(b, Options{}, 4, 8, 10, 2, 5, 3)
}
