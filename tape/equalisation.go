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

// MismatchDB returns by how much a tape recorded to one curve plays too loud at f on a
// chain set to another, when levels were set at the tone ref:
//
//	M = E(f) - E(ref),  E = [EqualisationError]
//
// It is what a wrong equalisation or tape type switch on replay does: 3.35 dB too loud
// at 10 kHz re 1 kHz for a tape of 70 µs on a chain of 120 µs. On recording a wrong tape
// type also changes bias and sensitivity, which this does not cover. It is 0 at ref,
// and NaN as [FluxDB] for either frequency.
func MismatchDB(f, ref unit.Hertz, recorded, replay Equalisation) unit.Decibel {
	return EqualisationError(f, recorded, replay) - EqualisationError(ref, recorded, replay)
}

// TrebleTurnover returns the frequency of the curve's treble time constant, 1/(2πt);
// +Inf without one. It is NaN for a negative constant.
func (e Equalisation) TrebleTurnover() unit.Hertz {
	if !notNegative(e.HighUs) {
		return unit.Hertz(math.NaN())
	}
	return unit.Hertz(1e6 / (2 * math.Pi * e.HighUs)) // a division by 0 gives +Inf
}

// BassTurnover returns the frequency of the curve's bass time constant, 1/(2πt); 0
// without one. It is NaN for a negative constant.
func (e Equalisation) BassTurnover() unit.Hertz {
	switch {
	case e.LowUs == 0:
		return 0
	case !(e.LowUs > 0):
		return unit.Hertz(math.NaN())
	}
	return unit.Hertz(1e6 / (2 * math.Pi * e.LowUs))
}

// EqualisationDelay returns how much later a tone of frequency f plays on a chain set
// to the curve replay than on one set to the curve recorded:
//
//	t = (arctan(ωt_h,recorded) - arctan(ωt_h,replay))/ω
//	  + (arctan(1/(ωt_l,recorded)) - arctan(1/(ωt_l,replay)))/ω,  ω = 2πf
//
// A track on the wrong setting beside a right one shows it as if it were azimuth: 37 µs
// earlier at 1 kHz for 120 µs in place of 70 µs. It supposes networks of minimum phase,
// as the resistances and capacitances of replay amplifiers are. NaN as [FluxDB].
func EqualisationDelay(f unit.Hertz, recorded, replay Equalisation) unit.Second {
	return replay.replayDelay(f) - recorded.replayDelay(f)
}

// replayDelay is that of the chain that undoes the curve, its integration left out: a
// low corner at the bass turnover, and the inverse of a high corner at the other.
func (e Equalisation) replayDelay(f unit.Hertz) unit.Second {
	return LowCornerDelay(f, e.BassTurnover()) - HighCornerDelay(f, e.TrebleTurnover())
}

// TreblePartLoss returns what a replay chain set to the curve e loses at f when the
// part that lifts its treble has failed, so that it integrates at all frequencies, as
// a positive attenuation:
//
//	L = 10·log10(1 + (2πf·t_high)²) dB
//
// That is the curve's own treble fall: [HighCornerLoss] at the [Equalisation.TrebleTurnover].
// Where part of the lift remains, down to a shorter time constant, [ShelfLoss] from the
// one turnover to the other is the loss. NaN as FluxDB.
func TreblePartLoss(f unit.Hertz, e Equalisation) unit.Decibel {
	return HighCornerLoss(f, e.TrebleTurnover())
}
