package sim

import (
	"math"
	"math/cmplx"

	"headstack/tape"
	"headstack/testtape"
	"headstack/unit"
)

// fringing is what package tape says of this tape on this track's core, in dB: 0
// for a tape recorded per track, or compensated.
func (sc *Scenario) fringing(track int, toneHz float64) float64 {
	if sc.Tape.TrackLayout != testtape.FullWidth || sc.Tape.FringingCompensated {
		return 0
	}
	return float64(tape.FringingGain(sc.Geometry, track, sc.wavelength(toneHz)))
}

// wavelength is that of the recording.
func (sc *Scenario) wavelength(toneHz float64) unit.Metre {
	return tape.Wavelength(unit.MetrePerSecond(sc.Tape.SpeedCmS/100), unit.Hertz(toneHz))
}

// losses is what contact, gap, coating and azimuth take from a tone, in dB.
func (sc *Scenario) losses(track int, toneHz float64) float64 {
	t, lambda := sc.Tracks[track-1], sc.wavelength(toneHz)
	angle := unit.Radian(sc.AzimuthArcmin) * tape.Arcminute
	loss := tape.SpacingLoss(unit.Metre(t.SpacingUm*1e-6), lambda) +
		tape.GapLoss(unit.Metre(t.GapUm*1e-6), lambda) +
		tape.ThicknessLoss(unit.Metre(t.ThicknessUm*1e-6), lambda) +
		tape.AzimuthLoss(sc.Geometry.Tracks[track-1].Width, angle, lambda)
	return float64(loss)
}

// electronics is the complex gain of equalisation and corners at the replayed
// frequency, re a chain that is the opposite of the recorded flux at nominal speed.
func (sc *Scenario) electronics(track int, toneHz float64) complex128 {
	t := sc.Tracks[track-1]
	own := tape.Equalisation{HighUs: sc.Tape.EqualisationUs.High, LowUs: sc.Tape.EqualisationUs.Low}
	eq := own
	if t.Eq != nil {
		eq = *t.Eq
	}
	f := toneHz * sc.speedRatio()
	gain := chain(eq, f) / chain(own, toneHz)
	if t.LowCornerHz > 0 {
		gain *= complex(0, f/t.LowCornerHz) / complex(1, f/t.LowCornerHz)
	}
	if t.HighCornerHz > 0 {
		gain /= complex(1, f/t.HighCornerHz)
	}
	return gain
}

// chain is the response of a minimum-phase replay chain to flux: the opposite of
// the standard flux curve (IEC 60094-1 clause 15).
func chain(e tape.Equalisation, f float64) complex128 {
	w := 2 * math.Pi * f * 1e-6
	gain := complex(1, w*e.HighUs)
	if e.LowUs > 0 {
		gain *= complex(0, w*e.LowUs) / complex(1, w*e.LowUs)
	}
	return gain
}

// own is the complex peak amplitude at which a track plays a section by itself,
// full scale 1, without delay and before flicker and drop-outs.
func (sc *Scenario) own(track int, s testtape.Section) complex128 {
	t := sc.Tracks[track-1]
	if t.Muted {
		return 0
	}
	if t.Response != nil {
		gain := complex(math.Pow(10, (sc.ReferenceDBFS+s.LevelDB)/20), 0) * t.Response(s.ToneHz, s.LevelDB)
		if t.PolarityReversed {
			gain = -gain
		}
		return gain
	}
	level := sc.ReferenceDBFS + t.GainDB + s.LevelDB + sc.fringing(track, s.ToneHz) - sc.losses(track, s.ToneHz)
	gain := complex(math.Pow(10, level/20), 0) * sc.electronics(track, s.ToneHz)
	if t.PolarityReversed {
		gain = -gain
	}
	return gain
}

// offset is the distance of a track's centre from that of track 1 in seconds of
// tape: times tan(azimuth) it is the track's delay.
func (sc *Scenario) offset(track int) float64 {
	s := sc.Geometry.Tracks[track-1].Centre - sc.Geometry.Tracks[0].Centre
	return float64(s) / (sc.Tape.SpeedCmS / 100)
}

// late is a track's tone as delayed by an azimuth with the tangent tan. A track with a
// Response of its own has the mean azimuth in it already.
func (sc *Scenario) late(track int, own complex128, toneHz, tan float64) complex128 {
	if sc.Tracks[track-1].Response != nil {
		tan -= sc.tanAzimuth(0)
	}
	return turned(own, toneHz, sc.offset(track), tan)
}

// tanAzimuth is the tangent of the mean azimuth plus a wander in radians.
func (sc *Scenario) tanAzimuth(wander float64) float64 {
	return math.Tan(sc.AzimuthArcmin*float64(tape.Arcminute) + wander)
}

// turned is own as delayed by the azimuth, tan of which is given.
func turned(own complex128, toneHz, offset, tan float64) complex128 {
	return own * cmplx.Rect(1, -2*math.Pi*toneHz*offset*tan)
}

// crosstalk mixes the neighbours' amplitudes into that of a track; amplitude[i]
// belongs to track i+1.
func (sc *Scenario) crosstalk(track int, amplitude []complex128) complex128 {
	a, t := amplitude[track-1], sc.Tracks[track-1]
	if t.CrosstalkDB == 0 || t.Muted {
		return a
	}
	x := math.Pow(10, t.CrosstalkDB/20)
	if t.PolarityReversed {
		x = -x // the neighbours' flux passes the same reversed winding
	}
	for _, n := range []int{track - 1, track + 1} {
		if n >= 1 && n <= len(sc.Tracks) {
			a += complex(x, 0) * amplitude[n-1]
		}
	}
	return a
}
