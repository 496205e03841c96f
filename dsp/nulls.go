package dsp

import "math"

// A filter before a decimation by d need not stop everything above its pass
// band: only what folds onto the band that is kept, which lies around the
// multiples of the new rate. The filters here have their zeros there and
// nowhere else, and so cost about order taps per input sample whatever d is.
// They are running sums of d samples, cascaded as in Hogenauer, IEEE Trans.
// Acoust. Speech Signal Process. 29(2), 1981, each turned a little in frequency
// so that the zeros around a multiple of the new rate spread over the band as
// those of a Chebyshev polynomial do: 6 dB per further order more than when all
// fall on the multiple itself.

// mostOrder bounds the order tried; a wider band needs less decimation.
const mostOrder = 12

// nullOrder returns the least order with which nullFilter attenuates by
// attenDB everything within ±edge (cycles per sample) of the multiples of 1/d.
// ok is false when none up to mostOrder does.
func nullOrder(d int, edge, attenDB float64) (order int, ok bool) {
	if edge >= 0.4/float64(d) {
		return 0, false
	}
	goal := math.Pow(10, -attenDB/20)
	for order = 2; order <= mostOrder; order++ {
		// The multiple next to the pass band is the worst: running sums fall with
		// frequency. Between zeros the gain peaks as Chebyshev's polynomial does, at
		// cos(πi/order) of the edge.
		worst := 0.0
		for i := range order + 1 {
			f := 1/float64(d) + edge*math.Cos(math.Pi*float64(i)/float64(order))
			worst = math.Max(worst, math.Abs(nullGain(d, order, edge, f)))
		}
		// The running sums' slope leans the peaks a little beyond those places; 1 dB.
		if worst < 0.89*goal {
			return order, true
		}
	}
	return 0, false
}

// nullShift is where the r-th running sum of so many is turned to.
func nullShift(r, order int, edge float64) float64 {
	return edge * math.Cos(math.Pi*(float64(r)+0.5)/float64(order))
}

// nullGain is nullFilter's gain at f.
func nullGain(d, order int, edge, f float64) float64 {
	g := 1.0
	for r := range order {
		s := nullShift(r, order, edge)
		g *= runningSum(d, f-s) / runningSum(d, s)
	}
	return g
}

// runningSum is the gain at f of the mean of d samples.
func runningSum(d int, f float64) float64 {
	s := math.Sin(math.Pi * f)
	if math.Abs(s) < 1e-12 {
		return 1
	}
	return math.Sin(math.Pi*f*float64(d)) / (float64(d) * s)
}

// nullFilter returns the order·(d−1)+1 symmetric taps, gain 1 at 0.
func nullFilter(d, order int, edge float64) []float64 {
	h := []float64{1}
	// Shifts come in pairs ±s, whose product is real, and one of 0 if the order is odd.
	for r := range order / 2 {
		s := nullShift(r, order, edge)
		pair := make([]float64, 2*d-1)
		for i := range d {
			for j := range d {
				pair[i+j] += math.Cos(2 * math.Pi * s * float64(i-j))
			}
		}
		h = convolve(h, pair)
	}
	if order%2 == 1 {
		one := make([]float64, d)
		for i := range one {
			one[i] = 1
		}
		h = convolve(h, one)
	}
	scale(h, 1)
	return h
}

// undoDroop returns symmetric taps for use after nullFilter and the decimation
// by d that undo the filter's gain for frequencies up to pass, in cycles per
// sample of the new rate, within 10⁻⁸. They are a polynomial in y = 4·sin²(πf),
// the gain of the taps −1, 2, −1, through the reciprocal gain at Chebyshev's
// nodes.
func undoDroop(d, order int, edge, pass float64) []float64 {
	sq := math.Sin(math.Pi * pass)
	top := 4 * sq * sq
	want := func(y float64) float64 {
		return 1 / nullGain(d, order, edge, math.Asin(math.Sqrt(y)/2)/math.Pi/float64(d))
	}
	const most = 14
	for degree := 0; ; degree++ {
		y, c := newton(want, degree, top)
		worst := 0.0
		for i := range 4*degree + 5 {
			at := top * float64(i) / float64(4*degree+4)
			p := c[degree]
			for k := degree - 1; k >= 0; k-- {
				p = p*(at-y[k]) + c[k]
			}
			worst = math.Max(worst, math.Abs(p/want(at)-1))
		}
		if worst > 1e-8 && degree < most {
			continue
		}
		taps := []float64{c[degree]}
		for k := degree - 1; k >= 0; k-- {
			taps = convolve(taps, []float64{-1, 2 - y[k], -1})
			taps[len(taps)/2] += c[k]
		}
		return taps
	}
}

// newton returns the nodes y and divided differences c of the polynomial of a
// degree through f at Chebyshev's nodes of 0 to top.
func newton(f func(float64) float64, degree int, top float64) (y, c []float64) {
	y, c = make([]float64, degree+1), make([]float64, degree+1)
	for k := range y {
		y[k] = top / 2 * (1 - math.Cos(math.Pi*(float64(k)+0.5)/float64(degree+1)))
		c[k] = f(y[k])
	}
	for k := 1; k <= degree; k++ {
		for i := degree; i >= k; i-- {
			c[i] = (c[i] - c[i-1]) / (y[i] - y[i-k])
		}
	}
	return y, c
}

// convolve returns the len(a)+len(b)−1 values of a·b.
func convolve(a, b []float64) []float64 {
	out := make([]float64, len(a)+len(b)-1)
	for i, v := range a {
		for j, w := range b {
			out[i+j] += v * w
		}
	}
	return out
}

// scale makes the sum of h equal to total.
func scale(h []float64, total float64) {
	sum := 0.0
	for _, v := range h {
		sum += v
	}
	for i := range h {
		h[i] *= total / sum
	}
}

// twoStages splits a decimation by d in two: nullFilter before the first,
// LowPass with the droop undone before the second. pass and stop are the edges
// of the last filter and weight the cost of an intermediate sample re that of
// one tap at the input rate, all frequencies in cycles per input sample.
func twoStages(d int, pass, stop, attenDB float64) (d1 int, h1, h2 []float64) {
	best, order := math.Inf(1), 0
	transition := (attenDB - 7.95) / 14.36 / (stop - pass) // length of the last filter at the input rate
	for try := 1; try <= d; try++ {
		if d%try != 0 || try > 1 && stop*float64(try) > 0.35 {
			continue
		}
		o, ok := 0, true
		if try > 1 {
			o, ok = nullOrder(try, stop, attenDB)
		}
		if !ok {
			continue
		}
		perSample := float64(o)*float64(try-1)/float64(try) + (transition/float64(d)+perIntermediate)/float64(try)
		if perSample < best {
			best, d1, order = perSample, try, o
		}
	}
	h1 = []float64{1}
	if d1 > 1 {
		h1 = nullFilter(d1, order, stop)
	}
	h2 = LowPass(pass*float64(d1), math.Min(0.5, stop*float64(d1)), attenDB)
	if d1 > 1 {
		h2 = convolve(h2, undoDroop(d1, order, stop, pass*float64(d1)))
	}
	return d1, h1, h2
}

// perIntermediate is what an intermediate sample costs besides the last
// filter's taps, in taps: loop ends, the turn of the carrier, moves of memory.
const perIntermediate = 24

// fours pads taps with zeros to a multiple of four, the stride of slide.
func fours(h []float64) []float64 {
	return append(h, make([]float64, (4-len(h)%4)%4)...)
}
