package web

import (
	"strings"
	"testing"

	"headstack/diagnosis"
	"headstack/job"
)

// TestAJobIsClosedOnItsPage with one confirmation, put right and opened again.
func TestAJobIsClosedOnItsPage(t *testing.T) {
	b := newStoryBench()
	b.verdict = quietVerdict
	s := newStoryServer(b)
	j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
	root := "/jobs/" + j.ID
	must(b.Record(t.Context(), j.ID, job.Entry{Check: &job.Check{Function: "record-play", Key: "1", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomThin}}))
	must(b.Record(t.Context(), j.ID, job.Entry{Remark: "open, replaced", Work: &job.Work{Kind: diagnosis.WorkRepair, Stage: "C31-a"}}))
	w := get(t, s.handler(), root+"/closing")
	p := parse(t, w.Body.String())
	checkMarkup(t, p, false)
	for _, want := range []string{`name="part-0" value="C31-a"`, `<option selected>open</option>`, `value="thin" checked`} {
		if !strings.Contains(w.Body.String(), want) {
			t.Errorf("the page does not propose %s", want)
		}
	}
	if w := send(t, s, root+"/closing", "complaint", "thin", "part-0", "C31-a", "cause-0", "open", "work-0", "repair", "how-0", "proven", "part-1", "", "how-1", "not"); w.Code != 303 {
		t.Fatalf("closing: %d %s", w.Code, w.Body)
	}
	v := must(b.View(t.Context(), j.ID))
	if e := v.Closing(); e == nil || len(e.Closing.Faults) != 1 || e.Closing.Faults[0].Key != "a" || len(e.Closing.Complaint) != 1 {
		t.Fatalf("kept %+v", e)
	}
	// Refused with a whole page that keeps what was typed.
	w = send(t, s, root+"/closing", "part-0", "C31-b", "cause-0", "moth", "how-0", "proven", "work-0", "repair")
	if w.Code != 422 || !strings.Contains(w.Body.String(), "C31-b") || !strings.Contains(parse(t, w.Body.String()).text, "is none of the faults of C31-b") {
		t.Errorf("refusal: %d", w.Code)
	}
	if w := send(t, s, root+"/closing", "part-0", "H-4", "how-0", "unproven", "work-0", "clean"); w.Code != 303 {
		t.Errorf("putting right: %d", w.Code)
	}
	v = must(b.View(t.Context(), j.ID))
	page := parse(t, get(t, s.handler(), root+"/closing").Body.String())
	if !strings.Contains(page.text, "The job is closed") || !strings.Contains(page.text, "H-4 (cure unproven)") {
		t.Errorf("%.400s", page.text)
	}
	if w := get(t, s.handler(), root+"/entries/"+itoa(int(v.Closing().Seq))); w.Code != 303 || !strings.HasSuffix(w.Header().Get("Location"), "/closing") {
		t.Errorf("correcting it elsewhere: %d", w.Code)
	}
	send(t, s, root+"/entries/"+itoa(int(v.Closing().Seq))+"/withdraw", "back", root+"/closing")
	if v := must(b.View(t.Context(), j.ID)); v.Closing() != nil {
		t.Error("still closed")
	}
}

func TestWhatWasFoundSoFar(t *testing.T) {
	b := newStoryBench()
	s := newStoryServer(b)
	page := func() string {
		w := get(t, s.handler(), "/library/found/hexastrand")
		p := parse(t, w.Body.String())
		checkMarkup(t, p, false)
		return strings.ReplaceAll(p.text, "\u2009", " ")
	}
	if text := page(); !strings.Contains(text, "0 closed") || !strings.Contains(text, "priors of the definition") {
		t.Errorf("before: %.500s", text)
	}
	for i := range 3 {
		j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
		c := &job.Closing{Complaint: []diagnosis.Symptom{"thin"}}
		if i > 0 {
			c.Faults = []job.ClosedFault{{Stage: "C31-a", Cause: "open", Proven: true}}
		}
		must(b.Record(t.Context(), j.ID, job.Entry{Closing: c}))
	}
	text := page()
	for _, want := range []string{"3 closed", "priors from 3 machines of this type", "2 of 3", "2 of 6", "open 2", "thin 2", "5.2 % (", `"open" is 46 %`} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in %.1500s", want, text)
		}
	}
	if w := get(t, s.handler(), "/library/found/none"); w.Code != 404 {
		t.Errorf("an unknown type: %d", w.Code)
	}
}

func TestAPIOfClosingsAndCounts(t *testing.T) {
	b := newStoryBench()
	c := newClient(t, newStoryServer(b).handler())
	j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand", Owner: "a theatre"}))
	root := "/jobs/" + j.ID
	if got := c.get(root+"/closing", 200, "ClosingAnswer"); got["closed"] != false {
		t.Errorf("%v", got)
	}
	c.json("POST", root+"/closing", o{"faults": []o{{"part": "C31-a", "cause": "moth", "proven": true}}}, 422, "Problem")
	c.json("POST", root+"/closing", o{"complaint": []string{"thin"}, "faults": []o{{"part": "C31-a", "cause": "open", "proven": true, "work": "repair"}}}, 201, "Entry")
	c.json("POST", root+"/closing", o{"faults": []o{{"stage": "C31", "key": "b", "proven": true}}, "remark": "it was the other"}, 201, "Entry")
	if got := c.get(root+"/closing", 200, "ClosingAnswer"); got["closed"] != true {
		t.Errorf("%v", got)
	}
	c.get(root, 200, "View")
	c.get("/definitions/hexastrand/found", 200, "Found")
	c.get("/definitions/none/found", 404, "Problem")
	c.get("/counts", 200, "Counts")
	file := must(b.OwnCounts(t.Context())).Encode()
	if strings.Contains(string(file), "theatre") {
		t.Error("an owner travels")
	}
	other := newClient(t, newStoryServer(newStoryBench()).handler())
	if got := other.call("POST", "/counts?name=theirs.json", "application/json", file, 201, "MergedCounts"); got["again"] != false {
		t.Errorf("%v", got)
	}
	if got := other.call("POST", "/counts", "application/json", file, 201, "MergedCounts"); got["again"] != true {
		t.Errorf("%v", got)
	}
	if got := other.call("POST", "/counts?name=x.json", "application/json", []byte(`{"counts": 1, "owner": 1}`), 422, "Problem"); !strings.Contains(got["detail"].(string), "x.json:1:") {
		t.Errorf("%v", got["detail"])
	}
	other.get("/definitions/hexastrand/found", 200, "Found")
	c.call("POST", "/counts", "application/json", file, 422, "Problem")
}
