package measure

import (
	"fmt"
	"math"

	"headstack/dsp"
	"headstack/programme"
)

// levels gives the level of every tone section on every track.
func (s *session) levels() []Result {
	var out []Result
	s.toneSections(func(t *take, index int, ch *toneChannel, track, channel int, why string) {
		if s.kind(index) == programme.Step {
			return // the course of the steps gives them together
		}
		r := s.toneResult("level", "dBFS", t, index, track, channel)
		r.Reference = "full-scale sine = 0 dBFS"
		if why == "" {
			why = ch.levelRefusal()
		}
		if why != "" {
			r.Refused = why
			out = append(out, r)
			return
		}
		r.Method = fmt.Sprintf("r.m.s. of the tone within ±%.0f Hz, noise taken off, over %s; interval from the spectrum of its own unsteadiness", ch.band.PassHz, seconds(ch.seconds())) + ch.faceText()
		r.set(ch.level())
		r.Warnings = ch.warnings(t.toneTake(index).partial)
		out = append(out, r)
	})
	return out
}

// levelRefusal says why the channel has no level, or nothing.
func (c *toneChannel) levelRefusal() string {
	if c.absent != "" {
		return c.absent
	}
	if p := c.fit.power; !(p.Value > 0) || math.IsNaN(p.SE) {
		return "tone absent: its power does not exceed the noise"
	}
	return ""
}

// level is in dBFS, the interface's own response taken off where it is known. A sine
// of peak 1 has z of modulus 1 and is 0 dBFS.
func (c *toneChannel) level() dsp.Estimate {
	e := powerDB(c.fit.power)
	if c.faceKnown {
		e = combine([]float64{1, -1}, e, c.face)
	}
	return e
}

// faceText tells in a method that the interface's response was taken off.
func (c *toneChannel) faceText() string {
	if !c.faceKnown {
		return ""
	}
	return fmt.Sprintf("; interface response of %+.2f dB taken off", c.face.Value)
}

// powerDB turns a power into decibels, its standard error to first order.
func powerDB(p dsp.Estimate) dsp.Estimate {
	return dsp.Estimate{Value: 10 * math.Log10(p.Value), SE: 10 / math.Ln10 * p.SE / p.Value, Dof: p.Dof}
}

// seconds is how long the tone was measured.
func (c *toneChannel) seconds() float64 { return float64(len(c.power)) * c.dt }

// warnings are the doubts about anything measured on this tone.
func (c *toneChannel) warnings(partial bool) []string {
	var w []string
	if c.clipped > 0 {
		w = append(w, fmt.Sprintf("clipped: %d samples at full scale", c.clipped))
	}
	if c.dropDB > dropWarnDB {
		w = append(w, fmt.Sprintf("level unsteady: dips to %.0f dB under its median", c.dropDB))
	}
	if partial {
		w = append(w, "section cut by the start or end of the capture")
	}
	if r := 10 * math.Log10(c.middle/math.Max(c.noise, 1e-30)); r < 25 {
		w = append(w, fmt.Sprintf("tone only %.0f dB over the noise near it", r))
	}
	if c.hum != "" {
		w = append(w, c.hum)
	}
	if c.faceWarning != "" {
		w = append(w, c.faceWarning)
	}
	return w
}

// toneResult starts a result of one tone section.
func (s *session) toneResult(name, unit string, t *take, index, track, channel int) Result {
	sec := s.opt.Tape.Sections[index]
	return Result{Name: name, Track: track, Section: sec.Name, ToneHz: sec.ToneHz, Unit: unit, Conditions: s.conditions(t, channel)}
}

// set fills value and 95 % interval.
func (r *Result) set(e dsp.Estimate) {
	h := e.Half()
	r.Value, r.Lo, r.Hi = e.Value, e.Value-h, e.Value+h
}

// refuse turns the result into a refusal and returns it.
func (r Result) refuse(why string) Result {
	r.Value, r.Lo, r.Hi, r.Refused = 0, 0, 0, why
	return r
}

// seconds writes a duration for a method text.
func seconds(s float64) string { return fmt.Sprintf("%.1f s", s) }

// combine adds independent estimates with weights, degrees of freedom by
// Satterthwaite.
func combine(weights []float64, es ...dsp.Estimate) dsp.Estimate {
	var out dsp.Estimate
	v, q := 0.0, 0.0
	for i, e := range es {
		out.Value += weights[i] * e.Value
		p := weights[i] * weights[i] * e.SE * e.SE
		v += p
		q += p * p / math.Max(1, e.Dof)
	}
	out.SE = math.Sqrt(v)
	out.Dof = 1e6
	if q > 0 {
		out.Dof = v * v / q
	}
	return out
}
