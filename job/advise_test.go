package job_test

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
)

func TestAdviceIsAskedForWithWhatIsAtHand(t *testing.T) {
	var gotEv diagnosis.Evidence
	var gotNow diagnosis.Situation
	fails := errors.New("check 9 cannot be understood")
	var fail error
	b, _, _ := bench(t, job.BenchOptions{Advise: func(_ context.Context, e *diagnosis.Engine, ev diagnosis.Evidence, now diagnosis.Situation) (*diagnosis.Advice, error) {
		if e == nil {
			t.Error("no engine")
		}
		gotEv, gotNow = ev, now
		return &diagnosis.Advice{
			Suspects: []diagnosis.SuspectStage{{Stage: "C31"}}, Cleared: []diagnosis.ClearedStage{{Stage: "H"}},
			Actions: []diagnosis.Step{{ID: "x"}}, Unproven: []diagnosis.Unproven{{Work: "work 1"}},
		}, fail
	}})
	j := openJob(t, b)
	rec(t, b, j.ID, opened("lid"))
	rec(t, b, j.ID, job.Entry{Reading: &job.Reading{TestPoint: "TP21-a", Value: 1, Unit: "V", Instrument: "meter", Session: "evening"}})
	a, v, err := b.Advise(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(diagnosis.Situation{Open: []string{"lid"}, Instrument: "meter", Session: "evening"}, gotNow); diff != "" {
		t.Errorf("situation (-want +got):\n%s", diff)
	}
	if len(gotEv.Readings) != 1 || gotEv.Readings[0].Case != measure.CasePropped || v.Job.ID != j.ID {
		t.Errorf("evidence %+v, view of %s", gotEv, v.Job.ID)
	}
	// No list that the contract names is null, however little there is.
	text, err := json.Marshal(a)
	if err != nil || strings.Contains(string(text), "null") {
		t.Errorf("%s (%v)", text, err)
	}
	fail = fails
	if _, _, err := b.Advise(t.Context(), j.ID); !errors.Is(err, fails) || !strings.Contains(err.Error(), j.ID) {
		t.Errorf("error %v, want %v with the job", err, fails)
	}
}

func TestForeseenIsWhatIsWorthALine(t *testing.T) {
	p := func(outcome string, p float64) diagnosis.Prediction {
		return diagnosis.Prediction{Outcome: outcome, Probability: p}
	}
	for _, c := range []struct{ list, want []diagnosis.Prediction }{
		{nil, nil},
		{[]diagnosis.Prediction{p("works", 0.7), p("dull", 0.3)}, []diagnosis.Prediction{p("works", 0.7), p("dull", 0.3)}},
		{[]diagnosis.Prediction{p("works", 0.9), p("a", 1.0/64), p("dull", 0.07), p("b", 1.0/64)}, []diagnosis.Prediction{p("works", 0.9), p("dull", 0.07), p("anything else", 1.0/32)}},
		{[]diagnosis.Prediction{p("works", 0.995), p("a", 0.005)}, []diagnosis.Prediction{p("works", 0.995)}},
	} {
		if diff := cmp.Diff(c.want, job.Foreseen(c.list)); diff != "" {
			t.Errorf("(-want +got):\n%s", diff)
		}
	}
}
