package tape

import (
	"math"
	"math/cmplx"

	"headstack/unit"
)

// OpenLeadLoss returns what an open head lead or winding takes at frequency f, re the
// head connected, as a positive attenuation. Only the stray capacitance across the
// break still couples:
//
//	L = 20·log10|(1 + (Z + 1/(jωC_s))·Y) / (1 + Z·Y)| dB
//
// with Z = R + jωL of the winding and Y = 1/R_in + jωC_in of the input. As long as
// 1/(2πf·C_s) is far above all else the input gets 2πf·C_s·R_in of the signal, rising 6
// dB per octave: 1 pF into 47 kΩ leaves it 71 dB too low at 1 kHz and 51 dB at 10 kHz
// (0.5 to 5 pF are usual, from memory). Beyond the corner 1/(2π·R_in·(C_in + C_s)) it
// stays near C_s/(C_in + C_s). Crosstalk from the next track commonly covers it.
//
// Without stray capacitance the loss is +Inf. It is NaN unless f > 0, stray ≥ 0, and
// winding and input are in range. Source: circuit theory.
func OpenLeadLoss(f unit.Hertz, w Winding, in Input, stray Farad) unit.Decibel {
	if !positive(float64(f)) || !notNegative(float64(stray)) || !w.valid() || !in.valid() {
		return nanDB()
	}
	if stray == 0 {
		return unit.Decibel(math.Inf(1))
	}
	return divided(f, w.impedance(f), in) - divided(f, w.impedance(f)+across(f, stray), in)
}

// across is the impedance of a capacitance.
func across(f unit.Hertz, c Farad) complex128 {
	return complex(0, -1/(2*math.Pi*float64(f)*float64(c)))
}

// ShortedLeadLoss returns what a short across the head takes at frequency f, re the
// head unshorted, as a positive attenuation, when the resistance short remains in it:
//
//	L = 20·log10|(1 + Z·(Y + 1/short)) / (1 + Z·Y)| dB
//
// with Z and Y as in [OpenLeadLoss]. It is about 20·log10(|Z|/short): it rises with the
// winding's reactance, so that what is left of the signal is dull, and the noise falls
// instead of rising. Without remaining resistance the loss is +Inf. It is NaN unless
// f > 0, short ≥ 0, all finite, and winding and input are in range. Source: circuit
// theory.
func ShortedLeadLoss(f unit.Hertz, w Winding, in Input, short Ohm) unit.Decibel {
	if !positive(float64(f)) || !notNegative(float64(short)) || !w.valid() || !in.valid() {
		return nanDB()
	}
	if w.impedance(f) == 0 {
		return 0 // a source without impedance feeds the short and the input alike
	}
	if short == 0 {
		return unit.Decibel(math.Inf(1))
	}
	shorted := in
	shorted.R = 1 / (1/in.R + 1/short)
	return divided(f, w.impedance(f), in) - divided(f, w.impedance(f), shorted)
}

// boltzmann is in joules per kelvin, exact since the SI of 2019.
const boltzmann = 1.380649e-23

// noiseTemperature is the standard noise temperature of 290 K (17 °C).
const noiseTemperature = 290

// ThermalNoise returns the density of the open-circuit noise voltage of a resistance
// at a temperature in kelvin, in volts per root hertz:
//
//	v = √(4·k·T·R)
//
// 4.00 nV/√Hz for 1 kΩ at 290 K. Multiply by the root of the bandwidth in hertz. It is
// NaN unless r and kelvin are ≥ 0 and finite. Source: H. Nyquist, Physical Review 32,
// 1928.
func ThermalNoise(r Ohm, kelvin float64) float64 {
	if !notNegative(float64(r)) || !notNegative(kelvin) {
		return math.NaN()
	}
	return math.Sqrt(4 * boltzmann * kelvin * float64(r))
}

// OpenLeadNoise returns by how much the noise density at frequency f rises when the
// head lead opens and the input is left to its own resistance:
//
//	G = 10·log10(n²(Z_open)/n²(Z_head)) dB
//	n²(Z) = 4·k·T·Re Z + e² + (i·|Z|)²
//
// Z_head is winding and input in parallel, Z_open the same with the stray capacitance
// in series with the winding, e and i the amplifier's noise, T 290 K. Positive is more
// noise. The noise comes before the equalisation and is compared at one frequency, so
// the equalisation does not matter; tape noise does: with tape running the sound track
// is noisier than its amplifier, and the rise heard is less. A large input resistance
// with little capacitance gives a loud hiss, while an input with much capacitance is
// quieter open than connected near the resonance. It is +Inf when neither winding nor amplifier
// makes noise, and NaN unless f > 0, stray ≥ 0, and winding and input are in range. Source: Nyquist 1928; circuit theory.
func OpenLeadNoise(f unit.Hertz, w Winding, in Input, stray Farad) unit.Decibel {
	if !positive(float64(f)) || !notNegative(float64(stray)) || !w.valid() || !in.valid() {
		return nanDB()
	}
	z, y := w.impedance(f), in.admittance(f)
	open := 1 / y
	if stray > 0 {
		open = beside(z+across(f, stray), y)
	}
	return unit.Decibel(10 * math.Log10(in.noise(open)/in.noise(beside(z, y))))
}

// beside is the impedance z in parallel with the admittance y.
func beside(z, y complex128) complex128 { return z / (1 + z*y) }

// noise is the square of the noise voltage density at an input with the impedance z
// to earth.
func (in Input) noise(z complex128) float64 {
	amps := in.NoiseAmps * cmplx.Abs(z)
	return 4*boltzmann*noiseTemperature*real(z) + in.NoiseVolts*in.NoiseVolts + amps*amps
}
