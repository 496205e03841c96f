package diagnosis

import (
	"cmp"
	"math"
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
	pointShare  = 3e-5 // of the best joint choice of offsets
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
	s.flood(r, seeds)
	return s.weigh(r)
}

// gridSize is the number of joint choices of all shared offsets.
func (s *solver) gridSize() float64 {
	size := 1.0
	for _, f := range s.nodes[0].fams {
		size *= float64(len(s.m.families[f].nodes))
	}
	return size
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

// seeds are joint offsets to start from: the likeliest a priori, what the
// siblings' median says, and what each scope says if it alone were good.
func (s *solver) seeds() [][]uint8 {
	base := make([]uint8, len(s.m.families))
	values := make([][]float64, len(s.m.families))
	for o, ob := range s.m.obs {
		if f := s.shared[o]; f >= 0 && ob.hasY {
			values[f] = append(values[f], ob.y)
		}
	}
	median := make([]uint8, len(base))
	top := make([]uint8, len(base))
	for f, fam := range s.m.families {
		for i := range fam.p {
			if fam.p[i] > fam.p[base[f]] {
				base[f] = uint8(i)
			}
		}
		median[f], top[f] = base[f], base[f]
		if v := values[f]; len(v) > 0 {
			slices.Sort(v)
			median[f] = s.nearest(f, v[len(v)/2])
			top[f] = s.nearest(f, v[len(v)-1])
			if fam.wide {
				base[f] = median[f]
			}
		}
	}
	out := [][]uint8{base, median, top}
	for _, n := range s.nodes {
		seed := slices.Clone(base)
		for _, o := range n.own {
			if f := s.shared[o]; f >= 0 && s.m.obs[o].hasY {
				seed[f] = s.nearest(f, s.m.obs[o].y)
			}
		}
		out = append(out, seed)
	}
	return distinct(out)
}

func distinct(seeds [][]uint8) [][]uint8 {
	seen := map[string]bool{}
	var out [][]uint8
	for _, d := range seeds {
		if !seen[string(d)] {
			seen[string(d)] = true
			out = append(out, d)
		}
	}
	return out
}

// flood collects joint offsets from the seeds outwards while they matter.
func (s *solver) flood(r *run, seeds [][]uint8) {
	seen := map[string]bool{}
	value := map[string]float64{}
	queue := slices.Clone(seeds)
	for _, d := range queue {
		seen[string(d)] = true
	}
	top, dropped, sum := 0.0, 0.0, 0.0
	for len(queue) > 0 && len(value) < maxPoints {
		d := queue[0]
		queue = queue[1:]
		v := r.value(d)
		value[string(d)] = v
		sum += v
		top = math.Max(top, v)
		if v < pointShare*top {
			dropped += v
			continue
		}
		for _, f := range s.nodes[0].fams {
			for _, step := range []int{-1, 1} {
				x := int(d[f]) + step
				if x < 0 || x >= len(s.m.families[f].nodes) {
					continue
				}
				next := slices.Clone(d)
				next[f] = uint8(x)
				if !seen[string(next)] {
					seen[string(next)] = true
					queue = append(queue, next)
				}
			}
		}
	}
	for d, v := range value {
		if v > 0.01*pointShare*top {
			s.points = append(s.points, point{delta: []uint8(d), prior: s.offsetPrior([]uint8(d))})
		}
	}
	slices.SortFunc(s.points, func(a, b point) int { return cmp.Compare(string(a.delta), string(b.delta)) })
	if sum > 0 {
		// Beyond the edge the values fall at least as fast as up to it.
		s.loss += dropped / sum
		if len(queue) > 0 {
			s.loss += float64(len(queue)) * pointShare
		}
	}
}
