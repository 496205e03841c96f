package measure

import (
	"fmt"
	"math"

	"headstack/dsp"
	"headstack/programme"
)

// speeds gives the speed error: first the one of all sections together, then each
// track's in each tone section.
func (s *session) speeds() []Result {
	var each []Result
	s.toneSections(func(t *take, index int, ch *toneChannel, track, channel int, why string) {
		if s.kind(index) == programme.Step {
			return // too short to tell more than the tones do
		}
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
		r.Warnings = ch.warnings(t.toneTake(index).partial)
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
// to the next. As long as they agree, their weighted mean and its error hold. When
// they do not, the spread between them is that which makes the weighted sum of
// squares equal its expectation (Paule and Mandel, J. Res. NBS 87, 1982), and the
// interval is Student's t on the weighted scatter (Hartung and Knapp 2001).
func randomEffects(es []dsp.Estimate) (e dsp.Estimate, spread float64) {
	k := len(es)
	if k == 1 {
		return es[0], 0
	}
	_, q, sumW := weightedAt(es, 0)
	if dsp.ChiSquaredTail(float64(k-1), q) > sectionsDisagree {
		ws := make([]float64, k)
		for i, x := range es {
			ws[i] = 1 / variance(x) / sumW
		}
		return combine(ws, es...), 0
	}
	hi := 1e-30
	for q > float64(k-1) {
		hi *= 4
		_, q, _ = weightedAt(es, hi)
	}
	lo := 0.0
	for range 200 {
		mid := (lo + hi) / 2
		if _, q, _ := weightedAt(es, mid); q > float64(k-1) {
			lo = mid
		} else {
			hi = mid
		}
	}
	mean, q, sumW := weightedAt(es, hi)
	return dsp.Estimate{Value: mean, SE: math.Sqrt(q / float64(k-1) / sumW), Dof: float64(k - 1)}, math.Sqrt(hi)
}

// sectionsDisagree is the chance below which sections are taken to differ in speed.
const sectionsDisagree = 0.05

// weightedAt is the mean with a variance tau2 between the estimates, the weighted sum
// of squares and the sum of weights.
func weightedAt(es []dsp.Estimate, tau2 float64) (mean, q, sumW float64) {
	for _, x := range es {
		w := 1 / (variance(x) + tau2)
		sumW += w
		mean += w * x.Value
	}
	mean /= sumW
	for _, x := range es {
		d := x.Value - mean
		q += d * d / (variance(x) + tau2)
	}
	return mean, q, sumW
}

// variance of an estimate with the rounding of a noiseless signal, so that no weight
// is infinite.
func variance(x dsp.Estimate) float64 {
	r := 1e-13 * math.Max(1, math.Abs(x.Value))
	return x.SE*x.SE + r*r
}
