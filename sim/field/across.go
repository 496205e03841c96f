package field

import (
	"math"
	"math/cmplx"
)

// span is a stretch across the tape.
type span struct{ low, high float64 }

func (s span) common(o span) span { return span{max(s.low, o.low), min(s.high, o.high)} }
func (s span) empty() bool        { return s.low >= s.high }

// core is where a core lies, moved by height.
func (h Head) core(i int, height float64) span {
	c, w := h.CentresM[i]+height, h.WidthsM[i]/2
	return span{c - w, c + w}
}

// recorded lists the stretches of the tape that carry the tone.
func (t Tape) recorded() []span {
	if t.FullWidth {
		return []span{{0, t.WidthM}}
	}
	var list []span
	for i, c := range t.CentresM {
		w := t.WidthsM[i] / 2
		if s := (span{c - w, c + w}).common(span{0, t.WidthM}); !s.empty() {
			list = append(list, s)
		}
	}
	return list
}

// inPlace is the width of recording under core i when nothing is out of place.
func (p *Player) inPlace(i int) float64 {
	sum := 0.0
	for _, r := range p.tape.recorded() {
		if s := p.head.core(i, 0).common(r); !s.empty() {
			sum += s.high - s.low
		}
	}
	return sum
}

// across integrates what core i gathers under and beside itself: over z
//
//	∫ q(z)·exp(-ik(z - z1)·tan α)·C(k, gap, d(z)) dz
//
// with q the side weight, z1 the centre of track 1 in place, C the integral over gap and coating.
func (p *Player) across(i int, k float64, f Fault) complex128 {
	core := p.head.core(i, f.HeightM)
	below, above := p.room(i)
	gap := f.GapM
	if gap == 0 {
		gap = p.head.GapM
	}
	contact := p.contact(k, gap, f)
	tilt, z1 := k*math.Tan(f.AzimuthRad), p.head.CentresM[0]
	strip := func(z, u float64) complex128 { // u: 0 to 1 over the core
		return cmplx.Rect(contact(min(1, max(0, u))), -tilt*(z-z1))
	}
	width := core.high - core.low
	var sum complex128
	for _, r := range p.tape.recorded() {
		if s := core.common(r); !s.empty() {
			for _, n := range p.steps.evenly(s, tilt) {
				sum += complex(n.weight, 0) * strip(n.at, (n.at-core.low)/width)
			}
		}
		for _, n := range p.steps.beside(span{core.low - r.high, core.low - r.low}, below, p.head.SideDecay*k, tilt) {
			sum += complex(n.weight, 0) * strip(core.low-n.at, 0)
		}
		for _, n := range p.steps.beside(span{r.low - core.high, r.high - core.high}, above, p.head.SideDecay*k, tilt) {
			sum += complex(n.weight, 0) * strip(core.high+n.at, 1)
		}
	}
	return sum
}

// room is the distance from core i to the next core on either side, +Inf where there
// is none.
func (p *Player) room(i int) (below, above float64) {
	below, above = math.Inf(1), math.Inf(1)
	own := p.head.core(i, 0)
	for j := range p.head.CentresM {
		o := p.head.core(j, 0)
		switch {
		case j == i:
		case p.head.CentresM[j] < p.head.CentresM[i]:
			below = min(below, max(0, own.low-o.high))
		default:
			above = min(above, max(0, o.low-own.high))
		}
	}
	return below, above
}

// contact returns the integral over gap and coating as a function of the place u on
// the core, 0 to 1. Where spacing runs from one value to another its logarithm is
// interpolated between a few spacings.
func (p *Player) contact(k, gap float64, f Fault) func(u float64) float64 {
	inner, outer := f.SpacingLowM, f.SpacingHighM
	if inner == outer {
		v := p.read(reading{k, gap, inner}, true)
		return func(float64) float64 { return v }
	}
	at := make([]float64, p.steps.ramp)
	value := make([]float64, len(at))
	for i := range at {
		at[i] = 0.5 - 0.5*math.Cos(math.Pi*float64(i)/float64(len(at)-1)) // Chebyshev, with both ends
		v := p.read(reading{k, gap, inner + at[i]*(outer-inner)}, true)
		value[i] = v
	}
	// The logarithm runs almost straight; near a null of the gap it may not exist.
	logs := true
	for _, v := range value {
		logs = logs && v*value[0] > 0
	}
	if !logs {
		return func(u float64) float64 { return lagrange(at, value, u) }
	}
	sign := math.Copysign(1, value[0])
	for i, v := range value {
		value[i] = math.Log(math.Abs(v))
	}
	return func(u float64) float64 { return sign * math.Exp(lagrange(at, value, u)) }
}

// lagrange is the polynomial through the points at u.
func lagrange(at, value []float64, u float64) float64 {
	sum := 0.0
	for i := range at {
		l := value[i]
		for j := range at {
			if j != i {
				l *= (u - at[j]) / (at[i] - at[j])
			}
		}
		sum += l
	}
	return sum
}

// evenly lays nodes over a stretch under the core, at most 3 rad of tilt to a panel.
func (s steps) evenly(r span, tilt float64) []node {
	n := s.halves * (1 + int(math.Abs(tilt)*(r.high-r.low)/3))
	var list []node
	h := (r.high - r.low) / float64(n)
	for i := range n {
		list = gauss(list, s.acrossOrder, r.low+float64(i)*h, r.low+float64(i+1)*h)
	}
	return list
}

// beside lays nodes over the distances r from the side of a core, with the side weight
//
//	q(ζ) = exp(-aζ)                      where no core follows
//	q(ζ) = sinh(a(b - ζ))/sinh(a·b)      where one does at distance b
//
// The potential of the core's side falls with distance and is nothing on the
// neighbour, which rests.
func (s steps) beside(r span, b, a, tilt float64) []node {
	r = r.common(span{0, min(b, 40/a)}) // beyond, exp(-40)
	if r.empty() {
		return nil
	}
	var list []node
	for from, step := r.low, 2/a; from < r.high; from += step / float64(s.halves) {
		list = gauss(list, s.acrossOrder, from, min(from+step/float64(s.halves), r.high))
	}
	for i, n := range list {
		q := math.Exp(-a * n.at)
		if !math.IsInf(b, 1) {
			q *= math.Expm1(-2*a*(b-n.at)) / math.Expm1(-2*a*b)
		}
		list[i].weight *= q
	}
	return list
}
