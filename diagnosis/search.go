package diagnosis

import (
	"cmp"
	"slices"
)

// Up to fullWork row evaluations everything is summed. Beyond, fault sets and
// offsets whose share of the posterior stays under the thresholds below at
// every promising place are left out; what that loses is estimated and
// reported. A wrong reading is possible everywhere, so no single observation
// can change odds by more than a few thousand, and what is left out here
// cannot come back when one reading is doubted.
const (
	fullWork    = 3e6
	leastShare  = 1e-6 // of the posterior, for a fault set
	screenShare = 1e-3 // the same while fault sets above are only screened
	pairSlack   = 100  // how far a pair may exceed what its faults promise alone
	pointShare  = 1e-4 // of the best joint choice of offsets
	maxPoints   = 4000
	maxSeeds    = 40
	climbRounds = 6
	sweeps      = 3 // of the search for the best upper faults
	// prunedFloor is added to the estimated loss: fault sets that matter only
	// together with others are not all tried. The largest loss met on 100
	// random machines summed both ways was 5e-4 (TestPruning).
	prunedFloor = 1e-3
)

// explore decides which fault sets and joint offsets are summed over.
func (s *solver) explore() error {
	full := s.gridSize()
	if full <= 3*maxPoints && s.treeWork(full) <= s.budget {
		s.points = s.allPoints()
		return s.weigh(s.newRun())
	}
	s.pruned = true
	s.loss = prunedFloor
	h := &search{s: s}
	seeds := h.narrow()
	s.least = leastShare
	s.forget()
	r := s.newRun()
	points, lost := r.flood(seeds, pointShare, maxPoints)
	s.points, s.offsetsLost = points, min(1, lost)
	return s.weigh(r)
}

// treeWork bounds the row evaluations of a full sum: each scope's rows times
// the classes that the rows above can make, times the offsets.
func (s *solver) treeWork(grid float64) float64 {
	above := make([]float64, len(s.nodes))
	work := 0.0
	for i, n := range s.nodes {
		rows := float64(len(n.rows))
		above[i] = rows
		if n.parent >= 0 {
			above[i] *= above[n.parent]
		}
		if len(n.sub) > 0 {
			work += above[i] * float64(1+len(n.own))
		}
	}
	return work * grid
}

// weigh evaluates the points and sorts the heaviest first.
func (s *solver) weigh(r *run) error {
	sum := 0.0
	for i := range s.points {
		p := &s.points[i]
		p.value = r.value(p.delta)
		sum += p.value
	}
	if !(sum > 0) {
		return errImpossible
	}
	for i := range s.points {
		s.points[i].value /= sum
	}
	slices.SortStableFunc(s.points, func(a, b point) int { return cmp.Compare(b.value, a.value) })
	return nil
}
