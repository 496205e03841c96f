package bias

import (
	"fmt"

	"headstack/programme"
)

// Cues are what is said, or heard, in a track's pass, in order: warnings before, a
// countdown to each mark, and where to turn the trim. AtS counts from the start of the
// round's file. It panics when there is no such track plan.
func (p *Plan) Cues(track int) []Cue {
	t := p.Tracks[track]
	start, part := p.staircase()
	var out []Cue
	say := func(at float64, format string, a ...any) {
		out = append(out, Cue{max(0, at), fmt.Sprintf(format, a...)})
	}
	say(0, "Track %d. Trim %s stands at %s, approached from less bias.", t.Trim.Track, t.Trim.ID, t.Words[0])
	say(start-10, "Staircase in ten seconds. Tool on the trim, the other hand away.")
	climb := func(start float64) {
		say(start, "Step 1 of %d: %s. Do not turn.", len(t.Positions), t.Words[0])
		for k := 1; k < len(t.Positions); k++ {
			at := start + float64(k)*part.StepSeconds
			say(at-3, "Three.")
			say(at-2, "Two.")
			say(at-1, "One.")
			say(at, "The tone stops for a moment: now. Step %d of %d: turn up to %s, within %.0f seconds.", k+1, len(t.Positions), t.Words[k], turnSeconds(part.StepSeconds))
		}
	}
	climb(start)
	end := start + part.Seconds
	if p.Want.Third {
		back := programme.StaircaseBackSteps * part.StepSeconds
		say(end, "Once more, now loud: within %.0f seconds turn %s.", back, t.begin())
		climb(end + back)
		end += back + part.Seconds
	}
	say(end, "Staircase ends. Take the tool off.")
	return out
}

// turnSeconds is how long a hand may turn after a mark: what is measured begins then.
func turnSeconds(step float64) float64 { return programme.TurnShare * step }

// staircase is the plan's staircase and where it begins.
func (p *Plan) staircase() (startS float64, part programme.Part) {
	for i, x := range p.Programme.Parts {
		if x.Kind == programme.Staircase {
			return p.Programme.Start(i), x
		}
	}
	panic("bias: a plan without staircase")
}
