package bias

import "math"

// hyperbola is the fit's curve of output against bias, dB re its peak at u dB of bias
// past the peak: two straight lines in decibels with a round top,
//
//	f(u) = −D·ln((b·e^(−a·u) + a·e^(b·u))/(a + b))
//
// with slopes D·a before and −D·b past the peak and the curvature −D·a·b on it. D is
// fixed; what else a tape does is left to the smooth departure of the [Fit].
type hyperbola struct{ a, b, logA, logB, logSum float64 }

const knee = 8.0 // D, dB

// newHyperbola takes the curvature at the peak, dB/dB², and the ratio of the slopes far
// before and far past it.
func newHyperbola(curvature, ratio float64) hyperbola {
	b := math.Sqrt(curvature / (knee * ratio))
	return hyperbola{a: ratio * b, b: b, logA: math.Log(ratio * b), logB: math.Log(b), logSum: math.Log(ratio*b + b)}
}

func (h hyperbola) at(u float64) float64 {
	// The larger exponential is taken out, so that neither overflows.
	l, r := h.logB-h.a*u, h.logA+h.b*u
	if l < r {
		l, r = r, l
	}
	return -knee * (l + math.Log1p(math.Exp(r-l)) - h.logSum)
}

// shape is what is believed of a tone's curve before a staircase: normal in the
// logarithms of curvature and ratio.
type shape struct {
	logCurvature, curvatureSD float64
	logRatio, ratioSD         float64
	flat                      bool // a low tone's: broad, and its departure slow
}

// A tone's curve is the sharper the shorter its wave. Where the wave is halved the usual
// overbias in dB of fall about doubles at the same bias past a peak that moves back
// (the table of [Overbias], 76, 38 and 19 cm/s); that gives a curvature with about the
// root of the wave, and 0.6 dB/dB² at 38 µm falls by 3 dB within 2.9 dB. Both from that
// table, with 2.9 dB of bias past the peak from memory; the spreads are wide for it.
const (
	curvatureAt38um   = 0.6
	curvatureExponent = -0.5
)

func shapeOf(lambda float64) shape {
	treble := lambda < 100e-6
	s := shape{logCurvature: math.Log(curvatureAt38um) + curvatureExponent*math.Log(lambda/38.1e-6), curvatureSD: 0.5, logRatio: math.Log(1.5), ratioSD: 0.4}
	if !treble {
		s.flat = true
		s.logRatio, s.ratioSD, s.curvatureSD = math.Log(1.8), 0.6, 0.6
	}
	return s
}

// lag is how far the peak of the low tone lies above that of the treble, dB: mean and
// standard deviation. A studio tape's 1 kHz peaks some 2 dB above its 10 kHz (from
// memory); the distance is taken to grow with the logarithm of the ratio of waves.
func lag(trebleHz, lowHz float64) (mean, sd float64) {
	return 0.9 * math.Log(trebleHz/lowHz), 1.0
}
