package measure

import (
	"fmt"
	"math"
	"math/cmplx"

	"headstack/dsp"
	"headstack/programme"
)

// hearIdentity keeps, on each channel, the phases of every track's identity tone and of
// its second harmonic.
func hearIdentity(t *take, at stretch, _ int) listener {
	if at.kind != programme.Identity {
		return nil
	}
	return newPhasorChannel(t.rate, identityBands(at.part, at.ratio))
}

// identityBands are two bands of equal width for each track: the filters of a tone and
// its second harmonic then answer at the same moments.
func identityBands(p *programme.Part, ratio float64) []dsp.Band {
	var bands []dsp.Band
	for track := range p.Each {
		f, second := 0.0, 0.0
		if on := p.Each[track]; len(on) > 1 {
			f, second = on[0].Hz, on[1].Hz
		} else if len(on) == 1 {
			f = on[0].Hz
		}
		room := math.Min(nearest(p, f), nearest(p, second))
		pass := math.Min(0.02*f+20, 0.25*room) * ratio
		stop := math.Min(math.Max(2.2*pass, pass+40), 0.75*room*ratio)
		bands = append(bands, dsp.Band{CarrierHz: f * ratio, PassHz: pass, StopHz: stop}, dsp.Band{CarrierHz: second * ratio, PassHz: pass, StopHz: stop})
	}
	return bands
}

// nearest is the distance of f in hertz from the nearest other tone of a part, and
// from 0.
func nearest(p *programme.Part, f float64) float64 {
	d := f
	if f == 0 {
		return math.Inf(1)
	}
	for _, on := range p.Each {
		for _, s := range on {
			if s.Hz != f {
				d = math.Min(d, math.Abs(s.Hz-f))
			}
		}
	}
	return d
}

// identityLeastDB is by how much a channel's own identity tone must stand above the
// next one: crosstalk and a bus that mixes tracks lie above this, a swapped cable far
// below. Common practice, no source.
const identityLeastDB = 10

// identities says which track each channel carries, and with which polarity.
func (s *session) identities() []Result {
	var out []Result
	for _, t := range s.takes {
		for i := range s.opt.Tape.Sections {
			if s.kind(i) != programme.Identity {
				continue
			}
			for _, c := range t.order {
				id, pol := s.identity(t, i, c)
				out = append(out, id, pol)
			}
		}
	}
	return out
}

func (s *session) identity(t *take, index, c int) (id, pol Result) {
	id = s.toneResult("identity", "track", t, index, t.tracks[c], c+1)
	pol = s.toneResult("polarity", "", t, index, t.tracks[c], c+1)
	id.ToneHz, pol.ToneHz = 0, 0
	id.Reference = "the programme's identity tones"
	pol.Reference = "1: a positive voltage in gives a positive voltage out; -1: reversed"
	h, why := t.heardBy("identity", index)
	if h == nil {
		return id.refuse(why), pol.refuse(why)
	}
	ch := h.ears[c].(*phasorChannel)
	first, firstDB, next := 0, math.Inf(-1), math.Inf(-1)
	for track := 1; track <= len(h.at.part.Each); track++ {
		z := ch.z[2*track-2]
		if len(z) < 16 || steadiness(z) < 0.7 {
			continue
		}
		db := 10 * math.Log10(meanPower(z))
		if db > firstDB {
			first, firstDB, next = track, db, firstDB
		} else {
			next = math.Max(next, db)
		}
	}
	switch {
	case first == 0:
		why = "no identity tone on this channel: is the track dead, or not recorded?"
	case firstDB-next < identityLeastDB:
		why = fmt.Sprintf("several tracks on this channel: the strongest identity tone, of track %d, stands only %.1f dB above the next", first, firstDB-next)
	}
	if why != "" {
		return id.refuse(why), pol.refuse(why)
	}
	id.Value, id.Lo, id.Hi = float64(first), float64(first), float64(first)
	id.Method = fmt.Sprintf("strongest identity tone, %.4g Hz", h.at.part.Each[first-1][0].Hz)
	if !math.IsInf(next, -1) {
		id.Method += fmt.Sprintf(", %.0f dB above the next", firstDB-next)
	}
	if first != id.Track {
		id.Warnings = append(id.Warnings, fmt.Sprintf("this channel carries track %d: cables are swapped or the track numbers given are wrong; every figure of this channel belongs to track %d", first, first))
	}
	return id, polarity(pol, ch.z[2*first-2], ch.z[2*first-1])
}

// polarity tells from the angle between a tone and its second harmonic, which no delay
// changes, whether the waveform stands upright.
func polarity(r Result, one, two []complex128) Result {
	n := min(len(one), len(two))
	if n < 16 || steadiness(two) < 0.7 {
		return r.refuse("the second harmonic of the identity tone is lost: polarity cannot be told")
	}
	angles := make([]complex128, n)
	var sum complex128
	for i := range angles {
		angles[i] = two[i] * cmplx.Conj(one[i]*one[i])
		sum += angles[i]
	}
	// As cosines; sines, which the programme counts in, stand 90° behind.
	mean := cmplx.Phase(sum)*180/math.Pi - 90
	reversed, sure := programme.Reversed(programme.IdentityPhase(0, mean))
	r.Method = fmt.Sprintf("second harmonic at %+.0f° to twice the fundamental's phase, -90° upright", math.Remainder(mean, 360))
	if !sure {
		return r.refuse(fmt.Sprintf("the second harmonic stands at %+.0f° to the tone, near the middle between upright (-90°) and reversed (+90°)", math.Remainder(mean, 360)))
	}
	r.Value = 1
	if reversed {
		r.Value = -1
		r.Warnings = append(r.Warnings, "polarity reversed: alone it sounds right, mixed with others it thins them; look at head leads and balanced connections of this track")
	}
	r.Lo, r.Hi = r.Value, r.Value
	return r
}
