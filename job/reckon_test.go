package job_test

import (
	"context"
	"errors"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"headstack/diagnosis"
	"headstack/job"
)

// What comes first is the same as what verdict and advice say later, but for the words,
// and each is worked out once for all who ask.
func TestNextComesBeforeItsReasons(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	rec(t, b, j.ID, job.Entry{Check: &job.Check{Function: "play", Key: "4", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomDull}})
	rec(t, b, j.ID, job.Entry{Check: &job.Check{Function: "play", Key: "2", Outcome: diagnosis.Works}})

	gone, leave := context.WithCancel(t.Context())
	leave()
	if _, _, err := b.Next(gone, j.ID); !errors.Is(err, context.Canceled) {
		t.Errorf("nobody waits: %v", err)
	}
	var wg sync.WaitGroup
	verdicts := make([]*diagnosis.Verdict, 4)
	for i := range verdicts { // they wait for each other's work; who gave up above left none
		wg.Go(func() {
			verdicts[i], _, _ = b.Diagnose(t.Context(), j.ID)
		})
	}
	n, v, err := b.Next(t.Context(), j.ID)
	if err != nil || v.Job.ID != j.ID {
		t.Fatal(err)
	}
	wg.Wait()
	for _, x := range verdicts {
		if x == nil || x != verdicts[0] {
			t.Fatal("the verdict was worked out more than once, or not at all")
		}
	}
	advice, _, err := b.Advise(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	if len(n.Advice.Actions) == 0 || len(advice.Cleared) == 0 || len(n.Advice.Cleared) != 0 {
		t.Errorf("%d actions, %d cleared with reasons and %d without", len(n.Advice.Actions), len(advice.Cleared), len(n.Advice.Cleared))
	}
	want := *advice
	want.Cleared, want.Suspects = []diagnosis.ClearedStage{}, append([]diagnosis.SuspectStage{}, advice.Suspects...)
	for i := range want.Suspects {
		want.Suspects[i].By, want.Suspects[i].Why = []string{}, ""
	}
	if diff := cmp.Diff(&want, n.Advice); diff != "" {
		t.Errorf("before its reasons (-advice +next):\n%s", diff)
	}
	if diff := cmp.Diff(verdicts[0].Stages, n.Marks.Stages); diff != "" {
		t.Errorf("marks (-verdict +next):\n%s", diff)
	}
	// What is changed in an answer changes no other.
	n.Advice.Actions[0].ID = "changed"
	again, _, err := b.Next(t.Context(), j.ID)
	if err != nil || again.Advice.Actions[0].ID == "changed" {
		t.Errorf("what is kept was changed, %v", err)
	}

	// A control is no evidence, an opening is for the advice alone, a check is for all.
	same := func(what string, verdict, marks bool) {
		t.Helper()
		x, _, err := b.Diagnose(t.Context(), j.ID)
		n, _, err2 := b.Next(t.Context(), j.ID)
		if err := errors.Join(err, err2); err != nil {
			t.Fatal(err)
		}
		if (x == verdicts[0]) != verdict || (n.Marks == again.Marks) != marks {
			t.Errorf("%s: the verdict is kept %v, the marks %v", what, x == verdicts[0], n.Marks == again.Marks)
		}
	}
	rec(t, b, j.ID, job.Entry{Check: &job.Check{Item: v.Sheet[0].Item, Outcome: diagnosis.Works}})
	same("a control", true, true)
	rec(t, b, j.ID, opened("lid"))
	same("an opening", true, true)
	inside, _, err := b.Advise(t.Context(), j.ID)
	if err != nil || cmp.Equal(inside.Actions, advice.Actions) {
		t.Errorf("the lid is open and the advice is the same, %v", err)
	}
	rec(t, b, j.ID, job.Entry{Check: &job.Check{Function: "play", Key: "3", Outcome: diagnosis.Works}})
	same("a check", false, false)
}
