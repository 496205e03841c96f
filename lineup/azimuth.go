package lineup

import (
	"fmt"
	"math"

	"headstack/tape"
	"headstack/unit"
)

// AzimuthMeans says what an azimuth angle is in terms that are read.
type AzimuthMeans struct {
	Arcmin float64 `json:"arcmin"`
	// TrackA and TrackB are the outermost pair, DelayUs how much later B plays.
	TrackA  int     `json:"track_a"`
	TrackB  int     `json:"track_b"`
	DelayUs float64 `json:"delay_us"`
	// PhaseDeg is that delay at ToneHz in degrees, whole turns not taken off.
	ToneHz   float64 `json:"tone_hz"`
	PhaseDeg float64 `json:"phase_deg"`
	// LossDB is what one track loses at ToneHz: next to nothing, which is why level
	// cannot set azimuth.
	LossDB float64 `json:"loss_db"`
}

// MeansOf computes delay, phase and loss of an azimuth angle in arcminutes for the
// outermost pair of tracks, at a speed in cm/s and a tone in Hz, by [tape.AzimuthDelay]
// and [tape.AzimuthLoss]. ok is false with fewer than two tracks or for a speed or tone
// that is not above 0.
func MeansOf(g tape.Geometry, speedCmS, arcmin, hz float64) (m AzimuthMeans, ok bool) {
	if len(g.Tracks) < 2 || !(speedCmS > 0) || !(hz > 0) {
		return AzimuthMeans{}, false
	}
	a, b := 0, 0
	for i, t := range g.Tracks {
		if t.Centre < g.Tracks[a].Centre {
			a = i
		}
		if t.Centre > g.Tracks[b].Centre {
			b = i
		}
	}
	v, angle := unit.MetrePerSecond(speedCmS/100), unit.Radian(arcmin)*tape.Arcminute
	m = AzimuthMeans{Arcmin: arcmin, TrackA: a + 1, TrackB: b + 1, ToneHz: hz}
	m.DelayUs = 1e6 * float64(tape.AzimuthDelay(g.Tracks[b].Centre-g.Tracks[a].Centre, angle, v))
	m.PhaseDeg = 360 * hz * m.DelayUs / 1e6
	m.LossDB = float64(tape.AzimuthLoss(g.Tracks[a].Width, angle, tape.Wavelength(v, unit.Hertz(hz))))
	return m, !math.IsNaN(m.DelayUs)
}

// Text says it in a line.
func (m AzimuthMeans) Text() string {
	return fmt.Sprintf("%s arcmin is %.3g µs between tracks %d and %d, %.3g° at %s, and %.2g dB of one track: set it by delay, lowest tone first, not by level",
		number(m.Arcmin), m.DelayUs, m.TrackA, m.TrackB, m.PhaseDeg, unit.Frequency(unit.Hertz(m.ToneHz)), m.LossDB)
}
