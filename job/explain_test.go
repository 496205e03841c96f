package job_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"headstack/job"
	"headstack/measure"
	"headstack/programme"
	"headstack/signature"
)

// explainBench measures nothing and explains by telling what it was asked.
type explainBench struct {
	*job.Bench
	job   job.Job
	asked []signature.Options
	saw   []measure.Report
	fail  error
}

func newExplainBench(t *testing.T) *explainBench {
	x := &explainBench{}
	tell := func(rep measure.Report, opt signature.Options) (signature.Explanation, error) {
		x.asked, x.saw = append(x.asked, opt), append(x.saw, rep)
		return signature.Explanation{Method: fmt.Sprint(len(x.asked))}, x.fail
	}
	measured := func(_ context.Context, sources []measure.Source, opt measure.Options) (measure.Report, error) {
		var rep measure.Report
		for _, tr := range sources[0].Tracks {
			rep.Measures = append(rep.Measures, measure.Result{Name: "level", Track: tr, Conditions: measure.Conditions{SpeedCmS: opt.SpeedCmS, Capture: sources[0].Name}})
		}
		return rep, nil
	}
	b, j, _ := fenBench(t, job.BenchOptions{
		Measure: measured,
		MeasureProgramme: func(ctx context.Context, s []measure.Source, _ *programme.Programme, opt measure.Options) (measure.Report, error) {
			return measured(ctx, s, opt)
		},
		Explain: tell,
		Compare: func(before, after measure.Report, between string, opt signature.Options) (signature.Explanation, error) {
			x.saw = append(x.saw, before, after)
			return signature.Explanation{Method: between}, x.fail
		},
	})
	x.Bench, x.job = b, j
	return x
}

