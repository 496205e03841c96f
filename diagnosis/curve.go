package diagnosis

import (
	"math"
	"slices"
)

// curve is the likelihood of one reading at the nodes of its offset. It gives the very
// numbers of readingModel.like: what does not depend on what arrives is worked out once
// for each node, and what does not depend on the offset once for all nodes.
type curve struct {
	r     *readingModel
	nodes []float64
	// still is, by node, the part of each state that what arrives does not change.
	still [][readStates]float64
	// follows are the ways that follow what arrives, the right one among them.
	follows []follow
	sds     []float64 // their different spreads beside the usual
	states  []int     // those that the model uses, ascending
	// memo are the densities about cases that were met, held counts those that are kept.
	memo      map[humpKey]*memory
	held      int
	sum, part []float64 // scratch of fill
}

// follow is one way in which a value follows what arrives.
type follow struct {
	state  int
	factor float64 // its probability
	y      float64 // the value less what it is off by
	sd     int     // place in sds
	right  bool    // its state depends on the offset
}

// hump is the density of a value about one case of what arrives.
type hump struct {
	p, mean float64
	scale   float64
	norm    float64 // of a normal density
	kind    humpKind
	memo    *memory
}

type humpKind uint8

const (
	normalHump  humpKind = iota
	studentHump          // with 4 degrees of freedom
	otherHump            // by readingModel.spread
)

func newCurve(r *readingModel, nodes []float64) *curve {
	c := &curve{r: r, nodes: nodes, still: make([][readStates]float64, len(nodes)), memo: map[humpKey]*memory{}}
	share := 1 / float64(1+len(r.others))
	used := [readStates]bool{}
	for i := range 1 + len(r.others) {
		y := r.y
		if i > 0 {
			y = r.others[i-1]
		}
		right := share
		for k := range r.ways {
			w := &r.ways[k]
			right -= share * w.p
			if w.shows != anything && w.opposite != r.opposite {
				continue
			}
			used[w.state] = true
			if w.shows == through {
				c.follows = append(c.follows, follow{state: w.state, factor: share * w.p, y: y - w.db, sd: c.sdOf(w.sd)})
				continue
			}
			for n, offset := range nodes {
				c.still[n][w.state] += share * w.p * r.apart(w, y, offset)
			}
		}
		if !r.opposite {
			used[readRight], used[readBandwidth] = true, used[readBandwidth] || r.droop > 0
			c.follows = append(c.follows, follow{factor: right, y: y, sd: c.sdOf(0), right: true})
		}
	}
	for k, yes := range used {
		if yes {
			c.states = append(c.states, k)
		}
	}
	return c
}

func (c *curve) sdOf(sd float64) int {
	for k, have := range c.sds {
		if have == sd {
			return k
		}
	}
	c.sds = append(c.sds, sd)
	return len(c.sds) - 1
}

// humps are the densities about what arrives, by spread.
func (c *curve) humps(arrive []total) [][]hump {
	r := c.r
	all := make([]hump, len(c.sds)*len(arrive))
	out := make([][]hump, len(c.sds))
	for k, sd := range c.sds {
		out[k], all = all[:len(arrive)], all[len(arrive):]
		for i := range arrive {
			t := &arrive[i]
			h := hump{p: t.p, mean: t.db[qLevel]}
			if t.dead || h.mean < floorDB {
				var floorSD float64
				h.mean, floorSD = t.floor()
				h.scale = math.Hypot(math.Hypot(r.sd, sd), floorSD)
			} else {
				h.scale = math.Hypot(r.sd, math.Hypot(sd, t.sd[qLevel]))
				switch {
				case r.nu == 0:
					h.scale = math.Hypot(h.scale, r.noise)
				case r.noise == 0 && r.nu == 4:
					h.kind = studentHump
				default:
					h.kind = otherHump
				}
			}
			h.norm = h.scale * math.Sqrt(2*math.Pi)
			key := humpKey{h.mean, h.scale, h.kind}
			if h.memo = c.memo[key]; h.memo == nil {
				h.memo = &memory{}
				c.memo[key] = h.memo
			}
			h.memo.met++
			out[k][i] = h
		}
	}
	return out
}

