package diagnosis

import "math"

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
}

type humpKind uint8

const (
	normalHump  humpKind = iota
	studentHump          // with 4 degrees of freedom
	otherHump            // by readingModel.spread
)

func newCurve(r *readingModel, nodes []float64) *curve {
	c := &curve{r: r, nodes: nodes, still: make([][readStates]float64, len(nodes))}
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
			out[k][i] = h
		}
	}
	return out
}

// at is the likelihood in each state at a node.
func (c *curve) at(humps [][]hump, node int, out *[readStates]float64) {
	*out = c.still[node]
	offset := c.nodes[node]
	for i := range c.follows {
		f := &c.follows[i]
		state := f.state
		if f.right {
			state = readRight
			if c.r.droop > 0 && offset < -c.r.droop {
				state = readBandwidth
			}
		}
		y := f.y - offset
		sum := 0.0
		list := humps[f.sd]
		for k := range list {
			h := &list[k]
			x := y - h.mean
			switch h.kind {
			case studentHump: // as student
				z := x / h.scale
				u := 1 + z*z/4
				sum += h.p * (0.375 / (u * u * math.Sqrt(u) * h.scale))
			case normalHump: // as gauss
				if z := x / h.scale; z <= 38.6 && z >= -38.6 {
					sum += h.p * (math.Exp(-z*z/2) / h.norm)
				}
			default:
				sum += h.p * c.r.spread(x, h.scale)
			}
		}
		out[state] += f.factor * sum
	}
}

// sum is the likelihood at a node in all states together.
func (c *curve) sum(humps [][]hump, node int) float64 {
	var out [readStates]float64
	c.at(humps, node, &out)
	sum := 0.0
	for _, k := range c.states {
		sum += out[k]
	}
	return sum
}
