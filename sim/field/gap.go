package field

import "math"

// karlqvist is the field along the tape, at distance y from the face and x from the
// middle of a gap, of a head whose potential rises by 1 in a straight line across the
// gap and is constant on either side:
//
//	Hx = (1/πg)·[arctan((x + g/2)/y) - arctan((x - g/2)/y)]
//
// written as one arctangent. Source: O. Karlqvist, Trans. Roy. Inst. Technol.
// Stockholm 86, 1954 (from memory).
func karlqvist(x, y, gap float64) float64 {
	return math.Atan2(gap*y, x*x+y*y-gap*gap/4) / (math.Pi * gap)
}

// node is a place and its weight in an integral.
type node struct{ at, weight float64 }

// depth integrates karlqvist·cos(kx) over all x and over the coating from spacing on,
// divided by the coating's depth.
func (s steps) depth(k, gap, spacing, coating float64) float64 {
	var layers []node
	for i := range s.halves {
		h := coating / float64(s.halves)
		layers = gauss(layers, s.depthOrder, spacing+float64(i)*h, spacing+float64(i+1)*h)
	}
	along := s.along(k, gap, layers[0].at)
	sum := 0.0
	for _, x := range along {
		column := 0.0
		for _, y := range layers {
			column += y.weight * karlqvist(x.at, y.at, gap)
		}
		sum += x.weight * column
	}
	return sum / coating
}

// along lays the nodes of the integral over x; cos(kx) and the mirror half x < 0 are
// in the weights. Beside the edge of the gap, where the field falls within nearest
// (the least y), panels start as small and double. Further out they end at the zeros
// of the cosine: the field falls only as 1/x², so the sum over half-waves alternates,
// and its last partial sums are averaged with binomial weights, by which the
// remainder all but vanishes.
func (s steps) along(k, gap, nearest float64) []node {
	half := math.Pi / k
	n := math.Ceil(gap/2/half + 0.5)
	outer := (n + 0.5) * half // the first zero clear of the gap
	var list []node
	panel := func(a, b, weight float64) {
		from := len(list)
		list = gauss(list, s.alongOrder, a, b)
		for i := from; i < len(list); i++ {
			list[i].weight *= 2 * weight * math.Cos(k*list[i].at)
		}
	}
	grade := func(length float64, place func(a, b float64)) {
		for a, step := 0.0, nearest; a < length; step = min(2*step, half/2) {
			b := a + min(step, half/2)/float64(s.halves)
			if b > length*(1-1e-9) {
				b = length
			}
			place(a, b)
			a = b
		}
	}
	edge := gap / 2
	grade(edge, func(a, b float64) { panel(edge-b, edge-a, 1) })
	grade(outer-edge, func(a, b float64) { panel(edge+a, edge+b, 1) })
	for j := range s.halfWaves + averaged {
		a, weight := outer+float64(j)*half, 1.0
		if j >= s.halfWaves {
			weight = averages[j-s.halfWaves]
		}
		for i := range 2 * s.halves {
			h := half / float64(2*s.halves)
			panel(a+float64(i)*h, a+float64(i+1)*h, weight)
		}
	}
	return list
}

// averaged is the number of half-waves under falling weights.
const averaged = 8

// averages[j] is the part of the binomial averages of the partial sums that contains
// half-wave j.
var averages = func() (w [averaged]float64) {
	choose := 1.0
	for i := range averaged { // sums that end after i more half-waves contain the first i
		choose = choose * float64(averaged-i) / float64(i+1)
		for j := range i + 1 {
			w[j] += choose / (1 << averaged)
		}
	}
	return w
}()
