package measure

import (
	"math"
	"sync"

	"headstack/dsp"
)

// Bands of unweighted figures. 6 Hz parts wow from flutter: common practice, from
// memory of NAB 1965 and the DIN usage; 0.2 to 200 Hz is the band of IEC 60386:1972 and
// AES6-2008, from memory.
const (
	wowLoHz, wowHiHz = 0.2, 6
	slowestHz        = 0.1 // nothing is left from here down
	crossLoHz        = 5   // wow falls from here ...
	crossHiHz        = 7.2 // ... to here, 3 dB down at 6 Hz
	topEndHz         = 250 // flat to 200 Hz, nothing from here up
	bandPadSeconds   = 15  // the filters' reach: 0.1 to 0.2 Hz is resolved in about that
	bandJoin         = 0.5 // s at either end of a section, not judged
	bandSegment      = 1 << 17
)

// wowGain and flutterGain are the gains of the two bands. They complement each other in
// power: the squares add up to 1 between 0.2 and 200 Hz.
func wowGain(f float64) float64 {
	return math.Sin(math.Pi/2*ramp(f, slowestHz, wowLoHz)) * math.Cos(math.Pi/2*ramp(f, crossLoHz, crossHiHz))
}

func flutterGain(f float64) float64 {
	return math.Sin(math.Pi/2*ramp(f, crossLoHz, crossHiHz)) * math.Cos(math.Pi/2*ramp(f, speedTopHz, topEndHz))
}

// ramp rises from 0 at lo to 1 at hi along the logarithm of f.
func ramp(f, lo, hi float64) float64 {
	switch {
	case f <= lo:
		return 0
	case f >= hi:
		return 1
	}
	return math.Log(f/lo) / math.Log(hi/lo)
}

// bandSplitter filters into wow and flutter without phase shift, by fast convolution in
// segments.
type bandSplitter struct {
	rate float64
	pad  int
	plan *dsp.FFT
	gain []complex128 // wow in the real part, flutter in the imaginary one
	buf  []complex128
	// For the weighted figures, shared by all signals: a meter at rest, and carrierNoise.
	meter dsp.DetectorFlutter
	noise func() []float64
	// What each weighting lets through of the noise of a carrier: the integral of its
	// squared gain times f², see speedSeries.noise.
	wowNoise, flutterNoise, weightedNoise float64
}

func newBandSplitter(rate float64, samples int) *bandSplitter {
	b := &bandSplitter{rate: rate, pad: int(bandPadSeconds * rate)}
	n := 1
	for n < min(samples, bandSegment)+2*b.pad {
		n *= 2
	}
	b.plan, b.buf, b.gain = dsp.NewFFT(n), make([]complex128, n), make([]complex128, n)
	for k := range b.gain {
		f := float64(min(k, n-k)) * rate / float64(n)
		b.gain[k] = complex(wowGain(f)/float64(n), flutterGain(f)/float64(n))
	}
	b.meter = *dsp.NewDetectorFlutter(rate)
	b.noise = sync.OnceValue(func() []float64 { return carrierNoise(rate, samples+weightedLead(rate, samples)) })
	filter := dsp.NewFilterFlutter(rate)
	b.wowNoise = noiseThrough(rate, func(f float64) float64 { g := wowGain(f); return g * g })
	b.flutterNoise = noiseThrough(rate, func(f float64) float64 { g := flutterGain(f); return g * g })
	b.weightedNoise = noiseThrough(rate, func(f float64) float64 { g := filter.Response(f); return real(g)*real(g) + imag(g)*imag(g) })
	return b
}

// another splits side by side with b, whose tables it shares.
func (b *bandSplitter) another() *bandSplitter {
	c := *b
	c.plan, c.buf = dsp.NewFFT(len(b.buf)), make([]complex128, len(b.buf))
	return &c
}

// noiseThrough is the integral of gain2·f² up to half the rate.
func noiseThrough(rate float64, gain2 func(hz float64) float64) float64 {
	const df = 0.1
	sum := 0.0
	for f := df / 2; f < rate/2; f += df {
		sum += gain2(f) * f * f * df
	}
	return sum
}

// split returns the wow and the flutter of x, as long as x.
func (b *bandSplitter) split(x []float64) (wow, flutter []float64) {
	wow, flutter = make([]float64, len(x)), make([]float64, len(x))
	n := len(b.buf)
	core := n - 2*b.pad
	for at := 0; at < len(x); at += core {
		for i := range b.buf {
			b.buf[i] = complex(mirrored(x, at-b.pad+i, b.pad), 0)
		}
		b.plan.Transform(b.buf)
		// Both filters are real and even, so both outputs are real: one inverse
		// transform does for both. The inverse is the transform run backwards.
		for k := range b.buf {
			b.buf[k] *= b.gain[k]
		}
		b.plan.Transform(b.buf)
		for i := at; i < min(at+core, len(x)); i++ {
			v := b.buf[(n-(i-at+b.pad))%n]
			wow[i], flutter[i] = real(v), imag(v)
		}
	}
	return wow, flutter
}

// mirrored is x continued beyond its ends by its mirror image: that keeps the mean, and
// so strikes no filter that cuts off below. Beyond reach there is nothing.
func mirrored(x []float64, i, reach int) float64 {
	last := len(x) - 1
	reach = min(reach, last)
	switch {
	case i >= 0 && i <= last:
		return x[i]
	case i < 0 && -i <= reach:
		return x[-i]
	case i > last && i-last <= reach:
		return x[2*last-i]
	}
	return 0
}

// inner leaves out half a second at either end, where the join with the mirror image
// puts a little of one band into the other.
func inner(x []float64, rate float64) []float64 {
	cut := min(int(bandJoin*rate), len(x)/10)
	return x[cut : len(x)-cut]
}
