package measure

import (
	"fmt"
	"math"

	"headstack/dsp"
	"headstack/programme"
)

// hearOneTrack keeps the phases of a one-track part on every channel.
func hearOneTrack(t *take, at stretch, _ int) listener {
	if at.kind != programme.OneTrack {
		return nil
	}
	_, sines := disturbing(at.part)
	var bands []dsp.Band
	for _, s := range sines {
		band, _ := toneBand(s.Hz*at.ratio, t.rate)
		bands = append(bands, band)
	}
	return newPhasorChannel(t.rate, bands)
}

// disturbing is the track that a one-track part is recorded on, and its tones.
func disturbing(p *programme.Part) (track int, sines []programme.Sine) {
	for i, s := range p.Each {
		if len(s) > 0 {
			return i + 1, s
		}
	}
	return 0, nil
}

// crosstalks gives, for each one-track part, what of its track is heard in each other.
func (s *session) crosstalks() []Result {
	var out []Result
	for _, t := range s.takes {
		for i := range s.opt.Tape.Sections {
			if s.kind(i) != programme.OneTrack {
				continue
			}
			track, sines := disturbing(&s.prog.Parts[i])
			if !t.has(track) {
				continue // recorded in another round
			}
			for k, sine := range sines {
				for _, c := range t.order {
					if t.tracks[c] != track {
						out = append(out, s.crosstalk(t, i, k, sine, track, c))
					}
				}
			}
		}
	}
	return out
}

func (t *take) has(track int) bool { return t.channelOf(track) >= 0 }

// channelOf is the channel that carries a track, -1 for none.
func (t *take) channelOf(track int) int {
	for _, c := range t.order {
		if t.tracks[c] == track {
			return c
		}
	}
	return -1
}

// crosstalk is the level of a tone of the disturbing track on channel c.
func (s *session) crosstalk(t *take, index, k int, sine programme.Sine, track, c int) Result {
	name := "crosstalk"
	if s.opt.WhileRecording {
		name = "overdub_bleed"
	}
	r := s.toneResult(name, "dB", t, index, track, 0)
	r.TrackB, r.ToneHz = t.tracks[c], sine.Hz
	r.Reference = fmt.Sprintf("the same tone on track %d, where it was recorded", track)
	h, why := t.heardBy("crosstalk", index)
	if h == nil {
		return r.refuse(why)
	}
	from := h.ears[t.channelOf(track)].(*phasorChannel)
	to := h.ears[c].(*phasorChannel)
	if from.z[k] == nil {
		return r.refuse(fmt.Sprintf("tone absent: %s does not fit below half the sample rate", kilohertz(sine.Hz)))
	}
	if meanPower(from.z[k]) == 0 {
		return r.refuse(fmt.Sprintf("track %d is silent where it should carry the tone", track))
	}
	if coherent := steadiness(from.z[k]); coherent < 0.9 {
		return r.refuse(fmt.Sprintf("track %d does not carry the tone: nothing steady around %s", track, kilohertz(sine.Hz)))
	}
	x, ok := synchronous(to.z[k], from.z[k])
	if !ok {
		return r.refuse("section too short")
	}
	if own, ok := t.ownLevel(s, index, k, sine, track, t.tracks[c]); ok {
		// Against the disturbed track's own tone, differences of gain between the
		// tracks do not count.
		x.value, x.variance = x.value/complex(own, 0), x.variance/(own*own)
		r.Reference = fmt.Sprintf("track %d's own level when the same tone is recorded on it", r.TrackB)
	}
	value, lo, hi, above := x.decibels()
	if !above {
		return r.refuse(fmt.Sprintf("no crosstalk found: "+boundWord+"%.1f dB (95 %%), which is the noise", hi))
	}
	r.Value, r.Lo, r.Hi = value, lo, hi
	r.Method = fmt.Sprintf("synchronous detection with the tone of track %d over %s, noise taken off", track, seconds(float64(len(to.z[k]))/to.rate[k]))
	if h.at.partial {
		r.Warnings = append(r.Warnings, "section cut by the start or end of the capture")
	}
	if value > -20 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("track %d carries nearly the whole signal of track %d: a bridge, a wrong bus or a wrong track number rather than crosstalk", r.TrackB, track))
	}
	return r
}

// ownLevel is the amplitude of a track's own tone over that of the disturbing track's,
// from the one-track part that carries the same tone on it.
func (t *take) ownLevel(s *session, index, k int, sine programme.Sine, track, disturbed int) (float64, bool) {
	for j := range s.opt.Tape.Sections {
		if s.kind(j) != programme.OneTrack {
			continue
		}
		own, sines := disturbing(&s.prog.Parts[j])
		if own != disturbed || k >= len(sines) || sines[k].Hz != sine.Hz {
			continue
		}
		a, _ := t.heardBy("crosstalk", j)
		b, _ := t.heardBy("crosstalk", index)
		if a == nil || b == nil {
			return 0, false
		}
		za := a.ears[t.channelOf(disturbed)].(*phasorChannel).z[k]
		zb := b.ears[t.channelOf(track)].(*phasorChannel).z[k]
		if steadiness(za) < 0.9 || meanPower(zb) == 0 {
			return 0, false
		}
		level := math.Pow(10, (sine.LevelDB-sines[k].LevelDB)/20)
		return level * math.Sqrt(meanPower(za)/meanPower(zb)), true
	}
	return 0, false
}

// steadiness is near 1 for a tone, near 0 for noise: the part of the power that one
// sample predicts of the next but three.
func steadiness(z []complex128) float64 {
	const lag = 4 // past the correlation of band-limited noise
	var s complex128
	p := 0.0
	for i := lag; i < len(z); i++ {
		s += z[i] * complex(real(z[i-lag]), -imag(z[i-lag]))
		p += real(z[i])*real(z[i]) + imag(z[i])*imag(z[i])
	}
	if p == 0 {
		return 0
	}
	return math.Hypot(real(s), imag(s)) / p
}
