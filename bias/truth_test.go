package bias

import (
	"math"
	"math/rand/v2"
	"sort"
)

// written is a recording of a kind of its own: the truth that staircases are drawn from.
// The share of the coating that the bias moves is the normal distribution of bias over
// threshold in dB; what a tone loses grows with the length of the zone in which it is
// written, a power of bias, over its wavelength:
//
//	y(x) = 20·lg Φ((x − x0)/s) − L·10^(m·(x − x0)/20)   dB
//
// So it rises steeply, has one peak, and falls ever faster, where the fit's curve falls
// towards a straight line. A simplification for tests, no published model; figures are
// drawn so that 10 kHz falls by 1.5 to 6 dB within 2 to 4 dB of bias past its peak.
type written struct{ x0, s, loss, m float64 }

func (w written) db(x float64) float64 {
	share := math.Max(1e-12, 0.5*math.Erfc(-(x-w.x0)/(w.s*math.Sqrt2)))
	return 20*math.Log10(share) - w.loss*math.Pow(10, w.m*(x-w.x0)/20)
}

// printed is the shape of bias curves as tape data pages print them, from memory: dB
// re the peak against dB of bias re the treble's peak, studio tape at 38 cm/s.
var printedX = []float64{-8, -6, -5, -4, -3, -2, -1, 0, 1, 2, 3, 4, 5, 6, 8}

var printed = map[string][]float64{
	"treble": {-19, -11.5, -8.2, -5.4, -3.0, -1.25, -0.3, 0, -0.35, -1.3, -2.8, -4.6, -6.6, -8.8, -13.5},
	"low":    {-22, -14, -10.5, -7.4, -4.7, -2.7, -1.35, -0.5, -0.1, 0, -0.15, -0.5, -0.95, -1.5, -2.8},
}

// through is the value at x of the cubic Hermite curve with slopes from neighbours, the
// whole moved by shift and stretched by wide about 0.
func through(name string, x, shift, wide float64) float64 {
	xs, ys := printedX, printed[name]
	x = (x - shift) / wide
	i := sort.SearchFloat64s(xs, x)
	i = min(max(i, 1), len(xs)-1)
	slope := func(k int) float64 {
		a, b := max(k-1, 0), min(k+1, len(xs)-1)
		return (ys[b] - ys[a]) / (xs[b] - xs[a])
	}
	h := xs[i] - xs[i-1]
	t := (x - xs[i-1]) / h
	return ys[i-1]*(1+2*t)*(1-t)*(1-t) + h*slope(i-1)*t*(1-t)*(1-t) + ys[i]*t*t*(3-2*t) + h*slope(i)*t*t*(t-1)
}

// truth is one track: output of the two tones against true bias, dB, and how the trim
// makes bias of a position.
type truth struct {
	treble, low func(x float64) float64
	bias        func(position float64) float64 // of the wiper
}

// peakOf is the place of the greatest value between lo and hi.
func peakOf(f func(float64) float64, lo, hi float64) float64 {
	best, at := math.Inf(-1), lo
	for x := lo; x <= hi; x += 0.05 {
		if y := f(x); y > best {
			best, at = y, x
		}
	}
	best = math.Inf(-1)
	for x, end := at-0.06, at+0.06; x <= end; x += 0.001 {
		if y := f(x); y > best {
			best, at = y, x
		}
	}
	return at
}

// drawTruth draws a track whose treble peaks at bias 0.
func drawTruth(r *rand.Rand) truth {
	u := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	if r.IntN(3) == 0 {
		wide := u(0.8, 1.25)
		p := peakOf(func(x float64) float64 { return through("treble", x, 0, wide) }, -2, 2)
		return truth{
			treble: func(x float64) float64 { return through("treble", x, -p, wide) },
			low:    func(x float64) float64 { return through("low", x, -p, wide) },
		}
	}
	t := written{s: u(1.5, 3), m: u(0.7, 1.6)}
	fall := u(2.2, 3.8) // dB of bias past the peak for 3 dB
	p, top := 0.0, 0.0
	for lo, hi, k := 0.01, 100.0, 0; k < 40; k++ {
		t.loss = math.Sqrt(lo * hi)
		p = peakOf(t.db, -12, 20)
		if top = t.db(p); top-t.db(p+fall) < 3 {
			lo = t.loss
		} else {
			hi = t.loss
		}
	}
	l := t
	l.loss *= u(0.06, 0.2)
	return truth{
		treble: func(x float64) float64 { return t.db(x+p) - top },
		low:    func(x float64) float64 { return l.db(x+p) - top },
	}
}
