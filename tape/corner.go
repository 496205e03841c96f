package tape

import (
	"math"

	"headstack/unit"
)

// LowCornerLoss returns what a first-order low corner takes at frequency f, as a
// positive attenuation re the frequencies far above it:
//
//	L = 10·log10(1 + (f_c/f)²) dB
//
// 3.01 dB at the corner, 6.02 dB per octave far below it. A corner of 0 takes
// nothing. It is NaN unless f > 0 and corner ≥ 0, both finite. Source: circuit
// theory, a resistance and a capacitance.
func LowCornerLoss(f, corner unit.Hertz) unit.Decibel {
	if !positive(float64(f)) || !notNegative(float64(corner)) {
		return nanDB()
	}
	return firstOrder(float64(corner) / float64(f))
}

// HighCornerLoss returns what a first-order high corner takes at frequency f, as a
// positive attenuation re the frequencies far below it:
//
//	L = 10·log10(1 + (f/f_c)²) dB
//
// 3.01 dB at the corner, 6.02 dB per octave far above it. An infinite corner takes
// nothing. It is NaN unless f > 0 is finite and corner > 0. Source: circuit theory.
func HighCornerLoss(f, corner unit.Hertz) unit.Decibel {
	if !positive(float64(f)) || !(corner > 0) {
		return nanDB()
	}
	return firstOrder(float64(f) / float64(corner))
}

// firstOrder is 10·log10(1 + x²), exact for small x.
func firstOrder(x float64) unit.Decibel {
	return unit.Decibel(10 * math.Log10E * math.Log1p(x*x))
}

// LowCornerDelay returns the phase delay of a first-order low corner at frequency f.
// It is negative: what passes comes earlier.
//
//	t = -arctan(f_c/f)/(2πf)
//
// It tends to -1/(4f) far below the corner. NaN as [LowCornerLoss]. Source: circuit
// theory.
func LowCornerDelay(f, corner unit.Hertz) unit.Second {
	if !positive(float64(f)) || !notNegative(float64(corner)) {
		return unit.Second(math.NaN())
	}
	if corner == 0 {
		return 0 // without the minus sign of a zero
	}
	return -phaseDelay(float64(corner/f), f)
}

// HighCornerDelay returns the phase delay of a first-order high corner at frequency
// f. It is positive: what passes comes later.
//
//	t = arctan(f/f_c)/(2πf)
//
// It tends to 1/(2πf_c) far below the corner and to 1/(4f) far above it. Beside a
// sound track such a delay looks like azimuth, but falls with frequency where that of
// azimuth stays. NaN as [HighCornerLoss]. Source: circuit theory.
func HighCornerDelay(f, corner unit.Hertz) unit.Second {
	if !positive(float64(f)) || !(corner > 0) {
		return unit.Second(math.NaN())
	}
	return phaseDelay(float64(f/corner), f)
}

// phaseDelay is the time in which f turns by the arctangent of x.
func phaseDelay(x float64, f unit.Hertz) unit.Second {
	return unit.Second(math.Atan(x) / (2 * math.Pi * float64(f)))
}

// ShelfLoss returns what a treble shelf takes at frequency f, as a positive
// attenuation that begins at one corner and ends its rise at a higher one:
//
//	L = 10·log10(1 + (f/f_1)²) - 10·log10(1 + (f/f_2)²) dB,  f_1 = from, f_2 = to
//
// 0 far below, 20·log10(f_2/f_1) far above. With an infinite to it is
// [HighCornerLoss]. It is NaN unless f > 0 is finite and 0 < from ≤ to. Source:
// circuit theory.
func ShelfLoss(f, from, to unit.Hertz) unit.Decibel {
	if !(from <= to) {
		return nanDB()
	}
	if math.IsInf(float64(from), 1) {
		return HighCornerLoss(f, from)
	}
	return HighCornerLoss(f, from) - HighCornerLoss(f, to)
}