// at is the likelihood in each state at a node.
func (c *curve) at(humps [][]hump, node int, out *[readStates]float64) {
	*out = c.still[node]
	for i := range c.follows {
		f := &c.follows[i]
		y, sum := f.y-c.nodes[node], 0.0
		for k := range humps[f.sd] {
			h := &humps[f.sd][k]
			sum += h.p * c.density(h, y)
		}
		out[c.stateOf(f, node)] += f.factor * sum
	}
}

// stateOf is the state that a way counts to at a node.
func (c *curve) stateOf(f *follow, node int) int {
	switch {
	case !f.right:
		return f.state
	case c.r.droop > 0 && c.nodes[node] < -c.r.droop:
		return readBandwidth
	}
	return readRight
}

// density is what readingModel.through says of one case of what arrives, for a value y
// over the offset.
func (c *curve) density(h *hump, y float64) float64 {
	x := y - h.mean
	switch h.kind {
	case studentHump: // as student
		z := x / h.scale
		u := 1 + z*z/4
		return 0.375 / (u * u * math.Sqrt(u) * h.scale)
	case normalHump: // as gauss
		z := x / h.scale
		if z > 38.6 || z < -38.6 {
			return 0
		}
		return math.Exp(-z*z/2) / h.norm
	}
	return c.r.spread(x, h.scale)
}

// fill writes the likelihood in all states together at nodes lo to hi.
func (c *curve) fill(humps [][]hump, lo, hi int, out []float64) {
	n := hi - lo
	c.sum = slices.Grow(c.sum[:0], n)[:n]
	c.part = slices.Grow(c.part[:0], n*readStates)[:n*readStates]
	for k := range n {
		*(*[readStates]float64)(c.part[k*readStates:]) = c.still[lo+k]
	}
	for i := range c.follows {
		f := &c.follows[i]
		clear(c.sum)
		for k := range humps[f.sd] {
			h := &humps[f.sd][k]
			if v := c.remembered(h); v != nil {
				for k, d := range v[i*len(c.nodes)+lo : i*len(c.nodes)+hi] {
					c.sum[k] += h.p * d
				}
				continue
			}
			if h.kind == studentHump {
				for k, offset := range c.nodes[lo:hi] { // as density
					z := (f.y - offset - h.mean) / h.scale
					u := 1 + z*z/4
					c.sum[k] += h.p * (0.375 / (u * u * math.Sqrt(u) * h.scale))
				}
				continue
			}
			for k, offset := range c.nodes[lo:hi] {
				c.sum[k] += h.p * c.density(h, f.y-offset)
			}
		}
		for k, v := range c.sum {
			c.part[k*readStates+c.stateOf(f, lo+k)] += f.factor * v
		}
	}
	for k := range n {
		states, sum := (*[readStates]float64)(c.part[k*readStates:]), 0.0
		for _, i := range c.states {
			sum += states[i]
		}
		out[k] = sum
	}
}

// The same case arrives with many combinations of faults: nothing where an intermittent
// one hides, the floor behind a dead stage. What is met often is remembered, up to
// mostHumps cases.
type humpKey struct {
	mean, scale float64
	kind        humpKind
}

// memory is the densities about a case, by way and node.
type memory struct {
	met int // how many combinations of faults it arrives with
	v   []float64
}

const (
	mostHumps = 64
	metOften  = 4
)

// remembered is the densities about a case by way and node, nil where they are not kept.
func (c *curve) remembered(h *hump) []float64 {
	m := h.memo
	if m.v == nil && m.met >= metOften && c.held < mostHumps {
		c.held++
		m.v = make([]float64, 0, len(c.follows)*len(c.nodes))
		for i := range c.follows {
			for _, offset := range c.nodes {
				m.v = append(m.v, c.density(h, c.follows[i].y-offset))
			}
		}
	}
	return m.v
}