func (x *explainBench) take(t *testing.T, wav []byte, state measure.CaseState, tracks ...int) job.Entry {
	t.Helper()
	up := upload(wav)
	up.Name, up.Tracks, up.Case, up.SpeedCmS = fmt.Sprint(tracks), tracks, state, 9.525
	e, err := x.AddCapture(t.Context(), x.job.ID, up)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func tracksOf(rep measure.Report) []int {
	var out []int
	for _, r := range rep.Measures {
		out = append(out, r.Track)
	}
	slices.Sort(out)
	return out
}

func TestCapturesOfOneConditionAreExplainedTogether(t *testing.T) {
	x, wav := newExplainBench(t), fenWAV(t, 2)
	one := x.take(t, wav, measure.CaseClosed, 1, 2)
	x.take(t, wav, measure.CaseClosed, 3, 4)
	open := x.take(t, wav, measure.CaseOpen, 1, 2)
	again := x.take(t, wav, measure.CaseClosed, 1, 2)
	near := x.take(t, wav, measure.CaseClosed, 3, 4)

	for _, c := range []struct {
		seq  int64
		refs string
	}{
		{one.Seq, "capture 1 and capture 2"},
		{again.Seq, "capture 4 and capture 5"}, // the nearer of the two of tracks 3 and 4
		{open.Seq, "capture 3"},
		{near.Seq, "capture 4 and capture 5"},
	} {
		got, err := x.Explain(t.Context(), x.job.ID, c.seq)
		if err != nil || got.Refs() != c.refs {
			t.Errorf("entry %d: explained with %s, want %s (%v)", c.seq, got.Refs(), c.refs, err)
		}
	}
	if n := len(x.asked); n != 3 {
		t.Errorf("worked out %d times for 3 sets of captures", n)
	}
	opt := x.asked[0]
	// The definition says: six tracks, groups Ash and Birch, a gap of 1.5 µm.
	if len(opt.Geometry.Tracks) != 6 || len(opt.Groups) != 2 || opt.Groups[0].Name != "Ash" || opt.DesignGapUm != 1.5 ||
		opt.Tape == nil || opt.Tape.Name != "Fen 12 (short)" || opt.OwnRecording || opt.SpeedCmS != 9.525 {
		t.Errorf("options %+v", opt)
	}
	if got := tracksOf(x.saw[0]); !slices.Equal(got, []int{1, 2, 3, 4}) {
		t.Errorf("tracks %v", got)
	}

	all, err := x.ExplainJob(t.Context(), x.job.ID)
	if err != nil || len(all) != 2 || all[0].Refs() != "capture 1 and capture 2" || all[1].Refs() != "capture 3" {
		t.Errorf("the job: %+v, %v", all, err)
	}
}

func TestAProgrammeIsExplainedAsTheMachinesOwnRecording(t *testing.T) {
	x, wav := newExplainBench(t), fenWAV(t, 2)
	p, err := programme.New(programme.Options{Tracks: 2, SpeedCmS: 9.525})
	if err != nil {
		t.Fatal(err)
	}
	yaml, err := p.Encode()
	if err != nil {
		t.Fatal(err)
	}
	info, err := x.AddProgramme(t.Context(), "p.yaml", yaml)
	if err != nil {
		t.Fatal(err)
	}
	up := upload(wav)
	up.Tape, up.Programme, up.Tracks = "", info.ID, []int{1, 2}
	played, err := x.AddCapture(t.Context(), x.job.ID, up)
	if err != nil {
		t.Fatal(err)
	}
	up = upload(wav)
	up.Tape, up.Programme, up.Tracks, up.WhileRecording = "", info.ID, []int{1, 2}, true
	bleed, err := x.AddCapture(t.Context(), x.job.ID, up)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := x.Explain(t.Context(), x.job.ID, played.Seq); err != nil {
		t.Fatal(err)
	}
	if opt := x.asked[0]; !opt.OwnRecording || opt.Tape.Name != info.Name || opt.DesignGapUm != 1.5 {
		t.Errorf("options %+v", opt)
	}
	_, err = x.Explain(t.Context(), x.job.ID, bleed.Seq)
	if _, ok := errors.AsType[*job.UnexplainedError](err); !ok || !strings.Contains(err.Error(), "while the programme was recorded") {
		t.Errorf("bleed: %v", err)
	}
}

func TestCompareCaptures(t *testing.T) {
	x, wav := newExplainBench(t), fenWAV(t, 2)
	a := x.take(t, wav, measure.CaseClosed, 1, 2)
	b := x.take(t, wav, measure.CasePropped, 1, 2)
	other := x.take(t, wav, measure.CasePropped, 3, 4)
	got, err := x.CompareCaptures(t.Context(), x.job.ID, a.Seq, b.Seq, " pressing the shell")
	if err != nil || got.Between != "pressing the shell" || got.Explanation.Method != "pressing the shell" || got.Refs() != "capture 1 to capture 2" {
		t.Errorf("%+v, %v", got, err)
	}
	for name, pair := range map[string][2]int64{"itself": {a.Seq, a.Seq}, "no common track": {a.Seq, other.Seq}} {
		_, err := x.CompareCaptures(t.Context(), x.job.ID, pair[0], pair[1], "")
		if _, ok := errors.AsType[*job.InvalidError](err); !ok {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := x.CompareCaptures(t.Context(), x.job.ID, a.Seq, 99, ""); err == nil {
		t.Error("entry 99 is not there")
	} else if nf, ok := errors.AsType[*job.NotFoundError](err); !ok || len(nf.Nearest) != 3 {
		t.Errorf("entry 99: %v", err)
	}
}

func TestWhatCannotBeExplainedSaysWhy(t *testing.T) {
	x, wav := newExplainBench(t), fenWAV(t, 2)
	e := x.take(t, wav, measure.CaseClosed, 1, 2)
	x.fail = errors.New("no tone was measured")
	_, err := x.Explain(t.Context(), x.job.ID, e.Seq)
	if u, ok := errors.AsType[*job.UnexplainedError](err); !ok || u.Refs != "capture 1" || !errors.Is(err, x.fail) {
		t.Errorf("%v", err)
	}
	all, err := x.ExplainJob(t.Context(), x.job.ID)
	if err != nil || len(all) != 1 || all[0].Unexplained != "no tone was measured" {
		t.Errorf("%+v, %v", all, err)
	}
	x.fail = nil // an error is not held ready
	if _, err := x.Explain(t.Context(), x.job.ID, e.Seq); err != nil {
		t.Error(err)
	}
}
