package job_test

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"headstack/bias"
	"headstack/diagnosis"
	"headstack/job"
	"headstack/lineup"
	"headstack/measure"
	"headstack/programme"
	"headstack/trim"
)

// stairway plays what a track gives whose treble peaks at a position of its bias trim.
type stairway struct {
	plan *bias.Plan
	peak float64
	miss int // a step that reads 4 dB low, from 1; 0: none
}

// fall is the true fall past the peak, dB, at a position.
func (w *stairway) fall(p float64) float64 {
	law := w.plan.Tracks[0].Trim.Law
	u := law.DB(p) - law.DB(w.peak)
	return 0.33 * u * u
}

func (w *stairway) measure(_ context.Context, src []measure.Source, p *programme.Programme, opt measure.Options) (measure.Report, error) {
	var rep measure.Report
	for _, t := range w.plan.Tracks {
		if !slices.Contains(src[0].Tracks, t.Trim.Track) {
			continue
		}
		var treble, low []measure.Point
		law := t.Trim.Law
		zero := 0.0
		for i, x := range t.Positions {
			off := 0.06 * float64(i%3-1)
			u := law.DB(x) - law.DB(w.peak) - 2
			y := -0.08*u*u + off/2
			if i == 0 {
				zero = y
			}
			h := -1 - w.fall(x) - off
			if i+1 == w.miss {
				h -= 4
			}
			treble = append(treble, measure.Point{X: float64(i + 1), Y: h - zero, Lo: h - zero - 0.15, Hi: h - zero + 0.15})
			low = append(low, measure.Point{X: float64(i + 1), Y: y - zero, Lo: y - zero - 0.1, Hi: y - zero + 0.1})
		}
		part := slices.IndexFunc(p.Parts, func(x programme.Part) bool { return x.Kind == programme.Staircase })
		for hz, pts := range map[float64][]measure.Point{w.plan.Want.Tones.TrebleHz: treble, w.plan.Want.Tones.LowHz: low} {
			rep.Traces = append(rep.Traces, measure.Trace{Name: "staircase", Track: t.Trim.Track, Section: p.Parts[part].Name, ToneHz: hz, Points: pts})
		}
	}
	return rep, nil
}

