package tape

import (
	"math"

	"headstack/unit"
)

// SpacingLoss returns the replay loss at wavelength lambda when tape and head
// are d apart, as a positive attenuation:
//
//	L = 20·log10(e) · 2π·d/λ ≈ 54.575·d/λ dB
//
// It is NaN unless λ > 0 and d ≥ 0, both finite. The law is exact for a head of
// infinite permeability; the recording must have been made in contact. Source:
// R. L. Wallace, BSTJ 30(4), 1951.
func SpacingLoss(d, lambda unit.Metre) unit.Decibel {
	if !positive(float64(lambda)) || !notNegative(float64(d)) {
		return nanDB()
	}
	k := 2 * math.Pi / float64(lambda)
	return unit.Decibel(20 * math.Log10E * k * float64(d))
}

// ThicknessLoss returns the loss at wavelength lambda of a coating magnetised
// evenly over the depth delta, against the same surface flux density of a layer
// thin against the wavelength, as a positive attenuation:
//
//	L = -20·log10[(1 - exp(-kδ))/(kδ)],  k = 2π/λ
//
// It is NaN unless λ > 0 and δ ≥ 0, both finite; 0 at δ = 0. It tends to 6 dB per
// octave at short wavelengths. Real recordings are magnetised unevenly and fall
// faster (McKnight), and a calibration tape's certificate already contains the
// loss of its own coating: do not count it twice. Source: Wallace, as above.
func ThicknessLoss(delta, lambda unit.Metre) unit.Decibel {
	if !positive(float64(lambda)) || !notNegative(float64(delta)) {
		return nanDB()
	}
	kd := 2 * math.Pi * float64(delta) / float64(lambda)
	if kd == 0 {
		return 0
	}
	// Expm1 keeps the ratio exact for the thin coatings where it nears 1.
	return -amplitudeDB(-math.Expm1(-kd) / kd)
}
