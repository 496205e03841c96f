package bias

import (
	"fmt"
	"math"
	"slices"

	"headstack/measure"
	"headstack/programme"
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
	for _, tr := range rep.Traces { // a trace each tone
		if tr.Track != track {
			continue
		}
		if tr.Name == "staircase_third" && tr.ToneHz == p.Want.Tones.LowHz {
			third(&s, tr)
		}
		if _, part := p.staircase(); tr.Name != "staircase" || tr.Section != part.Name {
			continue
		}
		doubts = append(doubts, tr.Warnings...)
		sd := pooledSD(tr.Points)
		for _, pt := range tr.Points {
			k := int(math.Round(pt.X)) - 1
			if k < 0 || k >= len(at) {
				return Staircase{}, doubts, fmt.Errorf("%w: step %d of %d", ErrReadings, k+1, len(at))
			}
			l := &Level{Value: pt.Y, SD: sd}
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

// third fills in the third harmonic, whose staircase begins with the steps for turning
// back.
func third(s *Staircase, tr measure.Trace) {
	for _, pt := range tr.Points {
		if k := int(math.Round(pt.X)) - 1 - programme.StaircaseBackSteps; k >= 0 && k < len(s.Readings) {
			s.Readings[k].Third = &Level{Value: pt.Y, SD: math.Max((pt.Hi-pt.Lo)/2/1.96, leastThird*pt.Y)}
		}
	}
}

// leastThird is the relative scatter of a distortion over two seconds that no interval
// undercuts. Common practice, no source.
const leastThird = 0.03

// pooledSD is the standard deviation of a step, from the intervals of all of them: each
// rests on two seconds or so, in which the level wanders a few times at most, and is by
// itself off by large factors either way. A drop-out is for the fit to find.
func pooledSD(points []measure.Point) float64 {
	var v []float64
	for _, p := range points {
		v = append(v, (p.Hi-p.Lo)/2/1.96)
	}
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return math.Max(leastHeardSD, quantile(v, 0.5))
}

// leastHeardSD is what the coating's unevenness leaves of a level over two seconds, dB.
// Common practice, no source.
const leastHeardSD = 0.05
