package signature

import (
	"math"
	"slices"
)

// estimate is a hypothesis fitted once more with the sound tracks' own differences of
// gain and contact as unknowns, so that what a track really does can be stated.
type estimate struct {
	*fit
	gain, space []int // [track] places of the track's own gain and spacing among the params
	cov         matrix
	weight      float64 // probability of the hypothesis
}

// estimate fits h with the fitter of bare tracks.
func (f *fitter) estimate(h *fit, s spread, weight float64) *estimate {
	bare := &fitter{d: f.d, w: f.w, y: f.y, units: f.units, nodes: f.nodes, grids: f.grids, col: f.col}
	e := &estimate{weight: weight}
	bare.base = slices.Clone(f.base)
	q := slices.Clone(h.q[:len(f.base)])
	for t := range f.d.tracks {
		e.gain = append(e.gain, len(bare.base))
		e.space = append(e.space, len(bare.base)+1)
		bare.base = append(bare.base, normal(byGain, 0, s.gainDB, t), normal(bySpacing, 0, s.spacingUm, t))
		q = append(q, 0, 0)
	}
	e.fit = bare.solve(h.list, append(q, h.q[len(f.base):]...))
	e.cov = e.chol.inverse()
	return e
}

// number is a quantity with its standard error; logarithm says that both are of the
// natural logarithm of the value.
type number struct {
	mean, sd  float64
	logarithm bool
	weight    float64
}

// sum is a linear combination of parameters: place → factor.
type sum map[int]float64

// of gives the combination's mean about constant and its standard error.
func (e *estimate) of(c sum, constant float64) number {
	v := 0.0
	for i, a := range c {
		for j, b := range c {
			v += a * b * e.cov.at(i, j)
		}
	}
	return number{mean: constant, sd: wider * math.Sqrt(math.Max(v, 0)), weight: e.weight}
}

// wider is for spreads that are learned from some tens of figures instead of being known.
const wider = 1.05

// place of a parameter.
func (e *estimate) place(p *param) int { return slices.Index(e.params, p) }

// gainOf is the gain of a track re the mean of the tracks whose gain nobody doubts.
func (e *estimate) gainOf(t int) number {
	value, c := 0.0, sum{}
	doubted := map[int]bool{t: true}
	for _, s := range e.list {
		for _, p := range s.params {
			if p.fam != byGain {
				continue
			}
			for _, on := range p.on {
				doubted[on] = true
			}
			if slices.Contains(p.on, t) {
				x := p.value(e.q[e.place(p)])
				value += x
				c[e.place(p)] = x
			}
		}
	}
	value += e.q[e.gain[t]]
	c[e.gain[t]] = 1
	var others []int
	for u := range e.gain {
		if !doubted[u] {
			others = append(others, u)
		}
	}
	for _, u := range others {
		value -= e.q[e.gain[u]] / float64(len(others))
		c[e.gain[u]] = -1 / float64(len(others))
	}
	return e.of(c, value)
}

// spacingOf is the spacing of a track.
func (e *estimate) spacingOf(t int) number {
	value, c := e.q[e.space[t]], sum{e.space[t]: 1}
	for _, s := range e.list {
		for _, p := range s.params {
			if (p.fam == bySpacing || p.fam == byRamp) && slices.Contains(p.on, t) {
				x := p.value(e.q[e.place(p)]) * p.weight(t)
				if p.undone {
					x = -x
				}
				value += x
				c[e.place(p)] = x
			}
		}
	}
	return e.of(c, value)
}

// azimuth is the whole angle.
func (e *estimate) azimuth() number {
	value, c := 0.0, sum{}
	for i, p := range e.params {
		if p.fam == byAzimuth {
			x := p.value(e.q[i])
			value += x
			c[i] = 1
			if p.log {
				c[i] = x
			}
		}
	}
	return e.of(c, value)
}

// scaleOf is a parameter that is given by its logarithm.
func (e *estimate) scaleOf(p *param) number {
	i := e.place(p)
	n := e.of(sum{i: 1}, e.q[i])
	n.logarithm = true
	return n
}

// mixed is the mean and the 95 % interval of numbers of which one holds, with their
// weights.
func mixed(list []number) (value, lo, hi float64) {
	total := 0.0
	for _, n := range list {
		total += n.weight
	}
	value = quantile(list, 0.5*total)
	return value, quantile(list, 0.025*total), quantile(list, 0.975*total)
}

// quantile of a mixture by bisection.
func quantile(list []number, p float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, n := range list {
		lo, hi = math.Min(lo, n.quantile(-8)), math.Max(hi, n.quantile(8))
	}
	for range 80 {
		mid := (lo + hi) / 2
		c := 0.0
		for _, n := range list {
			c += n.weight * n.below(mid)
		}
		if c < p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

func (n number) quantile(z float64) float64 {
	x := n.mean + z*math.Max(n.sd, 1e-12)
	if n.logarithm {
		return math.Exp(x)
	}
	return x
}

func (n number) below(x float64) float64 {
	if n.logarithm {
		if x <= 0 {
			return 0
		}
		x = math.Log(x)
	}
	return 0.5 * math.Erfc(-(x-n.mean)/math.Max(n.sd, 1e-12)/math.Sqrt2)
}
