package tape

import (
	"fmt"
	"math"
	"sort"

	"headstack/unit"
)

// FringingGain returns by how much the level of a tape recorded over its full
// width rises when it is played on the core of the given track (from 1), because
// the core's sides gather flux from the tape beside it:
//
//	G = 20·log10(1 + (e_a + e_b)/w)
//
// w is the core's width, and e_a, e_b the extra widths of its two sides: that of
// [SideNeighbour] where another core follows, [SideTapeEnds] at the distance of
// the tape's edge where none does. Positive is more level; it falls towards 0 at
// short wavelengths. A core that reaches over the tape's edge gains nothing on
// that side and w is the width on the tape.
//
// Subtract the gain at the reference tone when levels are read relative to it.
// The model leaves out shields between cores (which lower the rise) and fails
// where λ is longer than the pole face or the head is deep; published
// calculations are not accurate at the lowest frequencies either (McKnight, JAES
// 26(4), 1978).
//
// It is NaN unless λ > 0 is finite and the track's core lies on the tape. It
// panics when track is not in the geometry.
func FringingGain(g Geometry, track int, lambda unit.Metre) unit.Decibel {
	if track < 1 || track > len(g.Tracks) {
		panic(fmt.Sprintf("tape: track %d of a geometry with %d tracks", track, len(g.Tracks)))
	}
	if !positive(float64(lambda)) {
		return nanDB()
	}
	a, b := g.sides(track)
	low, high := g.edges(track)
	width := math.Min(high, float64(g.TapeWidth)) - math.Max(low, 0)
	if !(width > 0) {
		return nanDB()
	}
	extra := a.extra(lambda) + b.extra(lambda)
	return amplitudeDB(1 + float64(extra)/width)
}

// side is what lies beside a core: a neighbouring core or the end of the tape.
type side struct {
	neighbour bool
	distance  unit.Metre
}

func (s side) extra(lambda unit.Metre) unit.Metre {
	if s.neighbour {
		return SideNeighbour(s.distance, lambda)
	}
	return SideTapeEnds(s.distance, lambda)
}

// edges returns where a track's core begins and ends, in metres from the tape
// edge at track 1.
func (g Geometry) edges(track int) (low, high float64) {
	t := g.Tracks[track-1]
	return float64(t.Centre - t.Width/2), float64(t.Centre + t.Width/2)
}

// sides finds the nearest thing on either side of a track's core. Tracks may be
// listed in any order across the tape.
func (g Geometry) sides(track int) (below, above side) {
	low, high := g.edges(track)
	below = side{distance: unit.Metre(math.Max(0, low))}
	above = side{distance: unit.Metre(math.Max(0, float64(g.TapeWidth)-high))}
	for other := range g.Tracks {
		if other == track-1 {
			continue
		}
		otherLow, otherHigh := g.edges(other + 1)
		if d := unit.Metre(low - otherHigh); d >= 0 && d <= below.distance {
			below = side{neighbour: true, distance: d}
		}
		if d := unit.Metre(otherLow - high); d >= 0 && d <= above.distance {
			above = side{neighbour: true, distance: d}
		}
	}
	return below, above
}

// sideLimit is k·e of a side beside which tape continues without end: 4/(3√3).
const sideLimit = 0.7698003589195010

// SideTapeEnds returns the extra width e that one side of a core gathers at
// wavelength lambda when recorded tape lies beside it out to distance d:
//
//	k·e = (1 - exp(-X))/2 + (2/(√3·π)) ∫₀^∞ (1 - exp(-X·cosh t))/cosh t ·
//	      cosh(2t/3)/(1/2 + cosh(4t/3)) dt,   X = k·d, k = 2π/λ
//
// The model is a head block of constant potential with plane face and square side
// walls, tape thin and in contact; the potential beside the core solves
// ∇²φ = k²φ. It tends to d for short distances and to 0.7698/k for long ones. It
// is NaN unless λ > 0 is finite and d ≥ 0; d may be +Inf.
func SideTapeEnds(d, lambda unit.Metre) unit.Metre {
	if !positive(float64(lambda)) || !(d >= 0) {
		return unit.Metre(math.NaN())
	}
	k := 2 * math.Pi / float64(lambda)
	return unit.Metre(tapeEnds(k*float64(d)) / k)
}

