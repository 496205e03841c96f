package plan

import (
	"cmp"
	"slices"
)

// The functions of this file put repairs in order when one fault is left to
// find. They are what a plan of repairs is built on.

// Sequence is an order of repairs with its expected cost in minutes.
type Sequence struct {
	Order []int // indices into what was given
	Cost  float64
}

// ExpectedCost is the expected cost of checking or repairing parts in the given
// order until the bad one is found, when exactly one is bad and each attempt
// shows for certain whether it was that one:
//
//	Σ over the order of P(not found before) · cost
//
// With lastFree the last part of the order costs nothing, because it is known
// to be the bad one once all others are ruled out. p should sum to 1.
// It panics unless p and cost have the same length.
func ExpectedCost(order []int, p, cost []float64, lastFree bool) float64 {
	if len(p) != len(cost) {
		panic("plan: probabilities and costs of different length")
	}
	left, sum := 1.0, 0.0
	for k, i := range order {
		if lastFree && k == len(order)-1 {
			break
		}
		sum += left * cost[i]
		left -= p[i]
	}
	return sum
}

// ByRatio is the order of least expected cost when every part, the last one
// too, is checked until the bad one is found: descending probability over cost.
// Ties go to the lower index. Sources: J. Kalagnanam, M. Henrion, UAI 4, 1988;
// D. Heckerman, J. S. Breese, K. Rommelse, Comm. ACM 38(3), 1995.
func ByRatio(p, cost []float64) Sequence {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(p[b]*cost[a], p[a]*cost[b]) // p/c without dividing by 0
	})
	return Sequence{order, ExpectedCost(order, p, cost, false)}
}

// BestOrder is the order of least expected cost when the last part is inferred
// and not checked, where descending p/c can be wrong. The part left to the end
// is tried out, the others follow p/c: among orders with the same last part
// that is optimal, by the same exchange of neighbours. Ties go to the lower
// last part.
func BestOrder(p, cost []float64) Sequence {
	var best Sequence
	for last := range p {
		order := ByRatio(p, cost).Order
		at := slices.Index(order, last)
		order = append(slices.Delete(order, at, at+1), last)
		if c := ExpectedCost(order, p, cost, true); best.Order == nil || c < best.Cost {
			best = Sequence{order, c}
		}
	}
	return best
}

// Repair is an action that may cure several faults.
type Repair struct {
	Cost float64
	// Success is the probability that the action cures the fault, for each
	// fault; outcomes of different actions are independent given the fault.
	Success []float64
}

// RepairCost is the expected cost of trying repairs in order until the machine
// works, when exactly one of the faults with probabilities p is there.
func RepairCost(order []int, p []float64, repairs []Repair) float64 {
	left := slices.Clone(p)
	sum := 0.0
	for _, i := range order {
		sum += sumOf(left) * repairs[i].Cost
		for f := range left {
			left[f] *= 1 - repairs[i].Success[f]
		}
	}
	return sum
}

// BestRepairs is the order of least expected cost of repairs that share faults.
// final is the action that always works and ends every order; others may be
// left out. Every order is tried, by depth first with a bound, so it is meant
// for up to about ten repairs. Ties go to the order found first, lower indices
// first. Problem: F. V. Jensen, T. D. Nielsen, Bayesian Networks and Decision
// Graphs, 2nd ed., 2007.
func BestRepairs(p []float64, repairs []Repair, final int) Sequence {
	s := repairSearch{repairs: repairs, final: final, used: make([]bool, len(repairs))}
	s.used[final] = true
	s.best = Sequence{[]int{final}, sumOf(p) * repairs[final].Cost}
	s.extend(nil, slices.Clone(p), 0)
	return s.best
}

type repairSearch struct {
	repairs []Repair
	final   int
	used    []bool
	best    Sequence
}

func (s *repairSearch) extend(order []int, left []float64, spent float64) {
	open := sumOf(left)
	if c := spent + open*s.repairs[s.final].Cost; c < s.best.Cost-1e-12 {
		s.best = Sequence{append(slices.Clone(order), s.final), c}
	}
	for i, r := range s.repairs {
		if s.used[i] || spent+open*r.Cost >= s.best.Cost {
			continue
		}
		next := slices.Clone(left)
		for f := range next {
			next[f] *= 1 - r.Success[f]
		}
		s.used[i] = true
		s.extend(append(slices.Clone(order), i), next, spent+open*r.Cost)
		s.used[i] = false
	}
}

// Behind is a repair behind a cover that is opened once.
type Behind struct {
	Cover string // empty: none
	P     float64
	Cost  float64
}

// ByBlocks orders repairs behind shared covers: exactly one fault, each repair
// cures its own, a cover costs its opening once before the first repair behind
// it, and whether the fault is gone shows without closing. For each closed
// cover the best block is the prefix of its repairs in order of p/c with the
// highest (Σp)/(opening + Σc); the block or single repair of the highest ratio
// comes next. It is the rule of scheduling under tree precedence (W. A. Horn,
// SIAM J. Appl. Math. 23, 1972; T. J. Ottosen, F. V. Jensen, UAI 2010) and is
// optimal here; it is not when covers must be closed for each test.
func ByBlocks(repairs []Behind, opening map[string]float64) Sequence {
	left := make([]int, len(repairs))
	for i := range left {
		left[i] = i
	}
	slices.SortStableFunc(left, func(a, b int) int {
		return cmp.Compare(repairs[b].P*repairs[a].Cost, repairs[a].P*repairs[b].Cost)
	})
	open := map[string]bool{"": true}
	var order []int
	for len(left) > 0 {
		block := bestBlock(repairs, left, open, opening)
		open[repairs[block[0]].Cover] = true
		order = append(order, block...)
		left = slices.DeleteFunc(left, func(i int) bool { return slices.Contains(block, i) })
	}
	return Sequence{order, BlockCost(order, repairs, opening)}
}

// bestBlock is the next block: one repair behind an open cover, or the best
// prefix behind a closed one. left is in order of p/c.
func bestBlock(repairs []Behind, left []int, open map[string]bool, opening map[string]float64) []int {
	var best []int
	bestP, bestC := 0.0, 1.0
	seen := map[string]bool{}
	for _, first := range left {
		cover := repairs[first].Cover
		if seen[cover] {
			continue
		}
		seen[cover] = true
		p, c := 0.0, 0.0
		if !open[cover] {
			c = opening[cover]
		}
		var block []int
		for _, i := range left {
			if repairs[i].Cover != cover {
				continue
			}
			block = append(block, i)
			p, c = p+repairs[i].P, c+repairs[i].Cost
			if best == nil || p*bestC > bestP*c*(1+1e-12) {
				best, bestP, bestC = slices.Clone(block), p, c
			}
			if open[cover] {
				break
			}
		}
	}
	return best
}

// BlockCost is the expected cost of an order of repairs behind covers.
func BlockCost(order []int, repairs []Behind, opening map[string]float64) float64 {
	open := map[string]bool{"": true}
	left, sum := 1.0, 0.0
	for _, i := range order {
		c := repairs[i].Cost
		if cover := repairs[i].Cover; !open[cover] {
			c += opening[cover]
			open[cover] = true
		}
		sum += left * c
		left -= repairs[i].P
	}
	return sum
}

func sumOf(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum
}
