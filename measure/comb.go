package measure

import (
	"fmt"
	"math"

	"headstack/dsp"
	"headstack/programme"
)

// sineChannel follows all tones of a part on one channel.
type sineChannel struct {
	sines []programme.Sine
	tones []*toneChannel // nil where the tone does not fit below half the sample rate
}

// Tones of a comb lie a third of an octave apart, 0.206·f to the next lower one. The
// band holds a speed error of ±2 % beyond the one found, and wow.
func combBand(f, rate float64) (dsp.Band, bool) {
	pass, stop := 0.05*f, 0.19*f
	return dsp.Band{CarrierHz: f, PassHz: pass, StopHz: stop}, f+stop < rate/2
}

func hearComb(t *take, at stretch, c int) listener {
	if at.kind != programme.Comb {
		return nil
	}
	return newSineChannel(t, at, c, combBand)
}

// newSineChannel follows what a part carries on the channel's track, each tone in the
// band that is given for it; nil where it carries nothing.
func newSineChannel(t *take, at stretch, c int, bandOf func(f, rate float64) (dsp.Band, bool)) listener {
	ch := &sineChannel{sines: at.part.On(t.tracks[c])}
	if len(ch.sines) == 0 {
		return nil
	}
	for _, s := range ch.sines {
		var tone *toneChannel
		if band, ok := bandOf(s.Hz*at.ratio, t.rate); ok {
			tone = newToneChannel(t.rate, band)
			tone.passedThrough(t.face, c+1)
		}
		ch.tones = append(ch.tones, tone)
	}
	return ch
}

func (c *sineChannel) feed(x []float64) {
	for _, t := range c.tones {
		if t != nil {
			t.feed(x)
		}
	}
}

// finish measures the level of each tone. Flutter is not fitted: the bands are too
// narrow for it, and it moves no level that a comb can resolve.
func (c *sineChannel) finish() {
	for _, t := range c.tones {
		if t == nil {
			continue
		}
		if t.finish(); t.absent == "" {
			t.fit = &toneFit{power: steadyMean(t.power, nil)}
			t.fit.power.Value -= t.noise
		}
	}
}

// level is that of tone i less its programmed level, in dB.
func (c *sineChannel) level(i int) (e dsp.Estimate, why string) {
	t := c.tones[i]
	if t == nil {
		return e, fmt.Sprintf("tone absent: %s does not fit below half the sample rate", kilohertz(c.sines[i].Hz))
	}
	if why = t.levelRefusal(); why != "" {
		return e, why
	}
	e = t.level()
	e.Value -= c.sines[i].LevelDB
	return e, ""
}

// at is the tone nearest to hz, within a semitone; -1 for none.
func (c *sineChannel) at(hz float64) int {
	best, off := -1, 1.0/12
	for i, s := range c.sines {
		if o := math.Abs(math.Log2(s.Hz / hz)); o < off {
			best, off = i, o
		}
	}
	return best
}

// combResponses gives the response of every track at every tone of every comb.
func (s *session) combResponses() []Result {
	var out []Result
	for _, t := range s.takes {
		for i := range s.opt.Tape.Sections {
			if s.kind(i) != programme.Comb {
				continue
			}
			h, why := t.heardBy("comb", i)
			for _, c := range t.order {
				out = append(out, s.combTrack(t, i, c, h, why)...)
			}
		}
	}
	return out
}

func (s *session) combTrack(t *take, index, c int, h *heard, why string) []Result {
	blank := s.toneResult("response", "dB", t, index, t.tracks[c], c+1)
	blank.ToneHz = 0
	if h == nil || h.ears[c] == nil {
		return []Result{blank.refuse(why)}
	}
	comb := h.ears[c].(*sineChannel)
	at := comb.at(s.prog.ReferenceHz)
	if at < 0 {
		return []Result{blank.refuse(fmt.Sprintf("the comb has no tone at the reference of %s", kilohertz(s.prog.ReferenceHz)))}
	}
	ref, refWhy := comb.level(at)
	var out []Result
	for i, sine := range comb.sines {
		r := blank
		r.ToneHz = sine.Hz
		r.Reference = fmt.Sprintf("the same track's %s in the same comb, programmed levels allowed for", kilohertz(comb.sines[at].Hz))
		e, why := comb.level(i)
		switch {
		case why != "":
			r = r.refuse(why)
		case refWhy != "":
			r = r.refuse("no reference: " + refWhy)
		case i == at:
			r.Method = "0 by definition: this is the reference tone"
		default:
			r.set(combine([]float64{1, -1}, e, ref))
			r.Method = fmt.Sprintf("all tones at once: r.m.s. within ±%.3g Hz, noise taken off, over %s", comb.tones[i].band.PassHz, seconds(comb.tones[i].seconds())) + comb.tones[i].faceText()
			r.Warnings = comb.tones[i].warnings(h.at.partial)
		}
		out = append(out, r)
	}
	return out
}