// tapeEnds is k·e as a function of X = k·d. The integrand is even and analytic up
// to |Im t| = π/2, so the trapezoidal rule with this step is exact to 1e-15.
func tapeEnds(x float64) float64 {
	const step, last = 0.25, 24.0
	sum := 0.5 * sideTerm(x, 0)
	for i := 1; i <= int(last/step); i++ {
		sum += sideTerm(x, float64(i)*step)
	}
	return -math.Expm1(-x)/2 + 2/(math.Sqrt(3)*math.Pi)*step*sum
}

func sideTerm(x, t float64) float64 {
	c := math.Cosh(t)
	return -math.Expm1(-x*c) / c * math.Cosh(2*t/3) / (0.5 + math.Cosh(4*t/3))
}

// SideNeighbour returns the extra width e that one side of a core gathers at
// wavelength lambda when a neighbouring core, at the same magnetic potential as
// the first would have at rest (zero), begins at distance d and shields the tape
// beyond. It comes from the same boundary-value problem as [SideTapeEnds], solved
// by finite differences to about 0.0003 in k·e at fifteen values of k·d and
// interpolated by a monotone cubic; it tends to d/2 for small distances and to
// 0.7698/k for large ones. It is NaN unless λ > 0 is finite and d ≥ 0.
func SideNeighbour(d, lambda unit.Metre) unit.Metre {
	if !positive(float64(lambda)) || !(d >= 0) {
		return unit.Metre(math.NaN())
	}
	k := 2 * math.Pi / float64(lambda)
	return unit.Metre(neighbour(k*float64(d)) / k)
}

// neighbour is k·e as a function of X = k·d.
func neighbour(x float64) float64 {
	if x >= neighbourX[len(neighbourX)-1] {
		return sideLimit
	}
	i := sort.SearchFloat64s(neighbourX, x)
	if i > 0 {
		i--
	}
	h := neighbourX[i+1] - neighbourX[i]
	t := (x - neighbourX[i]) / h
	t2, t3 := t*t, t*t*t
	return (2*t3-3*t2+1)*neighbourE[i] + (t3-2*t2+t)*h*neighbourSlope[i] +
		(3*t2-2*t3)*neighbourE[i+1] + (t3-t2)*h*neighbourSlope[i+1]
}

// The finite-difference solution; beyond k·d = 10 the limit holds to 5e-5.
var (
	neighbourX = []float64{0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.75, 1, 1.5, 2, 3, 4, 6, 10}
	neighbourE = []float64{0, 0.0100, 0.0248, 0.0492, 0.0966, 0.1423, 0.2277, 0.3230, 0.4055, 0.5339, 0.6212, 0.7136, 0.7491, 0.7671, sideLimit}
)

// neighbourSlope is the slope at each row: Fritsch and Butland's (SIAM J. Sci.
// Stat. Comput. 5, 1984), with which a cubic between rows is monotone. gonum has
// it ready-made, but brings linear algebra into the binary; a test compares.
var neighbourSlope = func() []float64 {
	n := len(neighbourX)
	slope := make([]float64, n)
	secant := func(i int) float64 {
		return (neighbourE[i+1] - neighbourE[i]) / (neighbourX[i+1] - neighbourX[i])
	}
	slope[0], slope[n-1] = secant(0), secant(n-2)
	for i := 1; i < n-1; i++ {
		a, b := secant(i-1), secant(i)
		h0, h1 := neighbourX[i]-neighbourX[i-1], neighbourX[i+1]-neighbourX[i]
		slope[i] = 3 * (h0 + h1) / ((2*h1+h0)/a + (h1+2*h0)/b) // secants rise, all of them
	}
	return slope
}()
