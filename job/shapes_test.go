package job_test

import (
	"context"
	"errors"
	"slices"
	"testing"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
	"headstack/programme"
	"headstack/signature"
)

// weighBench is an explainBench whose fit tells what it was asked and finds spacing on
// track 1.
type weighBench struct {
	explainBench
	weighed [][]int // tracks of each report that was weighed
	fail    error
}

func newWeighBench(t *testing.T) *weighBench {
	x := &weighBench{}
	measured := func(_ context.Context, sources []measure.Source, opt measure.Options) (measure.Report, error) {
		var rep measure.Report
		for _, tr := range sources[0].Tracks {
			for _, name := range []string{"level", "response"} {
				rep.Measures = append(rep.Measures, measure.Result{Name: name, Track: tr, ToneHz: 315, Unit: "dB", Conditions: measure.Conditions{SpeedCmS: opt.SpeedCmS}})
			}
		}
		return rep, nil
	}
	b, j, _ := fenBench(t, job.BenchOptions{
		Measure: measured,
		MeasureProgramme: func(ctx context.Context, s []measure.Source, _ *programme.Programme, opt measure.Options) (measure.Report, error) {
			return measured(ctx, s, opt)
		},
		Likelihoods: func(rep measure.Report, opt signature.Options) (signature.Evidence, error) {
			tracks := slices.Compact(tracksOf(rep))
			x.weighed = append(x.weighed, tracks)
			ev := signature.Evidence{Track: make([]map[signature.Cause]float64, len(opt.Geometry.Tracks))}
			for _, tr := range tracks {
				ev.Track[tr-1] = map[signature.Cause]float64{signature.Spacing: -5, signature.HighCorner: -5}
			}
			ev.Track[0] = map[signature.Cause]float64{signature.Spacing: 40, signature.HighCorner: 0}
			return ev, x.fail
		},
	})
	x.Bench, x.job = b, j
	return x
}

func (x *weighBench) evidence(t *testing.T) diagnosis.Evidence {
	t.Helper()
	v, err := x.View(t.Context(), x.job.ID)
	if err != nil {
		t.Fatal(err)
	}
	ev, err := x.ShapedEvidence(t.Context(), v)
	if err != nil {
		t.Fatal(err)
	}
	return ev
}

func TestCapturesOfOneConditionAreWeighedTogether(t *testing.T) {
	x, wav := newWeighBench(t), fenWAV(t, 2)
	x.take(t, wav, measure.CaseClosed, 1, 2)
	x.take(t, wav, measure.CaseClosed, 3, 4)
	x.take(t, wav, measure.CaseOpen, 1, 2)
	x.take(t, wav, measure.CaseClosed, 1, 2) // again
	ev := x.evidence(t)
	if len(ev.Measures) != 4 {
		t.Fatalf("%d captures", len(ev.Measures))
	}
	s := func(i int) *signature.Evidence { return ev.Measures[i].Shapes }
	if s(0) == nil || s(0) != s(1) || s(2) == nil || s(2) == s(0) || s(3) == nil || s(3) == s(0) {
		t.Errorf("shapes %p %p %p %p: want one for captures 1 and 2, one each for the others", s(0), s(1), s(2), s(3))
	}
	want := [][]int{{1, 2, 3, 4}, {1, 2}, {1, 2}}
	if len(x.weighed) != 3 || !slices.EqualFunc(x.weighed, want, slices.Equal) {
		t.Errorf("weighed %v, want %v", x.weighed, want)
	}
	if again := x.evidence(t); len(x.weighed) != 3 || again.Measures[0].Shapes != s(0) {
		t.Errorf("what was weighed is weighed again: %v", x.weighed)
	}
	x.take(t, wav, measure.CaseClosed, 5, 6)
	if ev := x.evidence(t); len(x.weighed) != 4 || len(x.weighed[3]) != 6 || ev.Measures[4].Shapes != ev.Measures[0].Shapes {
		t.Errorf("a further capture of the same kind: weighed %v", x.weighed)
	}
}

func TestDiagnoseWeighsShapes(t *testing.T) {
	x, wav := newWeighBench(t), fenWAV(t, 2)
	x.take(t, wav, measure.CaseClosed, 1, 2)
	head := func() diagnosis.StageState {
		v, _, err := x.Diagnose(t.Context(), x.job.ID)
		if err != nil {
			t.Fatal(err)
		}
		i := slices.IndexFunc(v.Stages, func(s diagnosis.StageState) bool { return s.Part == "H-1" })
		return v.Stages[i]
	}
	if h := head(); h.Status != diagnosis.Suspect || len(h.AccusedBy) == 0 || h.AccusedBy[0].Ref != "capture 1" {
		t.Errorf("the fit found spacing, but H-1 is %s, accused by %v", h.Status, h.AccusedBy)
	}
}

// A fit that fails leaves the figures, and is not tried again for the same captures.
func TestAFailedFitLeavesTheFigures(t *testing.T) {
	x, wav := newWeighBench(t), fenWAV(t, 2)
	x.fail = errors.New("nothing to weigh")
	x.take(t, wav, measure.CaseClosed, 1, 2)
	for range 2 {
		ev := x.evidence(t)
		if len(ev.Measures) != 1 || ev.Measures[0].Shapes != nil || len(ev.Measures[0].Results) != 4 || len(x.weighed) != 1 {
			t.Errorf("%+v, weighed %v", ev.Measures, x.weighed)
		}
	}
}
