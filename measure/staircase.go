package measure

import (
	"fmt"
	"math"

	"headstack/programme"
)

// hearStaircase follows the tone of a staircase.
func hearStaircase(t *take, at stretch, c int) listener {
	if at.kind != programme.Staircase || len(at.part.On(t.tracks[c])) == 0 {
		return nil
	}
	band, ok := toneBand(at.part.On(t.tracks[c])[0].Hz*at.ratio, t.rate)
	if !ok {
		return nil
	}
	return newToneChannel(t.rate, band)
}

// stairEdge is left out after and before each mark, in seconds: the time in which a
// trim is turned and the edges of the marks.
const stairEdge = 0.6

// staircases traces the level of each step of a staircase, one trace a track.
func (s *session) staircases() []Trace {
	var out []Trace
	for _, t := range s.takes {
		for i := range s.opt.Tape.Sections {
			if s.kind(i) != programme.Staircase {
				continue
			}
			h, why := t.heardBy("staircase", i)
			for _, c := range t.order {
				tr := Trace{Name: "staircase", Track: t.tracks[c], Section: s.opt.Tape.Sections[i].Name, ToneHz: s.opt.Tape.Sections[i].ToneHz,
					X: Axis{Label: "step", Unit: ""}, Y: Axis{Label: "level", Unit: "dB"}, Points: []Point{},
					Reference: "the first step", Conditions: s.conditions(t, c+1)}
				if h == nil || h.ears[c] == nil {
					tr.Warnings = append(tr.Warnings, why)
				} else {
					stairs(&tr, h.ears[c].(*toneChannel), h.at)
				}
				out = append(out, tr)
			}
		}
	}
	return out
}

// stairs fills the points of a trace from the tone's power, step by step.
func stairs(tr *Trace, ch *toneChannel, at stretch) {
	if ch.absent != "" {
		tr.Warnings = append(tr.Warnings, ch.absent)
		return
	}
	each := at.part.StepSeconds / at.ratio
	if !(each > 2*stairEdge) {
		tr.Warnings = append(tr.Warnings, fmt.Sprintf("steps of %.1f s are too short to be read", each))
		return
	}
	tr.Method = fmt.Sprintf("mean level of each step, %.1f s after its mark to %.1f s before the next", stairEdge, stairEdge)
	steps := int(math.Round(at.part.Seconds / at.part.StepSeconds))
	first := math.NaN()
	for k := range steps {
		from := int((at.startS + float64(k)*each + stairEdge - at.fromS) / ch.dt)
		to := int((at.startS + float64(k+1)*each - stairEdge - at.fromS) / ch.dt)
		// The ends of the first and last step were not heard: a section's edges are not
		// known to the sample.
		if from, to = max(from, 0), min(to, len(ch.power)); float64(to-from)*ch.dt < each/3 || to-from < 16 {
			continue
		}
		e := steadyMean(ch.power[from:to], nil)
		e.Value -= ch.noise
		if !(e.Value > 0) {
			continue
		}
		d := powerDB(e)
		if math.IsNaN(first) {
			first = d.Value
		}
		tr.Points = append(tr.Points, Point{X: float64(k + 1), Y: d.Value - first, Lo: d.Value - first - d.Half(), Hi: d.Value - first + d.Half()})
	}
	if len(tr.Points) < steps {
		tr.Warnings = append(tr.Warnings, fmt.Sprintf("%d of %d steps could be read", len(tr.Points), steps))
	}
}
