package sim

import (
	"fmt"
	"math"
	"slices"
)

// check returns what is wrong with a recording, wrapped in ErrScenario.
func (r *Recording) check() error {
	bad := func(format string, a ...any) error {
		return fmt.Errorf("%w: %s", ErrScenario, fmt.Sprintf(format, a...))
	}
	if r.Programme == nil {
		return bad("no programme")
	}
	if err := r.Programme.Check(); err != nil {
		return bad("programme: %v", err)
	}
	n := r.Programme.Tracks
	switch {
	case len(r.Tracks) != n:
		return bad("%d tracks described, the programme has %d", len(r.Tracks), n)
	case r.SampleRate < 8000:
		return bad("sampling rate %d Hz, want 8000 or more", r.SampleRate)
	case len(r.RecordCables) != 0 && len(r.RecordCables) != n:
		return bad("%d record cables for %d tracks", len(r.RecordCables), n)
	case len(r.ReplayCables) != 0 && len(r.ReplayCables) != len(r.channels()):
		return bad("%d replay cables for %d channels", len(r.ReplayCables), len(r.channels()))
	case !(math.Abs(r.RecordSpeedErrorPercent) < 50 && math.Abs(r.ReplaySpeedErrorPercent) < 50):
		return bad("speed errors of %v and %v %%", r.RecordSpeedErrorPercent, r.ReplaySpeedErrorPercent)
	case r.OffTape && (len(r.ReplayFlutter) > 0 || r.ReplaySpeedErrorPercent != 0 || r.CutHeadS > 0):
		return bad("a replay of its own, or a start of its own, in a capture off tape while recording")
	case !(r.HeadDistanceMM >= 0 && r.HeadDistanceMM < 1000):
		return bad("heads %v mm apart", r.HeadDistanceMM)
	case !(math.Abs(r.EraseLateS) < 3600):
		return bad("erased %v s late", r.EraseLateS)
	}
	for _, list := range [][]int{r.RecordCables, r.ReplayCables, r.Channels} {
		if i := slices.IndexFunc(list, func(t int) bool { return t < 1 || t > n }); i >= 0 {
			return bad("track %d of %d", list[i], n)
		}
	}
	for _, k := range r.Rounds {
		if k < 0 || k >= len(r.Programme.Rounds) {
			return bad("round %d of %d", k+1, len(r.Programme.Rounds))
		}
	}
	for _, l := range r.Leaks {
		if l.From < 1 || l.From > n || l.To < 1 || l.To > n || l.From == l.To || !(l.DB < 0) {
			return bad("leak %+v", l)
		}
	}
	for name, s := range map[string]float64{"lead-in": r.LeadInS, "tail": r.TailS, "cut head": r.CutHeadS, "cut tail": r.CutTailS} {
		if !(s >= 0 && s < 1e5) {
			return bad("%s of %v s", name, s)
		}
	}
	if r.CutHeadS+r.CutTailS >= r.endOfTape() {
		return bad("the cuts leave nothing of %v s of tape", r.endOfTape())
	}
	for i, t := range r.Tracks {
		if problem := t.problem(); problem != "" {
			return bad("track %d: %s", i+1, problem)
		}
		if problem := r.overdriven(t); problem != "" {
			return bad("track %d: %s", i+1, problem)
		}
	}
	return r.checkFlutter(bad)
}

func (r *Recording) checkFlutter(bad func(string, ...any) error) error {
	for _, lines := range [][]Line{r.RecordFlutter, r.ReplayFlutter} {
		sum := 0.0
		for _, l := range lines {
			if !(l.Hz > 0 && l.Hz <= 1000) {
				return bad("flutter at %v Hz, want above 0 and at most 1000", l.Hz)
			}
			sum += math.Abs(l.PercentPeak)
		}
		if !(sum < 20) {
			return bad("flutter of %v %% could stop the tape", sum)
		}
	}
	return nil
}

// problem says what is impossible about a track, or nothing.
func (t RecordTrack) problem() string {
	if p := t.Track.problem(); p != "" {
		return p
	}
	switch {
	case t.Eq != nil || t.CrosstalkDB != 0:
		return "an equalisation, or crosstalk other than by Leaks, which a recording does not model"
	case !(math.Abs(t.RecordGainDB) < 60) || !(math.Abs(t.DelayUs) < 1e4) || !(t.EraseDepthDB >= 0 && t.EraseDepthDB < 200):
		return fmt.Sprintf("record gain %v dB, delay %v µs, erase depth %v dB", t.RecordGainDB, t.DelayUs, t.EraseDepthDB)
	case !(t.EvenPercent >= 0 && t.EvenPercent < 20):
		return fmt.Sprintf("second harmonic of %v %%", t.EvenPercent)
	case t.MOLDB != nil && !(math.Abs(*t.MOLDB) < 40), t.SaturationDB != nil && !(math.Abs(*t.SaturationDB) < 40):
		return "a level of distortion or saturation beyond 40 dB"
	case t.Bias != nil && !(math.Abs(t.Bias.PeakStep) < 1000 && t.Bias.DropDB >= 0 && t.Bias.DropDB < 20):
		return fmt.Sprintf("bias curve %+v", *t.Bias)
	case !slices.Contains([]NoiseReduction{NROff, CompanderEncode, CompanderDecode, SlidingEncode, SlidingDecode}, t.NoiseReduction):
		return fmt.Sprintf("noise reduction %q", t.NoiseReduction)
	}
	return ""
}

// overdriven refuses levels at which the cubic of the tape would turn down again: past
// a·A² = 4/9 its fundamental falls.
func (r *Recording) overdriven(t RecordTrack) string {
	a, _ := t.cubic()
	for _, part := range r.Programme.Parts {
		for track := 1; track <= r.Programme.Tracks; track++ {
			sum := 0.0
			for _, s := range t.encoded(part.On(track)) {
				if s.hz < TrebleHz {
					sum += math.Hypot(real(s.amp), imag(s.amp))
				}
			}
			if len(part.On(track)) <= mostProducts && a*sum*sum > 4.0/9 {
				return fmt.Sprintf("part %q overdrives a tape with 3 %% at %+.1f dB", part.Name, *t.MOLDB)
			}
		}
	}
	return ""
}
