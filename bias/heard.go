package bias

import (
	"fmt"
	"math"

	"headstack/measure"
)

// Heard takes a track's staircase from a report of the plan's programme: the levels of
// its steps, at the positions planned, or at those that the person wrote down, if any. A
// step that could not be read has no levels. What the measure doubted comes with it. The
// error is [ErrReadings] where the report holds no such staircase, or one with another
// number of steps.
func (p *Plan) Heard(rep measure.Report, track int, written []float64) (s Staircase, doubts []string, err error) {
	var plan *TrackPlan
	for i := range p.Tracks {
		if p.Tracks[i].Trim.Track == track {
			plan = &p.Tracks[i]
		}
	}
	if plan == nil {
		return s, nil, fmt.Errorf("%w: track %d is not in the plan", ErrReadings, track)
	}
	at := plan.Positions
	if written != nil {
		at = written
	}
	if len(at) != len(plan.Positions) {
		return s, nil, fmt.Errorf("%w: %d positions for %d steps", ErrReadings, len(at), len(plan.Positions))
	}
	for _, x := range at {
		s.Readings = append(s.Readings, Reading{Position: x})
	}
	found := false
	for _, tr := range rep.Traces {
		if tr.Name != "staircase" || tr.Track != track {
			continue
		}
		doubts = append(doubts, tr.Warnings...)
		for _, pt := range tr.Points {
			k := int(math.Round(pt.X)) - 1
			if k < 0 || k >= len(at) {
				return Staircase{}, doubts, fmt.Errorf("%w: step %d of %d", ErrReadings, k+1, len(at))
			}
			l := &Level{Value: pt.Y, SD: (pt.Hi - pt.Lo) / 2 / 1.96}
			switch tr.ToneHz {
			case p.Want.Tones.TrebleHz:
				s.Readings[k].Treble, found = l, true
			case p.Want.Tones.LowHz:
				s.Readings[k].Low = l
			}
		}
	}
	if !found {
		return Staircase{}, doubts, fmt.Errorf("%w: the report holds none of track %d at %g Hz", ErrReadings, track, p.Want.Tones.TrebleHz)
	}
	return s, doubts, nil
}
