package dsp

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Corner frequencies of the A weighting in hertz, exact values of IEC
// 61672-1:2013, Annex E: f1 and f4 (double poles) from fr = 1000 Hz,
// fL = 10^1.5 Hz, fH = 10^3.9 Hz and D² = 1/2, f2 and f3 = (3 ∓ √5)/2 · 10^2.45 Hz.
// The standard prints them rounded as 20.60, 107.7, 737.9 and 12194.
const (
	aF1 = 20.598997058
	aF2 = 107.652648643
	aF3 = 737.862230736
	aF4 = 12194.217147998
)

// WeightingA returns the A weighting at hz in dB, 0 dB at 1 kHz:
//
//	R(f) = f4²·f⁴ / ((f² + f1²) √(f² + f2²) √(f² + f3²) (f² + f4²))
//	A(f) = 20·log10 R(f) − 20·log10 R(1000)
//
// It is −Inf at 0 and at infinity and NaN for NaN; the sign of hz is ignored.
// Source: IEC 61672-1:2013, Annex E (E.6); the corner frequencies re-read in a
// public transcription.
func WeightingA(hz float64) float64 { return 20 * math.Log10(ratioA(hz)/ratioA(1000)) }

func ratioA(f float64) float64 {
	if math.IsInf(f, 0) {
		return 0
	}
	f *= f
	return f / (f + aF1*aF1) * math.Sqrt(f/(f+aF2*aF2)) * math.Sqrt(f/(f+aF3*aF3)) * (aF4 * aF4 / (f + aF4*aF4))
}

// Weighting468 returns the noise weighting of ITU-R BS.468-4 at hz in dB, 0 dB
// at 1 kHz:
//
//	h1 = −4.7373·10⁻²⁴ f⁶ + 2.0438·10⁻¹⁵ f⁴ − 1.3639·10⁻⁷ f² + 1
//	h2 = 1.3066·10⁻¹⁹ f⁵ − 2.1182·10⁻¹¹ f³ + 5.5595·10⁻⁴ f
//	R  = 1.2463·10⁻⁴ f / √(h1² + h2²)
//
// and 20·log10 R(f) − 20·log10 R(1000), that constant being −18.24 dB. It is
// −Inf at 0 and at infinity and NaN for NaN; the sign of hz is ignored.
//
// Source: the polynomials (16 digits in the code) are not in the Recommendation;
// they were worked out by others from the component values of its Fig. 1a and
// agree with its Table 1 to 0.05 dB, the rounding of that table.
func Weighting468(hz float64) float64 { return 20 * math.Log10(ratio468(hz)/ratio468(1000)) }

func ratio468(f float64) float64 {
	f = math.Abs(f)
	if f > 1e12 { // f⁶ would overflow long before; −540 dB is as good as none
		return 0
	}
	q := f * f
	h1 := ((-4.737338981378384e-24*q+2.043828333606125e-15)*q-1.363894795463638e-7)*q + 1
	h2 := ((1.306612257412824e-19*q-2.118150887518656e-11)*q + 5.559488023498642e-4) * f
	return 1.246332637532143e-4 * f / math.Hypot(h1, h2)
}

// Corners in hertz of the rational function that stands for the weighting of
// speed fluctuation; see WeightingFlutter.
const (
	flutterF1 = 1.5126
	flutterF2 = 0.44033
	flutterQ2 = 0.66135
	flutterF3 = 9.0909
	flutterF4 = 54.278
	flutterFZ = 40.188
)

// WeightingFlutter returns the weighting of speed fluctuation (wow and flutter)
// at hz in dB, 0 dB at 4 Hz, for fluctuation frequencies from 0.1 to 200 Hz:
//
//	H(s) = K·s³(s + wz) / ((s + w1)(s² + s·w2/Q2 + w2²)(s + w3)(s + w4))
//
// with f1 = 1.5126, f2 = 0.44033, Q2 = 0.66135, f3 = 9.0909, f4 = 54.278 and
// fz = 40.188 Hz. It is −Inf at 0 and at infinity and NaN for NaN; the sign of
// hz is ignored.
//
// Source: IEC 60386:1972 with Amendment 1:1988, the same curve in AES6-2008 and
// DIN 45507, prescribes a table with tolerances and no formula. The formula was
// fitted to that table, remembered and not re-read, within 0.34 dB of every row,
// against tolerances of 2 dB and more; 4 Hz alone has none.
func WeightingFlutter(hz float64) float64 {
	return 20 * math.Log10(flutterNetwork.magnitude(hz))
}

