package tape

import (
	"math"

	"headstack/unit"
)

// Arcminute is one minute of arc in radians.
const Arcminute unit.Radian = math.Pi / (180 * 60)

// AzimuthLoss returns the loss of one core of the given width when its gap stands
// at the given angle to the recorded gap, at wavelength lambda, as a positive
// attenuation:
//
//	L = -20·log10|sin x / x|,  x = π·w·tan(α)/λ
//
// width is the width common to recorded track and core; only the relative angle
// counts and its sign does not. The first null is at w·tan(α) = λ. It is NaN
// unless λ > 0, w ≥ 0 and |α| < π/2. Source: textbook law, from memory.
func AzimuthLoss(width unit.Metre, angle unit.Radian, lambda unit.Metre) unit.Decibel {
	if !positive(float64(lambda)) || !notNegative(float64(width)) || !(math.Abs(float64(angle)) < math.Pi/2) {
		return nanDB()
	}
	return sincLoss(math.Pi * float64(width) * math.Tan(float64(angle)) / float64(lambda))
}

// AzimuthDelay returns how much later the farther of two tracks plays, when their
// centres are distance apart and the gap stands at the given angle to the
// recording:
//
//	t = s·tan(α)/v
//
// The sign is that of distance times angle: with distance = centre of track b
// minus centre of track a, a positive angle makes b later. It is NaN unless v > 0,
// |α| < π/2 and all are finite. Source: J. G. McKnight, "Azimuth in a Magnetic Tape Recorder".
func AzimuthDelay(distance unit.Metre, angle unit.Radian, v unit.MetrePerSecond) unit.Second {
	if !positive(float64(v)) || !finite(float64(distance)) || !(math.Abs(float64(angle)) < math.Pi/2) {
		return unit.Second(math.NaN())
	}
	return unit.Second(float64(distance) * math.Tan(float64(angle)) / float64(v))
}

// AzimuthAngle returns the angle that makes the given delay between two tracks
// whose centres are distance apart, the inverse of [AzimuthDelay]:
//
//	α = arctan(v·t/s)
//
// It is NaN unless v > 0, distance is not 0 and all are finite.
func AzimuthAngle(delay unit.Second, distance unit.Metre, v unit.MetrePerSecond) unit.Radian {
	if !positive(float64(v)) || !finite(float64(delay)) || !finite(float64(distance)) || distance == 0 {
		return unit.Radian(math.NaN())
	}
	return unit.Radian(math.Atan(float64(v) * float64(delay) / float64(distance)))
}
