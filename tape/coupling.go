package tape

import (
	"math"

	"headstack/unit"
)

// Ohm is a resistance, or the magnitude of an impedance.
type Ohm float64

// Farad is a capacitance.
type Farad float64

// Henry is an inductance.
type Henry float64

// CouplingCorner returns the low corner that a coupling capacitor c makes in a
// circuit of resistance r, which is what drives it and what it drives in series:
//
//	f_c = 1/(2π·r·c)
//
// It is NaN unless both are above 0 and finite. The same formula gives the high corner
// of a capacitance across the parallel resistance r. Source: circuit theory.
func CouplingCorner(c Farad, r Ohm) unit.Hertz {
	if !positive(float64(c)) || !positive(float64(r)) {
		return unit.Hertz(math.NaN())
	}
	return unit.Hertz(1 / (2 * math.Pi * float64(r) * float64(c)))
}

// DriedCorner returns the low corner of a coupling whose capacitor keeps only the part
// remaining of its capacitance, when it was sound with the corner given:
//
//	f_c = sound/remaining
//
// An electrolytic that has dried out commonly keeps 0.001 to 0.5 of it (common
// practice, no source) and gains series resistance; see [SeriesLoss]. It is NaN unless
// sound ≥ 0 is finite and 0 < remaining ≤ 1.
func DriedCorner(sound unit.Hertz, remaining float64) unit.Hertz {
	if !notNegative(float64(sound)) || !(remaining > 0 && remaining <= 1) {
		return unit.Hertz(math.NaN())
	}
	return unit.Hertz(float64(sound) / remaining)
}

// SeriesLoss returns the loss, the same at all frequencies, that a resistance added in
// series makes in a circuit of resistance r (source and load in series), as a positive
// attenuation:
//
//	L = 20·log10(1 + added/r) dB
//
// It is what the series resistance of a dried capacitor, a film of oxide or a bad
// joint costs. Where a capacitor couples into r its corner falls as well, to
// [CouplingCorner] with r + added. It is NaN unless added ≥ 0 and r > 0, both finite.
// Source: circuit theory.
func SeriesLoss(added, r Ohm) unit.Decibel {
	if !notNegative(float64(added)) || !positive(float64(r)) {
		return nanDB()
	}
	return unit.Decibel(20 * math.Log10E * math.Log1p(float64(added)/float64(r)))
}
