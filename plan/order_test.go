package plan

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func near(got, want, tol float64) bool { return math.Abs(got-want) <= tol*math.Max(1, math.Abs(want)) }

// permutations of 0..n-1.
func permutations(n int) [][]int {
	if n == 0 {
		return [][]int{nil}
	}
	var out [][]int
	for _, p := range permutations(n - 1) {
		for at := 0; at <= len(p); at++ {
			out = append(out, slices.Insert(slices.Clone(p), at, n-1))
		}
	}
	return out
}

// TestByRatio: Kalagnanam and Henrion 1988; Heckerman, Breese and Rommelse 1995.
func TestByRatio(t *testing.T) {
	var in struct{ P, Cost []float64 }
	var want struct {
		Best  float64   `json:"best_orders_cost"`
		Worst float64   `json:"worst_cost"`
		Ratio []float64 `json:"p_over_c"`
	}
	tol := published(t, "06_repair_ordering.json", "p_over_c", &in, &want)
	s := ByRatio(in.P, in.Cost)
	if !near(s.Cost, want.Best, tol) {
		t.Errorf("cost %.12g of order %v, want %.12g", s.Cost, s.Order, want.Best)
	}
	for k := 1; k < len(s.Order); k++ {
		if want.Ratio[s.Order[k]] > want.Ratio[s.Order[k-1]]+tol {
			t.Errorf("order %v does not descend in p/c %v", s.Order, want.Ratio)
		}
	}
	worst := 0.0
	for _, o := range permutations(4) {
		worst = math.Max(worst, ExpectedCost(o, in.P, in.Cost, false))
	}
	if !near(worst, want.Worst, tol) {
		t.Errorf("worst order costs %.12g, want %.12g", worst, want.Worst)
	}
}

// TestLastInferred: where p/c is wrong because the last part needs no check.
func TestLastInferred(t *testing.T) {
	var in struct{ P, Cost []float64 }
	var want map[string]float64
	tol := published(t, "06_repair_ordering.json", "p_over_c_last_inferred", &in, &want)
	for name, got := range map[string]float64{
		"order_1_2":             ExpectedCost([]int{0, 1}, in.P, in.Cost, true),
		"order_2_1":             ExpectedCost([]int{1, 0}, in.P, in.Cost, true),
		"order_1_2_all_checked": ExpectedCost([]int{0, 1}, in.P, in.Cost, false),
		"order_2_1_all_checked": ExpectedCost([]int{1, 0}, in.P, in.Cost, false),
	} {
		if !near(got, want[name], tol) {
			t.Errorf("%s costs %v, want %v", name, got, want[name])
		}
	}
	if s := BestOrder(in.P, in.Cost); !slices.Equal(s.Order, []int{1, 0}) || !near(s.Cost, 8, tol) {
		t.Errorf("best order %v costs %v, want part 2 first at 8", s.Order, s.Cost)
	}
}

// TestSharedFaults: Jensen and Nielsen 2007, repair actions that share faults.
func TestSharedFaults(t *testing.T) {
	faults := []string{"program", "virus", "hardware"}
	names := []string{"reboot", "virus_tool", "reinstall", "new_machine"}
	var in struct {
		P       map[string]float64
		Actions map[string]struct {
			Cost     float64
			PSuccess map[string]float64 `json:"p_success"`
		}
	}
	var want []struct {
		Order []string
		Cost  float64 `json:"expected_cost"`
	}
	tol := published(t, "06_repair_ordering.json", "computer_irregularities", &in, &want)
	var p []float64
	for _, f := range faults {
		p = append(p, in.P[f])
	}
	var repairs []Repair
	for _, n := range names {
		r := Repair{Cost: in.Actions[n].Cost}
		for _, f := range faults {
			r.Success = append(r.Success, in.Actions[n].PSuccess[f])
		}
		repairs = append(repairs, r)
	}
	for _, w := range want {
		var order []int
		for _, n := range w.Order {
			order = append(order, slices.Index(names, n))
		}
		if got := RepairCost(order, p, repairs); !near(got, w.Cost, tol) {
			t.Errorf("%v costs %v, want %v", w.Order, got, w.Cost)
		}
	}
	best := BestRepairs(p, repairs, 3)
	var order []string
	for _, i := range best.Order {
		order = append(order, names[i])
	}
	if !slices.Equal(order, want[0].Order) || !near(best.Cost, want[0].Cost, tol) {
		t.Errorf("best order %v at %v, want %v at %v", order, best.Cost, want[0].Order, want[0].Cost)
	}
}

// TestSharedOpening: Ottosen and Jensen 2010, after Horn 1972.
func TestSharedOpening(t *testing.T) {
	var in struct {
		Actions []struct {
			Behind *string
			P      float64
			Cost   float64
		}
		Opening map[string]float64 `json:"opening_cost"`
	}
	var want struct {
		Optimal float64
		Block   float64 `json:"block_rule"`
		Naive   float64 `json:"naive_p_over_c"`
	}
	tol := published(t, "06_repair_ordering.json", "shared_opening", &in, &want)
	var repairs []Behind
	var p, cost []float64
	for _, a := range in.Actions {
		b := Behind{P: a.P, Cost: a.Cost}
		if a.Behind != nil {
			b.Cover = *a.Behind
		}
		repairs = append(repairs, b)
		p, cost = append(p, a.P), append(cost, a.Cost)
	}
	s := ByBlocks(repairs, in.Opening)
	if !near(s.Cost, want.Block, tol) || !near(s.Cost, want.Optimal, tol) {
		t.Errorf("block order %v costs %v, want %v", s.Order, s.Cost, want.Optimal)
	}
	if got := BlockCost(ByRatio(p, cost).Order, repairs, in.Opening); !near(got, want.Naive, tol) {
		t.Errorf("plain p/c costs %v, want %v", got, want.Naive)
	}
}

// TestOrdersAreOptimal compares the rules with every permutation.
func TestOrdersAreOptimal(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 1))
	for n := range 150 {
		size := 2 + n%4
		p, cost := make([]float64, size), make([]float64, size)
		sum := 0.0
		for i := range p {
			p[i], cost[i] = rng.Float64()*rng.Float64()+0.01, 1+9*rng.Float64()
			sum += p[i]
		}
		repairs := make([]Behind, size)
		for i := range p {
			p[i] /= sum
			repairs[i] = Behind{[]string{"", "A", "B"}[rng.IntN(3)], p[i], cost[i]}
		}
		opening := map[string]float64{"A": 30 * rng.Float64(), "B": 30 * rng.Float64()}
		all, free, block := math.Inf(1), math.Inf(1), math.Inf(1)
		for _, o := range permutations(size) {
			all = math.Min(all, ExpectedCost(o, p, cost, false))
			free = math.Min(free, ExpectedCost(o, p, cost, true))
			block = math.Min(block, BlockCost(o, repairs, opening))
		}
		if got := ByRatio(p, cost).Cost; got > all+1e-9 {
			t.Errorf("case %d (seed 6, 1): p/c %v, best %v", n, got, all)
		}
		if got := BestOrder(p, cost).Cost; got > free+1e-9 {
			t.Errorf("case %d (seed 6, 1): last inferred %v, best %v", n, got, free)
		}
		if got := ByBlocks(repairs, opening).Cost; got > block+1e-9 {
			t.Errorf("case %d (seed 6, 1): block rule %v, best %v", n, got, block)
		}
	}
}