// replay brings the replay of a plan as a capture.
func replay(t *testing.T, b *job.Bench, id string, e job.Entry, tracks ...int) job.Entry {
	t.Helper()
	got, err := b.AddCapture(t.Context(), id, job.CaptureUpload{Name: "replay.wav", Data: strings.NewReader(string(shortWAV(t))), Programme: e.Staircase.ProgrammeSHA, Tracks: append(tracks, 0)})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// From the plan over the replay to the turn, and to a step that is done: on an open-reel
// recorder the peak, the setting with its interval, how far to turn from where the trim stands,
// what a second staircase adds, and what a turn to the setting makes of the step.
func TestBiasStaircaseInTheRecord(t *testing.T) {
	w := &stairway{peak: 0.42}
	b, _, _ := bench(t, job.BenchOptions{MeasureProgramme: w.measure})
	j := openReel(t, b)
	const step = "bias/B38/3"
	plan := func() job.Entry {
		e, p, err := b.PlanStaircase(t.Context(), j.ID, job.StaircaseOptions{SpeedCmS: 38.1, Tracks: []int{3}, Now: map[int]float64{3: 0.5}})
		if err != nil {
			t.Fatal(err)
		}
		w.plan = p
		return e
	}
	e := plan()
	if e.Ref != "staircase 1" || e.Staircase.Tracks[0].Bias.ID != "VR12-3" || len(e.Staircase.Tracks[0].Positions) != 7 {
		t.Fatalf("planned %s: %+v", e.Ref, e.Staircase)
	}
	s := stepOf(t, lineUp(t, b, j.ID), step)
	if st := s.Staircase; st == nil || st.Plan != "staircase 1" || st.Curve != nil || st.Capture != "" || s.Turn != nil || st.Round != 1 {
		t.Fatalf("before the replay %+v", st)
	}
	if s := stepOf(t, lineUp(t, b, j.ID), "record_level/RL38/3"); strings.Contains(s.Source.Programme, "staircase") {
		t.Errorf("the staircase names the part %q of %s", s.Source.Programme, s.ID)
	}
	replay(t, b, j.ID, e, 3)
	l := lineUp(t, b, j.ID)
	s = stepOf(t, l, step)
	st := s.Staircase
	if st.Curve == nil || st.Curve.Verdict != bias.Peak || st.Setting.At == nil || st.More == nil || st.Refused != "" {
		t.Fatalf("after the replay %+v", st)
	}
	if p := st.Curve.Peak; math.Abs(p.Position-w.peak) > 0.04 || p.Lo > w.peak || p.Hi < w.peak {
		t.Errorf("peak at %.3f (%.3f to %.3f), truly %.2f", p.Position, p.Lo, p.Hi, w.peak)
	}
	if f := w.fall(st.Setting.At.Position); math.Abs(f-3) > 0.6 {
		t.Errorf("at the setting it falls by %.2f dB, want 3", f)
	}
	// What it says of where the trim stands is the reading of the step, as found.
	found := l.Log[s.Standing.Found].Result
	if truth := w.fall(0.5); s.Found != "capture 1" || found.Lo > truth || found.Hi < truth {
		t.Errorf("read %+v by %s, truly %.2f", found, s.Found, truth)
	}
	// 270° of travel, clockwise raises.
	want := (st.Setting.At.Position - 0.5) * 270
	if s.Turn == nil || s.Turn.Do != trim.DoTurn || math.Abs(s.Turn.By-want) > 1e-9 || !(s.Turn.Lo < want && want < s.Turn.Hi) || s.Turn.AfterChance < 0.5 || !strings.Contains(s.Turn.Text, "o'clock") {
		t.Fatalf("turn %+v, want %.1f°", s.Turn, want)
	}
	// A second staircase is planned where it tells most, and fitted with the first.
	e2 := plan()
	if slices.Equal(e2.Staircase.Tracks[0].Positions, e.Staircase.Tracks[0].Positions) {
		t.Error("the second staircase is the first again")
	}
	replay(t, b, j.ID, e2, 3)
	two := stepOf(t, lineUp(t, b, j.ID), step).Staircase
	if len(two.Passes) != 2 || two.Setting.At.Hi-two.Setting.At.Lo >= st.Setting.At.Hi-st.Setting.At.Lo {
		t.Errorf("%d staircases; the setting known to ±%.3f, with one ±%.3f", len(two.Passes), (two.Setting.At.Hi-two.Setting.At.Lo)/2, (st.Setting.At.Hi-st.Setting.At.Lo)/2)
	}
	// Turned to the setting: nothing more to turn, and the step reads by the curve.
	s = stepOf(t, lineUp(t, b, j.ID), step)
	rec(t, b, j.ID, job.Entry{Turn: &job.Turn{Trim: "VR12-3", By: s.Turn.By, Unit: s.Turn.Unit}})
	l = lineUp(t, b, j.ID)
	s = stepOf(t, l, step)
	if s.Turn == nil || s.Turn.Do == trim.DoTurn || math.Abs(s.Turn.Now.Value) > 0.3 || math.Abs(s.Staircase.Position-two.Setting.At.Position) > 1e-9 {
		t.Errorf("at the setting: %+v", s.Turn)
	}
	last := slices.IndexFunc(l.Log, func(x lineup.Event) bool {
		return x.Kind == lineup.Measured && x.Step == step && x.Result.Warnings != nil
	})
	if last < 0 || math.Abs(l.Log[last].Result.Value-3) > 0.3 {
		t.Error("the turn to the setting gives no reading of the step")
	}
	// A figure that is read there counts for more, and one that contradicts the curve is asked
	// for again; a turn that nobody noted ends it.
	rec(t, b, j.ID, figure(step, 1, 0.1, "dB"))
	if s = stepOf(t, lineUp(t, b, j.ID), step); s.Turn == nil || s.Turn.Do != trim.DoRead || strings.Contains(s.Turn.Text, "staircase") {
		t.Errorf("read at 1 dB of 3: %+v", s.Turn)
	}
	rec(t, b, j.ID, job.Entry{Turn: &job.Turn{Trim: "VR12-3"}})
	if s = stepOf(t, lineUp(t, b, j.ID), step); s.Staircase.Now != nil || !math.IsNaN(s.Staircase.Position) {
		t.Errorf("after a turn that nobody noted: %+v", s.Staircase.Now)
	}
}

// What is wrong is said: another track, a plan of no bias trim, a step that was set elsewhere
// and is corrected, a repair that ends what was found.
func TestBiasStaircaseGoesWrong(t *testing.T) {
	w := &stairway{peak: 0.4}
	b, _, _ := bench(t, job.BenchOptions{MeasureProgramme: w.measure})
	j := openReel(t, b)
	const step = "bias/B38/3"
	e, p, err := b.PlanStaircase(t.Context(), j.ID, job.StaircaseOptions{Tracks: []int{3}})
	if err != nil {
		t.Fatal(err)
	}
	w.plan = p
	if _, _, err := b.PlanStaircase(t.Context(), j.ID, job.StaircaseOptions{Tracks: []int{17}}); !invalid(err) {
		t.Errorf("track 17: %v", err)
	}
	if _, _, err := b.PlanStaircase(t.Context(), j.ID, job.StaircaseOptions{SpeedCmS: 9.5}); !invalid(err) {
		t.Errorf("9.5 cm/s: %v", err)
	}
	if _, _, err := b.PlanStaircase(t.Context(), j.ID, job.StaircaseOptions{Steps: 2}); !invalid(err) {
		t.Errorf("two steps: %v", err)
	}
	for name, spoil := range map[string]func(s *job.Staircase){
		"no bias trim":  func(s *job.Staircase) { s.Tracks[0].Trim = "RH38" },
		"falling":       func(s *job.Staircase) { s.Tracks[0].Positions[3] = 0 },
		"three steps":   func(s *job.Staircase) { s.Tracks[0].Positions = s.Tracks[0].Positions[:3] },
		"no programme":  func(s *job.Staircase) { s.ProgrammeSHA = strings.Repeat("0", 64) },
		"no such speed": func(s *job.Staircase) { s.Want.Tones.SpeedCmS = 4.76 },
	} {
		bad := e.Clone().Staircase
		spoil(bad)
		if _, err := b.Record(t.Context(), j.ID, job.Entry{Staircase: bad}); err == nil {
			t.Errorf("%s was kept", name)
		}
	}
	replay(t, b, j.ID, e, 5)
	if st := stepOf(t, lineUp(t, b, j.ID), step).Staircase; st.Capture != "" || st.Curve != nil {
		t.Errorf("the replay of track 5 was taken for track 3: %+v", st)
	}
	replay(t, b, j.ID, e, 3)
	before := stepOf(t, lineUp(t, b, j.ID), step).Staircase
	// Each position higher than planned throughout: the peak follows.
	moved := e.Clone().Staircase
	for i := range moved.Tracks[0].Positions {
		moved.Tracks[0].Positions[i] += 0.03
	}
	if _, err := b.Correct(t.Context(), j.ID, e.Seq, job.Entry{Staircase: moved}); err != nil {
		t.Fatal(err)
	}
	after := stepOf(t, lineUp(t, b, j.ID), step).Staircase
	if d := after.Curve.Peak.Position - before.Curve.Peak.Position; math.Abs(d-0.03) > 0.01 {
		t.Errorf("the peak moved by %.3f, want 0.03", d)
	}
	rec(t, b, j.ID, job.Entry{Work: &job.Work{Kind: diagnosis.WorkRepair, Stage: "K8", Key: "3"}})
	if s := stepOf(t, lineUp(t, b, j.ID), step); s.Staircase.Stale == "" || s.Turn != nil && strings.Contains(s.Turn.Text, "staircase") {
		t.Errorf("after a repair: %+v, %+v", s.Staircase.Stale, s.Turn)
	}
}

func invalid(err error) bool {
	_, ok := errors.AsType[*job.InvalidError](err)
	return ok
}
