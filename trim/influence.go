package trim

import (
	"math"

	"headstack/tape"
	"headstack/unit"
)

// Form is how one quantity bears on another: At returns what it gives and its slope.
type Form interface {
	At(x float64) (y, slope float64)
}

// Same passes a quantity on as it is.
type Same struct{}

// At returns x.
func (Same) At(x float64) (float64, float64) { return x, 1 }

// Ratio gives a quantity in dB re Ref: 20·log10(x/Ref). Below a thousandth of Ref it
// stays where it is.
type Ratio struct{ Ref float64 }

// At returns the ratio in dB and its slope.
func (r Ratio) At(x float64) (float64, float64) {
	if least := r.Ref / 1000; x < least {
		return -60, 0
	}
	return 20 * math.Log10(x/r.Ref), 20 / math.Ln10 / x
}

// AzimuthLoss gives the change of response in dB, ≤ 0, that an azimuth of x arcminutes
// makes at a wavelength: −[tape.AzimuthLoss]. Beyond −40 dB, near a null, it stays.
type AzimuthLoss struct {
	Width  unit.Metre // common to recorded track and core
	Lambda unit.Metre
}

// At returns the change in dB and its slope in dB per arcminute.
func (a AzimuthLoss) At(x float64) (float64, float64) {
	alpha := unit.Radian(x) * tape.Arcminute
	loss := float64(tape.AzimuthLoss(a.Width, alpha, a.Lambda))
	if math.IsNaN(loss) || loss > 40 {
		return -40, 0
	}
	k := math.Pi * float64(a.Width) / float64(a.Lambda)
	s := k * math.Tan(float64(alpha))
	if math.Abs(s) < 1e-6 {
		return -loss, 0
	}
	cos := math.Cos(float64(alpha))
	return -loss, 20 / math.Ln10 * (1/math.Tan(s) - 1/s) * k / (cos * cos) * float64(tape.Arcminute)
}

// AzimuthDelay gives the delay in microseconds between two tracks that an azimuth of x
// arcminutes makes: [tape.AzimuthDelay].
type AzimuthDelay struct {
	Distance unit.Metre // centre of the second track less that of the first
	Speed    unit.MetrePerSecond
}

// At returns the delay in µs and its slope in µs per arcminute.
func (a AzimuthDelay) At(x float64) (float64, float64) {
	alpha := unit.Radian(x) * tape.Arcminute
	cos := math.Cos(float64(alpha))
	return float64(tape.AzimuthDelay(a.Distance, alpha, a.Speed)) * 1e6,
		float64(a.Distance) / float64(a.Speed) / (cos * cos) * float64(tape.Arcminute) * 1e6
}

// Influence is one arrow from a quantity to another.
type Influence struct {
	From Quantity
	// Gain multiplies what Form gives; GainSD is its prior standard deviation, 0 where
	// it is known exactly.
	Gain, GainSD float64
	Form         Form
}

// Variable is a quantity of a [Model]: a base that no trim moves, the trims that set it,
// and what other quantities do to it.
type Variable struct {
	Quantity Quantity
	Unit     string
	// Base is the prior mean of what it is less all influences, BaseSD its standard
	// deviation; where a figure is sure to within a small calibration (a delay that
	// azimuth alone makes) BaseSD is small.
	Base, BaseSD float64
	Moved        []Influence
}
