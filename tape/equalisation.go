package tape

import (
	"math"

	"headstack/unit"
)

// Equalisation is a standard curve of recorded flux by its time constants.
type Equalisation struct {
	HighUs float64 `json:"high_us"` // time constant of the treble fall in microseconds; 0: none
	LowUs  float64 `json:"low_us"`  // time constant of the bass rise in microseconds; 0: none
}

// FluxDB returns the standard recorded short-circuit flux level at frequency f
// for time constants in microseconds:
//
//	N = 10·log10(1 + 1/(2πf·t_low)²) - 10·log10(1 + (2πf·t_high)²) dB
//
// 0 dB is the flux of the constant middle region. A replay chain that is right
// has the opposite curve after its 6 dB per octave integration. A time constant
// of 0 means that the term is absent (an infinite lowUs means the same). It is
// NaN unless f > 0 and both are ≥ 0. Source: IEC 60094-1:1981 clause 15.
func FluxDB(f unit.Hertz, highUs, lowUs float64) unit.Decibel {
	if !positive(float64(f)) || !notNegative(highUs) || !(lowUs >= 0) {
		return nanDB()
	}
	w := 2 * math.Pi * float64(f) * 1e-6
	level := -10 * math.Log10(1+w*w*highUs*highUs)
	if lowUs > 0 {
		level += 10 * math.Log10(1+1/(w*w*lowUs*lowUs))
	}
	return unit.Decibel(level)
}

// FluxDB returns the curve's level at f; see the function [FluxDB].
func (e Equalisation) FluxDB(f unit.Hertz) unit.Decibel { return FluxDB(f, e.HighUs, e.LowUs) }

// EqualisationError returns by how much a tape recorded to one curve plays too
// loud at f on a chain set to another:
//
//	E = N_recorded(f) - N_replay(f)
//
// Positive is too loud. 0 dB is the middle region, so subtract the error at the
// reference tone where levels were set there. NaN as [FluxDB].
func EqualisationError(f unit.Hertz, recorded, replay Equalisation) unit.Decibel {
	return recorded.FluxDB(f) - replay.FluxDB(f)
}
