package measure

import (
	"fmt"
	"math"

	"headstack/programme"
	"headstack/tape"
	"headstack/testtape"
	"headstack/unit"
)

// responses gives the response of every tone section on every track.
func (s *session) responses() []Result {
	var out []Result
	s.toneSections(func(t *take, index int, ch *toneChannel, track, channel int, why string) {
		if s.kind(index) != programme.Tone {
			return // level steps are not for the response
		}
		r := s.toneResult("response", "dB", t, index, track, channel)
		if why == "" {
			why = ch.levelRefusal()
		}
		out = append(out, s.response(r, t, index, ch, why))
	})
	return out
}

func (s *session) response(r Result, t *take, index int, ch *toneChannel, why string) Result {
	if !s.hasReference {
		return r.refuse("the tape has no section with its reference tone")
	}
	ref := s.opt.Tape.Sections[s.reference]
	r.Reference = fmt.Sprintf("the same track in section %q, stated levels allowed for", ref.Name)
	if why != "" {
		return r.refuse(why)
	}
	if index == s.reference {
		r.Method = "0 by definition: this is the reference section"
		return r
	}
	at, other := s.referenceOf(t, r.Track)
	if at == nil {
		return r.refuse(fmt.Sprintf("no reference: section %q was not measured on this track", ref.Name))
	}
	e := combine([]float64{1, -1}, ch.level(), at.level())
	e.Value -= s.opt.Tape.Sections[index].LevelDB - ref.LevelDB
	r.Method = fmt.Sprintf("level within ±%.0f Hz less the reference section's, less the difference of the stated levels", ch.band.PassHz) + ch.faceText()
	r.Warnings = ch.warnings(t.toneTake(index).partial)
	if gain, applies, known := s.fringing(r.Track, r.ToneHz, ref.ToneHz); applies {
		if known {
			e.Value -= gain
			r.Method += fmt.Sprintf("; fringing of %+.2f dB taken off", gain)
		} else {
			r.Warnings = append(r.Warnings, "fringing not taken off: the track's place on the head is not known")
		}
	}
	if other != "" {
		r.Warnings = append(r.Warnings, "reference level from another capture: "+other)
	}
	for _, w := range at.warnings(false) {
		r.Warnings = append(r.Warnings, "in the reference section: "+w)
	}
	r.set(e)
	return r
}

// referenceOf finds a track's tone in the reference section, in the same capture
// if it is there, else in another, whose name is then given.
func (s *session) referenceOf(t *take, track int) (ch *toneChannel, other string) {
	if ch = s.referenceIn(t, track); ch != nil {
		return ch, ""
	}
	for _, o := range s.takes {
		if ch = s.referenceIn(o, track); ch != nil {
			return ch, o.name
		}
	}
	return nil, ""
}

func (s *session) referenceIn(t *take, track int) *toneChannel {
	if !s.hasReference || t.toneTake(s.reference).channels == nil {
		return nil
	}
	for _, c := range t.order {
		if ch := t.toneTake(s.reference).channels[c]; t.tracks[c] == track && ch.levelRefusal() == "" {
			return ch
		}
	}
	return nil
}

// fringing is the rise at a tone less that at the reference tone, in dB. applies is
// false for a tape that has none; known is false when the geometry does not tell.
func (s *session) fringing(track int, toneHz, refHz float64) (gain float64, applies, known bool) {
	tp := s.opt.Tape
	if tp.TrackLayout != testtape.FullWidth || tp.FringingCompensated {
		return 0, false, false
	}
	if track > len(s.opt.Geometry.Tracks) {
		return 0, true, false
	}
	v := unit.MetrePerSecond(tp.SpeedCmS / 100)
	at := func(f float64) float64 {
		return float64(tape.FringingGain(s.opt.Geometry, track, tape.Wavelength(v, unit.Hertz(f))))
	}
	gain = at(toneHz) - at(refHz)
	return gain, true, !math.IsNaN(gain) && !math.IsInf(gain, 0)
}
