package tape

import (
	"math"
	"math/cmplx"

	"headstack/unit"
)

// Winding is a playing head seen from its leads: a resistance in series with an
// inductance. Heads of cassette multitrack recorders have commonly 150 to 400 Ω and 60
// to 120 mH (practice notes). Losses in the core, which lower the inductance and damp
// the resonance above some 10 kHz, are left out.
type Winding struct {
	R Ohm   // ≥ 0
	L Henry // ≥ 0
}

// Impedance returns the magnitude of the winding's impedance at frequency f:
//
//	|Z| = √(R² + (2πf·L)²)
//
// It is NaN unless f, R and L are ≥ 0 and finite. Source: circuit theory.
func (w Winding) Impedance(f unit.Hertz) Ohm {
	if !notNegative(float64(f)) || !w.valid() {
		return Ohm(math.NaN())
	}
	return Ohm(cmplx.Abs(w.impedance(f)))
}

func (w Winding) valid() bool { return notNegative(float64(w.R)) && notNegative(float64(w.L)) }

func (w Winding) impedance(f unit.Hertz) complex128 {
	return complex(float64(w.R), 2*math.Pi*float64(f)*float64(w.L))
}

// Input is what a head plays into: resistance to earth, the capacitance of leads and
// input beside it, and the noise of the amplifier behind.
type Input struct {
	R Ohm   // > 0; of the bias resistor and the amplifier in parallel
	C Farad // ≥ 0; leads included
	// Equivalent input noise of the amplifier, densities in V/√Hz and A/√Hz, ≥ 0. They
	// count for noise only.
	NoiseVolts, NoiseAmps float64
}

func (in Input) valid() bool {
	return positive(float64(in.R)) && notNegative(float64(in.C)) && notNegative(in.NoiseVolts) && notNegative(in.NoiseAmps)
}

// admittance is that of R and C in parallel.
func (in Input) admittance(f unit.Hertz) complex128 {
	return complex(1/float64(in.R), 2*math.Pi*float64(f)*float64(in.C))
}

// HeadResonance returns the frequency at which a winding's inductance resonates with
// the capacitance across it:
//
//	f_0 = 1/(2π·√(L·C))
//
// It is NaN unless both are above 0 and finite. Source: circuit theory.
func HeadResonance(l Henry, c Farad) unit.Hertz {
	if !positive(float64(l)) || !positive(float64(c)) {
		return unit.Hertz(math.NaN())
	}
	return unit.Hertz(1 / (2 * math.Pi * math.Sqrt(float64(l)) * math.Sqrt(float64(c))))
}

// HeadLoading returns the gain at frequency f, re the lowest frequencies, that the
// input makes by loading the winding:
//
//	G = 20·log10|(1 + R/R_in) / (1 + (R + jωL)(1/R_in + jωC))| dB,  ω = 2πf
//
// It is of second order: up to 20·log10(R_in/(2πf_0·L)) high at the resonance
// [HeadResonance] where R is small, and falling 12 dB per octave beyond it; with C = 0
// a first-order corner at (R + R_in)/(2πL). Positive is more level. The loss at the
// lowest frequencies, re the unloaded head, is SeriesLoss(R, R_in). It is NaN unless f
// and the fields are ≥ 0 and finite and R_in > 0. Source: circuit theory.
func HeadLoading(f unit.Hertz, w Winding, in Input) unit.Decibel {
	if !notNegative(float64(f)) || !w.valid() || !in.valid() {
		return nanDB()
	}
	return divided(f, w.impedance(f), in) - divided(0, complex(float64(w.R), 0), in)
}

// divided is the level at the input re the voltage of a source with the impedance z:
// -20·log10|1 + z·y| with the input's admittance y.
func divided(f unit.Hertz, z complex128, in Input) unit.Decibel {
	return -amplitudeDB(cmplx.Abs(1 + z*in.admittance(f)))
}
