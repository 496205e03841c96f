package measure

import (
	"fmt"
	"slices"

	"headstack/dsp"
	"headstack/programme"
)

// stepRun is all level steps of one tone on one channel of a take.
type stepRun struct {
	t       *take
	channel int // index
	hz      float64
	points  []stepPoint // by recorded level, rising, no two alike
	ref     *toneChannel
	other   string // the capture that the reference level is from, if another
	missing []string
	doubts  []string
}

// stepPoint is one step as replayed.
type stepPoint struct {
	name       string
	recordedDB float64      // re the programme's 0 dB
	level      dsp.Estimate // replayed, dBFS
	third      bounded      // third harmonic over the fundamental
	hasThird   bool
}

// stepRuns collects the steps by take, track and tone.
func (s *session) stepRuns() []stepRun {
	if s.prog == nil {
		return nil
	}
	var tones []float64
	for i, p := range s.prog.Parts {
		if hz := s.opt.Tape.Sections[i].ToneHz; p.Kind == programme.Step && hz > 0 && !slices.Contains(tones, hz) {
			tones = append(tones, hz)
		}
	}
	slices.Sort(tones)
	var out []stepRun
	for _, t := range s.takes {
		for _, c := range t.order {
			for _, hz := range tones {
				out = append(out, s.stepRun(t, c, hz))
			}
		}
	}
	return out
}

func (s *session) stepRun(t *take, c int, hz float64) stepRun {
	run := stepRun{t: t, channel: c, hz: hz}
	run.ref, run.other = s.referenceOf(t, t.tracks[c])
	for i, sec := range s.opt.Tape.Sections {
		if s.kind(i) != programme.Step || sec.ToneHz != hz {
			continue
		}
		tt := t.toneTake(i)
		why := tt.reason
		if tt.channels != nil {
			why = tt.channels[c].levelRefusal()
		}
		if why != "" {
			run.missing = append(run.missing, fmt.Sprintf("step %+g dB left out: %s", sec.LevelDB, why))
			continue
		}
		ch := tt.channels[c]
		pt := stepPoint{name: sec.Name, recordedDB: sec.LevelDB, level: ch.level()}
		if distorts(programme.Step, hz, sec.LevelDB, false) {
			p, why := t.productsOf(i, c)
			if why == "" {
				if third, ok := p.part(product{p: 3}); ok {
					pt.third, pt.hasThird = rootSumOfSquares(third), true
				}
			}
		}
		if ch.clipped > 0 {
			run.doubts = append(run.doubts, fmt.Sprintf("step %+g dB clipped: %d samples at full scale, so that the capture distorts too", sec.LevelDB, ch.clipped))
		}
		if ch.dropDB > dropWarnDB {
			run.doubts = append(run.doubts, fmt.Sprintf("step %+g dB unsteady: dips to %.0f dB under its median", sec.LevelDB, ch.dropDB))
		}
		run.points = append(run.points, pt)
	}
	slices.SortStableFunc(run.points, func(a, b stepPoint) int {
		switch {
		case a.recordedDB < b.recordedDB:
			return -1
		case a.recordedDB > b.recordedDB:
			return 1
		}
		return 0
	})
	// Of steps at one level the first counts: a curve has one value there.
	run.points = slices.CompactFunc(run.points, func(a, b stepPoint) bool { return a.recordedDB == b.recordedDB })
	return run
}

// stepResult starts a result that several steps give together.
func (s *session) stepResult(name string, run stepRun) Result {
	r := s.toneResult(name, "dB", run.t, 0, run.t.tracks[run.channel], run.channel+1)
	r.Section, r.ToneHz = "", run.hz
	r.Warnings = append(slices.Clone(run.doubts), run.missing...)
	if run.other != "" {
		r.Warnings = append(r.Warnings, "reference level from another capture: "+run.other)
	}
	if s.hasReference {
		r.Reference = fmt.Sprintf("replayed level of the same track in section %q (recorded at 0 dB)", s.opt.Tape.Sections[s.reference].Name)
	}
	return r
}

// output is a point's replayed level re the reference, without the reference's error,
// which all points share.
func (run stepRun) output(p stepPoint) bounded {
	return boundsOf(dsp.Estimate{Value: p.level.Value - run.ref.level().Value, SE: p.level.SE, Dof: p.level.Dof})
}

// reference is 0 dB with the reference level's error.
func (run stepRun) reference() bounded {
	e := run.ref.level()
	e.Value = 0
	return boundsOf(e)
}

// stepTraces are the replayed level and the third harmonic against the recorded level.
func (s *session) stepTraces() []Trace {
	var out []Trace
	for _, run := range s.stepRuns() {
		if run.ref == nil || len(run.points) == 0 {
			continue
		}
		x := Axis{Label: "recorded level", Unit: "dB"}
		base := Trace{Track: run.t.tracks[run.channel], ToneHz: run.hz, X: x, Conditions: s.conditions(run.t, run.channel+1)}
		level, third := base, base
		level.Name, level.Y = "level_steps", Axis{Label: "replayed level", Unit: "dB"}
		level.Reference = "recorded: the programme's 0 dB; " + s.stepResult("", run).Reference
		level.Method = "level of the tone, noise taken off"
		level.Warnings = append(slices.Clone(run.doubts), run.missing...)
		third.Name, third.Y = "distortion_steps", Axis{Label: "third harmonic", Unit: "%", Log: true}
		third.Reference = "recorded: the programme's 0 dB; the fundamental = 100 %"
		third.Method = "harmonic 3 over the fundamental, in step with the fundamental's phase, noise taken off in power"
		third.Warnings = slices.Clone(level.Warnings)
		for _, p := range run.points {
			o := run.output(p).plus(run.reference())
			level.Points = append(level.Points, Point{X: p.recordedDB, Y: o.value, Lo: o.lo, Hi: o.hi})
			switch {
			case p.hasThird && p.third.seen():
				third.Points = append(third.Points, Point{X: p.recordedDB, Y: 100 * p.third.value, Lo: 100 * p.third.lo, Hi: 100 * p.third.hi})
			case p.hasThird:
				third.Warnings = append(third.Warnings, fmt.Sprintf("step %+g dB: third harmonic not above the noise, at most %.2g %%", p.recordedDB, 100*p.third.hi))
			}
		}
		out = append(out, level)
		if len(third.Points) > 0 {
			out = append(out, third)
		}
	}
	return out
}