// magnitude is |H| with 1 at refHz.
func (n network) magnitude(hz float64) float64 {
	if math.IsInf(hz, 0) {
		return 0 // every network here falls off
	}
	hz = math.Abs(hz)
	return cmplx.Abs(n.raw(hz)/n.raw(n.refHz)) * math.Pow(hz/n.refHz, float64(n.origin))
}

var (
	networkA = network{
		origin: 4, refHz: 1000, topHz: 20000,
		poles: corners(aF1, aF1, aF2, aF3, aF4, aF4),
	}

	// The poles of Weighting468's polynomials in s = 2πi·f; five of their six
	// figures were also seen in a public list worked out from the component
	// values of ITU-R BS.468-4, Fig. 1a. Tolerances go up to 31.5 kHz.
	network468 = network{
		origin: 1, refHz: 1000, topHz: 31500,
		poles: []complex128{
			-25903.701048, -62675.170058,
			-23615.535214 + 36379.908937i, -23615.535214 - 36379.908937i,
			-18743.746691 + 62460.156453i, -18743.746691 - 62460.156453i,
		},
	}

	flutterNetwork = network{
		origin: 3, refHz: 4, topHz: 200,
		zeros: corners(flutterFZ),
		poles: append(corners(flutterF1, flutterF3, flutterF4), resonance(flutterF2, flutterQ2)...),
	}
)

// corners returns real poles or zeros at the frequencies, in rad/s.
func corners(hz ...float64) []complex128 {
	c := make([]complex128, len(hz))
	for i, f := range hz {
		c[i] = complex(-2*math.Pi*f, 0)
	}
	return c
}

// resonance returns the pair of poles of s² + s·w/q + w², q above 1/2, in rad/s.
func resonance(hz, q float64) []complex128 {
	w := 2 * math.Pi * hz
	p := complex(-w/(2*q), w*math.Sqrt(1-1/(4*q*q)))
	return []complex128{p, cmplx.Conj(p)}
}

// Sample rates in hertz that the filters and detectors are for. Below the lower
// ones too much of what is weighted is missing from the samples.
const (
	minAudioRate, maxAudioRate = 32000, 400000
	minSpeedRate, maxSpeedRate = 200, 8000
)

// NewFilterA returns the A weighting for samples at rate hertz. From 44.1 kHz
// up it is within 0.5 dB of [WeightingA] to 20 kHz (within 0.1 dB to 16 kHz,
// and everywhere from 88.2 kHz up), inside class 1 of IEC 61672-1:2013. It
// panics unless the rate lies between 32 and 400 kHz.
func NewFilterA(rate float64) *Filter {
	mustLie("A weighting", rate, minAudioRate, maxAudioRate)
	return networkA.design(rate)
}

// NewFilter468 returns the noise weighting of ITU-R BS.468-4 for samples at
// rate hertz. It is within 0.1 dB of [Weighting468] up to 31.5 kHz or 0.45 of
// the rate, whichever is less. It panics unless the rate lies between 32 and
// 400 kHz.
func NewFilter468(rate float64) *Filter {
	mustLie("468 weighting", rate, minAudioRate, maxAudioRate)
	return network468.design(rate)
}

// NewFilterFlutter returns the weighting of speed fluctuation for a speed
// signal sampled at rate hertz. It is within 0.2 dB of [WeightingFlutter] up to
// 200 Hz or 0.45 of the rate, whichever is less, and within 0.1 dB when the
// rate is 500 Hz or more. It panics unless the rate lies
// between 200 Hz and 8 kHz; the weighted band of the standard goes to 200 Hz,
// so a rate of 500 Hz or more loses none of it.
func NewFilterFlutter(rate float64) *Filter {
	mustLie("flutter weighting", rate, minSpeedRate, maxSpeedRate)
	return flutterNetwork.design(rate)
}

func mustLie(what string, rate, lo, hi float64) {
	if !(rate >= lo && rate <= hi) {
		panic(fmt.Sprintf("dsp: no %s at a sample rate of %g Hz, only from %g to %g Hz", what, rate, lo, hi))
	}
}
