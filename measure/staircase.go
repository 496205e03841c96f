package measure

import (
	"fmt"
	"math"

	"headstack/programme"
)

// stairTones hears the tones of a staircase, the treble first, each by itself; behind a
// single one its third harmonic, where that can be heard.
type stairTones []*toneChannel

func (s stairTones) feed(x []float64) {
	for _, c := range s {
		c.feed(x)
	}
}

func (s stairTones) finish() {
	for _, c := range s {
		c.finish()
	}
}

// hearStaircase follows the tones of a staircase.
func hearStaircase(t *take, at stretch, c int) listener {
	if at.kind != programme.Staircase {
		return nil
	}
	var out stairTones
	for _, tone := range at.part.On(t.tracks[c]) {
		band, ok := toneBand(tone.Hz*at.ratio, t.rate)
		if !ok {
			return nil
		}
		ch := newToneChannel(t.rate, band)
		ch.passedThrough(t.face, c+1)
		out = append(out, ch)
	}
	switch len(out) {
	case 0:
		return nil
	case 1: // by itself, a tone shows its distortion
		if band, ok := toneBand(3*at.part.On(t.tracks[c])[0].Hz*at.ratio, t.rate); ok && band.CarrierHz < productTopHz {
			ch := newToneChannel(t.rate, band)
			ch.passedThrough(t.face, c+1)
			out = append(out, ch)
		}
	}
	return out
}

// stairEdge is left out before each mark, in seconds: the edges of the marks, and a hand
// that turns the trim early. After it [programme.TurnShare] of the step is left out, and
// no less than stairEdge.
const stairEdge = 0.6

// staircases traces the level of each step of a staircase, one trace a track and tone.
func (s *session) staircases() []Trace {
	var out []Trace
	for _, t := range s.takes {
		for i := range s.opt.Tape.Sections {
			if s.kind(i) != programme.Staircase {
				continue
			}
			h, why := t.heardBy("staircase", i)
			for _, c := range t.order {
				out = append(out, s.staircase(t, i, c, h, why)...)
			}
		}
	}
	return out
}

// staircase are the traces of one track; of two tones both refer to the second, the low
// one, at its first step, so that they can be compared.
func (s *session) staircase(t *take, i, c int, h *heard, why string) []Trace {
	tones := s.prog.Parts[i].On(t.tracks[c])
	if len(tones) == 0 {
		tones = []programme.Sine{{Hz: s.opt.Tape.Sections[i].ToneHz}}
	}
	var out []Trace
	for _, tone := range tones {
		tr := Trace{Name: "staircase", Track: t.tracks[c], Section: s.opt.Tape.Sections[i].Name, ToneHz: tone.Hz,
			X: Axis{Label: "step", Unit: ""}, Y: Axis{Label: "level", Unit: "dB"}, Points: []Point{},
			Reference: "the first step", Conditions: s.conditions(t, c+1)}
		if len(tones) > 1 {
			tr.Reference = fmt.Sprintf("%s at the first step, levels as recorded taken off", kilohertz(tones[len(tones)-1].Hz))
		}
		out = append(out, tr)
	}
	if h == nil || h.ears[c] == nil {
		for k := range out {
			out[k].Warnings = append(out[k].Warnings, why)
		}
		return out
	}
	ears := h.ears[c].(stairTones)
	for k := range tones {
		stairs(&out[k], ears[k], h.at, tones[k].LevelDB)
	}
	var third []Trace
	if len(tones) == 1 && len(ears) == 2 {
		third = stairThird(out[0], ears[1], h.at, tones[0].LevelDB)
	}
	zero := math.NaN()
	if last := out[len(out)-1].Points; len(last) > 0 {
		zero = last[0].Y
	}
	for k := range out {
		if math.IsNaN(zero) { // nothing to refer to
			if len(out[k].Points) > 0 {
				out[k].Warnings = append(out[k].Warnings, "the low tone could not be read")
			}
			out[k].Points = []Point{}
		}
		for j := range out[k].Points {
			p := &out[k].Points[j]
			p.Y, p.Lo, p.Hi = p.Y-zero, p.Lo-zero, p.Hi-zero
		}
	}
	return append(out, third...)
}

// stairThird is the third harmonic at each step, over the fundamental; nothing where it
// does not stand out of the noise.
func stairThird(tone Trace, ch *toneChannel, at stretch, recordedDB float64) []Trace {
	tr := tone
	tr.Name, tr.Points, tr.Warnings = "staircase_third", []Point{}, nil
	tr.Y, tr.Reference = Axis{Label: "third harmonic", Unit: "%", Log: true}, "the fundamental = 100 %"
	stairs(&tr, ch, at, recordedDB)
	of := map[float64]Point{}
	for _, p := range tone.Points {
		of[p.X] = p
	}
	kept := tr.Points[:0]
	for _, p := range tr.Points {
		f, ok := of[p.X]
		if !ok {
			continue
		}
		half := math.Hypot((p.Hi-p.Lo)/2, (f.Hi-f.Lo)/2)
		percent := func(db float64) float64 { return 100 * math.Pow(10, db/20) }
		kept = append(kept, Point{X: p.X, Y: percent(p.Y - f.Y), Lo: percent(p.Y - f.Y - half), Hi: percent(p.Y - f.Y + half)})
	}
	if tr.Points = kept; len(kept) == 0 {
		return nil
	}
	tr.Method += "; level of the third harmonic over that of the tone, noise taken off in power"
	return []Trace{tr}
}

// stairs fills the points of a trace from the tone's power, step by step, re the level
// that it was recorded at.
func stairs(tr *Trace, ch *toneChannel, at stretch, recordedDB float64) {
	if ch.absent != "" {
		tr.Warnings = append(tr.Warnings, ch.absent)
		return
	}
	each := at.part.StepSeconds / at.ratio
	after := math.Max(stairEdge, programme.TurnShare*each)
	if !(each > after+stairEdge) {
		tr.Warnings = append(tr.Warnings, fmt.Sprintf("steps of %.1f s are too short to be read", each))
		return
	}
	if ch.faceWarning != "" {
		tr.Warnings = append(tr.Warnings, ch.faceWarning)
	}
	tr.Method = fmt.Sprintf("mean level of each step, %.1f s after its mark to %.1f s before the next", after, stairEdge)
	steps := int(math.Round(at.part.Seconds / at.part.StepSeconds))
	for k := range steps {
		from := int((at.startS + float64(k)*each + after - at.fromS) / ch.dt)
		to := int((at.startS + float64(k+1)*each - stairEdge - at.fromS) / ch.dt)
		// The ends of the first and last step were not heard: a section's edges are not
		// known to the sample.
		if from, to = max(from, 0), min(to, len(ch.power)); float64(to-from)*ch.dt < each/4 || to-from < 16 {
			continue
		}
		e := steadyMean(ch.power[from:to], nil)
		e.Value -= ch.noise
		if !(e.Value > 0) {
			continue
		}
		d := powerDB(e)
		y := d.Value - recordedDB
		if ch.faceKnown {
			y -= ch.face.Value
		}
		tr.Points = append(tr.Points, Point{X: float64(k + 1), Y: y, Lo: y - d.Half(), Hi: y + d.Half()})
	}
	if len(tr.Points) < steps {
		tr.Warnings = append(tr.Warnings, fmt.Sprintf("%d of %d steps could be read", len(tr.Points), steps))
	}
}
