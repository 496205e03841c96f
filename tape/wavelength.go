package tape

import (
	"math"

	"headstack/unit"
)

// Wavelength returns the recorded wavelength of a tone of frequency f on a tape
// that passed at speed v:
//
//	λ = v/f
//
// It is NaN unless v > 0 and f > 0 and both are finite. Use the speed and tone of
// the recording: a tape that plays 1 % fast keeps its wavelengths.
func Wavelength(v unit.MetrePerSecond, f unit.Hertz) unit.Metre {
	if !positive(float64(v)) || !positive(float64(f)) {
		return unit.Metre(math.NaN())
	}
	return unit.Metre(float64(v) / float64(f))
}

// positive reports whether x is above zero and finite.
func positive(x float64) bool { return x > 0 && !math.IsInf(x, 1) }

// notNegative reports whether x is zero or above, and finite.
func notNegative(x float64) bool { return x >= 0 && !math.IsInf(x, 1) }

// finite reports whether x is a number and finite.
func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// nanDB is the answer outside a law's range.
func nanDB() unit.Decibel { return unit.Decibel(math.NaN()) }

// amplitudeDB turns an amplitude ratio into a gain in dB; 0 gives -Inf.
func amplitudeDB(ratio float64) unit.Decibel {
	return unit.Decibel(20 * math.Log10(ratio))
}
