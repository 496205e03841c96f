package sim

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
)

// ErrScenario is the error of a scenario that cannot be rendered.
var ErrScenario = errors.New("impossible scenario")

// check returns what is wrong with a scenario, wrapped in ErrScenario.
func (sc *Scenario) check() error {
	bad := func(format string, a ...any) error {
		return fmt.Errorf("%w: %s", ErrScenario, fmt.Sprintf(format, a...))
	}
	switch {
	case sc.Tape == nil || len(sc.Tape.Sections) == 0:
		return bad("no test tape with sections")
	case !(sc.Tape.SpeedCmS > 0):
		return bad("test tape speed %v cm/s", sc.Tape.SpeedCmS)
	case len(sc.Tracks) == 0 || len(sc.Tracks) != len(sc.Geometry.Tracks):
		return bad("%d tracks described, geometry has %d", len(sc.Tracks), len(sc.Geometry.Tracks))
	case sc.SampleRate < 8000:
		return bad("sampling rate %d Hz, want 8000 or more", sc.SampleRate)
	case sc.SpeedCmS < 0 || !(sc.speedRatio() > 0.1 && sc.speedRatio() < 10):
		return bad("speed is %v times that of the tape", sc.speedRatio())
	case !(math.Abs(sc.AzimuthArcmin) < 600):
		return bad("azimuth %v arcminutes, want below 600", sc.AzimuthArcmin)
	case sc.SkipHead < 0 || sc.SkipTail < 0 || sc.SkipHead+sc.SkipTail >= len(sc.Tape.Sections):
		return bad("%d + %d of %d sections skipped", sc.SkipHead, sc.SkipTail, len(sc.Tape.Sections))
	}
	for name, s := range map[string]float64{
		"lead-in": sc.LeadInS, "gap": sc.GapS, "tail": sc.TailS, "ramp": sc.RampS, "cut head": sc.CutHeadS, "cut tail": sc.CutTailS,
	} {
		if !(s >= 0 && s < 1e5) {
			return bad("%s of %v s", name, s)
		}
	}
	for _, c := range sc.Channels {
		if c < 1 || c > len(sc.Tracks) {
			return bad("channel carries track %d of %d", c, len(sc.Tracks))
		}
	}
	for i, t := range sc.Tracks {
		if problem := t.problem(); problem != "" {
			return bad("track %d: %s", i+1, problem)
		}
	}
	if problem := sc.responseProblem(); problem != "" {
		return bad("%s", problem)
	}
	return sc.checkMotion(bad)
}

// responseProblem says which track's own response is no number at a section, or nothing.
func (sc *Scenario) responseProblem() string {
	for i, t := range sc.Tracks {
		if t.Response == nil {
			continue
		}
		for _, s := range sc.Tape.Sections {
			if s.ToneHz == 0 {
				continue
			}
			if r := t.Response(s.ToneHz, s.LevelDB); cmplx.IsNaN(r) || cmplx.IsInf(r) {
				return fmt.Sprintf("track %d: response of %v at section %q", i+1, r, s.Name)
			}
		}
	}
	return ""
}

func (sc *Scenario) checkMotion(bad func(string, ...any) error) error {
	sum := 3 * sc.RandomFlutter.RMSPercent
	for _, l := range sc.Flutter {
		if !(l.Hz > 0 && l.Hz <= 1000) {
			return bad("flutter at %v Hz, want above 0 and at most 1000", l.Hz)
		}
		sum += math.Abs(l.PercentPeak)
	}
	if !(sum < 50) {
		return bad("flutter of %v %% could stop the tape", sum)
	}
	if r := sc.RandomFlutter; r.RMSPercent != 0 && !(r.RMSPercent > 0 && r.LowHz > 0 && r.HighHz >= r.LowHz && r.HighHz <= 1000) {
		return bad("random flutter %+v, want 0 < low ≤ high ≤ 1000 Hz", r)
	}
	if w := sc.AzimuthWander; w.RMSArcmin != 0 && !(w.RMSArcmin > 0 && w.LowHz > 0 && w.HighHz >= w.LowHz && w.HighHz <= 100) {
		return bad("azimuth wander %+v, want 0 < low ≤ high ≤ 100 Hz", w)
	}
	top := float64(sc.SampleRate) / 2
	for _, s := range sc.Tape.Sections {
		if !(s.Seconds > 0) || !(s.ToneHz >= 0) {
			return bad("section %q of %v s and %v Hz", s.Name, s.Seconds, s.ToneHz)
		}
		if s.ToneHz*sc.speedRatio()*(1+sum/100) >= top {
			return bad("section %q plays at %v Hz, above half the sampling rate", s.Name, s.ToneHz*sc.speedRatio())
		}
	}
	if sc.endOfTape()-sc.CutTailS <= sc.CutHeadS {
		return bad("the cuts leave nothing of %v s of tape", sc.endOfTape())
	}
	return nil
}

// problem says what is impossible about a track, or nothing.
func (t Track) problem() string {
	for name, x := range map[string]float64{
		"spacing": t.SpacingUm, "gap": t.GapUm, "coating depth": t.ThicknessUm, "low corner": t.LowCornerHz,
		"high corner": t.HighCornerHz, "flicker depth": t.Flicker.DepthDB, "flicker rate": t.Flicker.RateHz,
		"crosstalk attenuation": -t.CrosstalkDB, "clipping below full scale": -t.ClipDBFS,
	} {
		if !(x >= 0) || math.IsInf(x, 1) {
			return fmt.Sprintf("%s of %v", name, x)
		}
	}
	if math.IsNaN(t.GainDB) || math.IsInf(t.GainDB, 0) {
		return fmt.Sprintf("gain of %v dB", t.GainDB)
	}
	if t.Noise != nil && !(math.Abs(t.Noise.Pole) <= 0.95) {
		return fmt.Sprintf("noise pole %v, want -0.95 to 0.95", t.Noise.Pole)
	}
	for _, d := range t.DropOuts {
		if !(d.AtS >= 0 && d.LengthS > 0 && d.DepthDB >= 0) {
			return fmt.Sprintf("drop-out %+v", d)
		}
	}
	return ""
}
