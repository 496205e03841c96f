package diagnosis

import (
	"cmp"
	"container/heap"
	"slices"
)

// spot is a joint choice of offsets with its value.
type spot struct {
	d []uint8
	v float64
}

// frontier is a heap of spots, the most valuable first; ties by place, so that
// the order is always the same.
type frontier []spot

func (f frontier) Len() int { return len(f) }
func (f frontier) Less(i, j int) bool {
	if f[i].v != f[j].v {
		return f[i].v > f[j].v
	}
	return string(f[i].d) < string(f[j].d)
}
func (f frontier) Swap(i, j int) { f[i], f[j] = f[j], f[i] }
func (f *frontier) Push(x any)   { *f = append(*f, x.(spot)) }
func (f *frontier) Pop() any {
	old := *f
	x := old[len(old)-1]
	*f = old[:len(old)-1]
	return x
}

// flood collects joint offsets from the seeds outwards, the most valuable
// first, until the next one is worth less than a share of the best or limit is
// reached. lost estimates the share of the whole that lies beyond.
func (r *run) flood(seeds [][]uint8, share float64, limit int) (points []point, lost float64) {
	s := r.s
	seen := map[string]bool{}
	var edge frontier
	top, sum := 0.0, 0.0
	visit := func(d []uint8) {
		if seen[string(d)] {
			return
		}
		seen[string(d)] = true
		v := r.value(d)
		if v == 0 {
			return
		}
		sum += v
		top = max(top, v)
		points = append(points, point{delta: d, prior: s.offsetPrior(d), value: v})
		heap.Push(&edge, spot{d, v})
	}
	for _, d := range seeds {
		visit(d)
	}
	for len(edge) > 0 && edge[0].v >= share*top && len(points) < limit {
		d := heap.Pop(&edge).(spot).d
		for _, f := range s.nodes[0].fams {
			for _, step := range []int{-1, 1} {
				if x := int(d[f]) + step; x >= 0 && x < len(s.m.families[f].nodes) {
					next := slices.Clone(d)
					next[f] = uint8(x)
					visit(next)
				}
			}
		}
	}
	// Beyond the edge values fall at least as fast as they did up to it.
	for _, e := range edge {
		lost += e.v / sum
	}
	points = slices.DeleteFunc(points, func(p point) bool { return p.value < 0.01*share*top })
	slices.SortFunc(points, func(a, b point) int { return cmp.Compare(string(a.delta), string(b.delta)) })
	return points, lost
}
