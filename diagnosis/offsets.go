package diagnosis

import (
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

// climb improves offsets one at a time.
func (s *solver) climb(value func([]uint8) float64, start []uint8) []uint8 {
	d := slices.Clone(start)
	best := value(d)
	for range climbRounds {
		moved := false
		for _, f := range s.nodes[0].fams {
			for _, step := range []int{-1, 1} {
				for {
					v := int(d[f]) + step
					if v < 0 || v >= len(s.m.families[f].nodes) {
						break
					}
					d[f] = uint8(v)
					x := value(d)
					if x <= best {
						d[f] = uint8(v - step)
						break
					}
					best, moved = x, true
				}
			}
		}
		if !moved {
			break
		}
	}
	return d
}

// shifted is the seeds as they are and moved against the effect of a row on
// the siblings' readings: a fault common to all siblings and an offset common
// to all readings look alike.
func (s *solver) shifted(n *node, a int, seeds [][]uint8) [][]uint8 {
	sig := n.rows[n.alive[a]].sig
	shift := map[int]float64{}
	for k, o := range n.sub {
		f := s.shared[o]
		if f < 0 || sig[k] == 0 {
			continue
		}
		if _, ok := shift[f]; ok {
			continue
		}
		for _, t := range s.m.obs[o].space.totals(sig[k]) {
			if t.hidden == 0 {
				shift[f] = math.Max(t.db[qLevel], -24)
			}
		}
	}
	out := slices.Clone(seeds)
	if len(shift) == 0 {
		return out
	}
	for _, d := range seeds {
		next := slices.Clone(d)
		for _, f := range n.fams {
			if x, ok := shift[f]; ok {
				next[f] = s.nearest(f, s.m.families[f].nodes[d[f]]-x)
			}
		}
		out = append(out, next)
	}
	return distinct(out)
}
