package diagnosis

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// gridSize is the number of joint choices of all shared offsets.
func (s *solver) gridSize() float64 {
	size := 1.0
	for _, f := range s.nodes[0].fams {
		size *= float64(len(s.m.families[f].nodes))
	}
	return size
}

// allPoints is the whole grid of shared offsets.
func (s *solver) allPoints() []point {
	delta := make([]uint8, len(s.m.families))
	var out []point
	fams := s.nodes[0].fams
	for {
		out = append(out, point{delta: slices.Clone(delta), prior: s.offsetPrior(delta)})
		k := 0
		for ; k < len(fams); k++ {
			f := fams[k]
			if delta[f]++; int(delta[f]) < len(s.m.families[f].nodes) {
				break
			}
			delta[f] = 0
		}
		if k == len(fams) {
			return out
		}
	}
}

// nearest is the grid node of family f closest to x.
func (s *solver) nearest(f int, x float64) uint8 {
	best := 0
	for i, v := range s.m.families[f].nodes {
		if math.Abs(v-x) < math.Abs(s.m.families[f].nodes[best]-x) {
			best = i
		}
	}
	return uint8(best)
}

// offsetShares is the posterior of each shared offset from the joint ones.
func (s *solver) offsetShares() [][]float64 {
	out := make([][]float64, len(s.m.families))
	for _, f := range s.nodes[0].fams {
		out[f] = make([]float64, len(s.m.families[f].nodes))
		for _, p := range s.points {
			out[f][p.delta[f]] += p.value
		}
	}
	return out
}

// Up to fullWork row evaluations over at most fullGrid joint offsets everything is
// summed; beyond, a net is.
const (
	fullWork = 1e6
	fullGrid = 12000
)

// small says whether the full sum is short.
func (s *solver) small() bool {
	if s.m.maxFaults > 2 {
		return true
	}
	full := s.gridSize()
	return full <= fullGrid && s.treeWork(full) <= s.budget
}

// treeWork bounds the row evaluations of a full sum: each scope's rows times
// the classes that the rows above can make, times the offsets.
func (s *solver) treeWork(grid float64) float64 {
	above := make([]float64, len(s.nodes))
	work := 0.0
	for i, n := range s.nodes {
		rows := s.rowBound(n)
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

// sumAll evaluates all joint offsets and sorts the heaviest first.
func (s *solver) sumAll(ctx context.Context) error {
	for _, n := range s.nodes {
		s.enumerate(n)
	}
	s.clear(0) // the root is class 0
	r := s.newRun()
	s.points = s.allPoints()
	sum := 0.0
	for i := range s.points {
		if err := ctx.Err(); err != nil {
			return err
		}
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
