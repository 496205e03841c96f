package measure

import (
	"fmt"
	"math"

	"headstack/dsp"
)

// speeds gives the speed error: first the one of all sections together, then each
// track's in each tone section.
func (s *session) speeds() []Result {
	var each []Result
	s.toneSections(func(t *take, index int, ch *toneChannel, track, channel int, why string) {
		r := s.toneResult("speed_error", "%", t, index, track, channel)
		r.Reference = fmt.Sprintf("%g Hz at the tape's nominal %g cm/s", r.ToneHz, s.opt.Tape.SpeedCmS)
		if why == "" {
			why = ch.absent
		}
		if why == "" && !ch.fit.ok {
			why = "section too short to follow the frequency"
		}
		if why != "" {
			each = append(each, r.refuse(why))
			return
		}
		r.set(speedError(ch.fit.freq, r.ToneHz))
		r.Method = fmt.Sprintf("slope of the tone's phase over %s, %s", seconds(ch.seconds()), flutterText(ch.fit.lines))
		r.Warnings = ch.warnings(t.tones[index].partial)
		if ch.dropDB > 12 {
			r.Warnings = append(r.Warnings, "a deep drop-out may have cost a period of the tone")
		}
		each = append(each, r)
	})
	return append([]Result{s.overallSpeed()}, each...)
}

// speedError is in percent.
func speedError(f dsp.Estimate, nominal float64) dsp.Estimate {
	return dsp.Estimate{Value: 100 * (f.Value/nominal - 1), SE: 100 * f.SE / nominal, Dof: f.Dof}
}

func flutterText(lines int) string {
	switch lines {
	case 0:
		return "no flutter line stood out"
	case 1:
		return "1 flutter line fitted and removed"
	}
	return fmt.Sprintf("%d flutter lines fitted and removed", lines)
}

// overallSpeed combines the sections. In each the phases of all tracks were taken
// together, since they share one tape.
func (s *session) overallSpeed() Result {
	r := Result{Name: "speed_error", Unit: "%", Conditions: s.conditions(nil, 0)}
	r.Reference = fmt.Sprintf("the tape's nominal %g cm/s", s.opt.Tape.SpeedCmS)
	var es []dsp.Estimate
	for _, t := range s.takes {
		for i, sec := range s.opt.Tape.Sections {
			if tt := t.tones[i]; tt != nil && tt.common != nil && tt.common.ok {
				es = append(es, speedError(tt.common.freq, sec.ToneHz))
			}
		}
	}
	if len(s.takes) == 1 {
		r.Conditions.Capture = s.takes[0].name
	}
	if len(es) == 0 {
		return r.refuse("no tone was found on any track")
	}
	e, spread := randomEffects(es)
	r.set(e)
	r.Method = fmt.Sprintf("%d sections, all tracks, combined as random effects", len(es))
	if spread > 0 {
		r.Method += fmt.Sprintf(" (spread between sections %.2g %%)", spread)
	}
	return r
}

// randomEffects combines estimates of one quantity that may itself differ from one
// to the next. The spread between them is that which makes the weighted sum of
// squares equal its expectation (Paule and Mandel, J. Res. NBS 87, 1982); the
// interval is by Student's t on the weighted scatter (Hartung and Knapp 2001).
func randomEffects(es []dsp.Estimate) (e dsp.Estimate, spread float64) {
	k := len(es)
	if k == 1 {
		return es[0], 0
	}
	floor := 0.0 // rounding: keeps weights finite for noiseless signals
	for _, x := range es {
		floor = math.Max(floor, 1e-15*math.Abs(x.Value))
	}
	at := func(tau2 float64) (mean, q, sumW float64) {
		for _, x := range es {
			w := 1 / (x.SE*x.SE + floor*floor + tau2 + 1e-300)
			sumW += w
			mean += w * x.Value
		}
		mean /= sumW
		for _, x := range es {
			d := x.Value - mean
			q += d * d / (x.SE*x.SE + floor*floor + tau2 + 1e-300)
		}
		return mean, q, sumW
	}
	tau2 := 0.0
	if _, q, _ := at(0); q > float64(k-1) {
		hi := 1e-30
		for _, q, _ := at(hi); q > float64(k-1); _, q, _ = at(hi) {
			hi *= 4
		}
		lo := 0.0
		for range 200 {
			mid := (lo + hi) / 2
			if _, q, _ := at(mid); q > float64(k-1) {
				lo = mid
			} else {
				hi = mid
			}
		}
		tau2 = hi
	}
	mean, q, sumW := at(tau2)
	return dsp.Estimate{Value: mean, SE: math.Sqrt(q / float64(k-1) / sumW), Dof: float64(k - 1)}, math.Sqrt(tau2)
}
