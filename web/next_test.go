package web

import (
	"context"
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/job/memory"
	"headstack/measure"
)

// slowWords is a bench whose verdict and advice come when they are let.
type slowWords struct {
	*job.Bench
	gate chan struct{}
}

func (b *slowWords) Diagnose(ctx context.Context, id string) (*diagnosis.Verdict, *job.View, error) {
	select {
	case <-b.gate:
	case <-ctx.Done():
		return nil, nil, ctx.Err()
	}
	return b.Bench.Diagnose(ctx, id)
}

// What to do next is on the page and at the API before the words are there, which the page
// says are being worked out; then it says them.
func TestWhatIsNextComesBeforeTheWords(t *testing.T) {
	b := &slowWords{job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{}), make(chan struct{})}
	id := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand", Case: measure.CaseClosed})).ID
	must(b.RecordCheck(t.Context(), id, job.Check{Function: "play", Key: "4", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomWeak}, "", ""))
	s := newServer(b, Options{Patience: time.Minute})
	h := s.handler()
	e := must(b.RecordCheck(t.Context(), id, job.Check{Function: "play", Key: "2", Outcome: diagnosis.Works}, "", ""))
	path := get(t, h, "/jobs/"+id+"/path").Body.String()
	_, card, _ := strings.Cut(path, `<aside id="next"`)
	first, _, err := b.Next(t.Context(), id)
	if err != nil || len(first.Advice.Actions) == 0 {
		t.Fatal(err)
	}
	if strings.Contains(card, "data-working") || !strings.Contains(parse(t, path).text, first.Advice.Actions[0].Text) {
		t.Errorf("the card is not there before the words: %.400s", card)
	}
	answer := savedAt("/jobs/"+id, e)
	page := get(t, h, answer).Body.String()
	if !strings.Contains(page, `<section id="says" data-working>`) || !strings.Contains(page, `<section id="fix" data-working>`) || !strings.Contains(parse(t, page).text, "The words are being worked out") {
		t.Error("the page does not say that its words are to come")
	}
	var quick, whole diagnosis.Advice
	for path, to := range map[string]*diagnosis.Advice{"/next?reasons=later": &quick, "/next": &whole} {
		w := get(t, h, "/api/v1/jobs/"+id+path)
		if err := json.Unmarshal(w.Body.Bytes(), to); w.Code != http.StatusOK || err != nil {
			t.Fatalf("%s: %d, %v", path, w.Code, err)
		}
	}
	if len(quick.Cleared) != 0 || len(whole.Cleared) == 0 || len(quick.Actions) == 0 ||
		string(must(json.Marshal(quick.Actions))) != string(must(json.Marshal(whole.Actions))) {
		t.Errorf("%d actions and %d cleared at first, %d and %d in the end", len(quick.Actions), len(quick.Cleared), len(whole.Actions), len(whole.Cleared))
	}
	if w := get(t, h, "/api/v1/jobs/"+id+"/next?reasons=never"); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("reasons=never: %d", w.Code)
	}
	close(b.gate)
	v := must(s.verdicts.of(t.Context(), b, must(b.View(t.Context(), id))))
	page = get(t, h, answer).Body.String()
	if strings.Contains(page, "data-working") || len(v.Sentences) == 0 || !strings.Contains(parse(t, page).text, v.Sentences[0]) {
		t.Errorf("the words are there and the page does not say %q", v.Sentences)
	}
}
