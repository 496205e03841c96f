package web

import (
	"context"
	"errors"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
)

// send sends a form of names and values.
func send(t *testing.T, s *server, path string, fields ...string) *httptest.ResponseRecorder {
	t.Helper()
	form := url.Values{}
	for i := 0; i < len(fields); i += 2 {
		form.Set(fields[i], fields[i+1])
	}
	return post(t, s.handler(), path, form)
}

func TestOpeningsByOneTap(t *testing.T) {
	b := newStoryBench()
	b.verdict = quietVerdict
	s := newStoryServer(b)
	j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand", Case: measure.CaseClosed}))
	root := "/jobs/" + j.ID
	if w := send(t, s, root+"/openings", "opening", "squeeze", "back", root+"/path?key=2"); w.Code != 303 || w.Header().Get("Location") != root+"/path?key=2&saved=1" {
		t.Errorf("%d to %q, want back to where the tap was", w.Code, w.Header().Get("Location"))
	}
	if v := must(b.View(t.Context(), j.ID)); !slices.Equal(v.Open, []string{"lid", "squeeze"}) || v.Case != measure.CasePropped {
		t.Errorf("open %q, case %q", v.Open, v.Case)
	}
	// A double tap is refused with a whole page that says what is open.
	p := parse(t, send(t, s, root+"/openings", "opening", "squeeze").Body.String())
	if !strings.Contains(p.text, "opening is open already") || !strings.Contains(p.text, "put back: Squeeze lifted off Tape") {
		t.Errorf("the page says %.600s", p.text)
	}
	if w := send(t, s, root+"/openings", "opening", "lid", "closed", "1"); w.Code != 303 || w.Header().Get("Location") != root+"/works?saved=2" {
		t.Errorf("%d to %q", w.Code, w.Header().Get("Location"))
	}
	if v := must(b.View(t.Context(), j.ID)); len(v.Open) != 0 || v.Case != measure.CaseClosed {
		t.Errorf("open %q, case %q", v.Open, v.Case)
	}
	if w := send(t, s, "/jobs/none/openings", "opening", "lid"); w.Code != 404 {
		t.Errorf("no such job: %d", w.Code)
	}
}

func TestAWorkIsRecordedAndPutRight(t *testing.T) {
	b := newStoryBench()
	b.verdict = quietVerdict
	s := newStoryServer(b)
	j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
	root := "/jobs/" + j.ID
	if w := send(t, s, root+"/works", "kind", "repair", "part", "C31-a", "with", "left from before", "found", "dried out, replaced", "minutes", "12,5", "case", "open"); w.Code != 303 {
		t.Fatalf("%d: %s", w.Code, w.Body)
	}
	last := func() job.Entry { v := must(b.View(t.Context(), j.ID)); return v.Entries[len(v.Entries)-1] }
	if e := last(); *e.Work != (job.Work{Kind: "repair", Stage: "C31", Key: "a"}) || e.Minutes != 12.5 || e.Remark != "dried out, replaced" || e.Case != measure.CaseOpen {
		t.Errorf("kept %+v, %+v", e, *e.Work)
	}
	// What was refused stands in the form again.
	for field, value := range map[string]string{"part": "C31-c", "minutes": "long", "kind": "bless"} {
		fields := []string{"kind", "repair", "part", "C31-a", "found", "cracked", "minutes", "3"}
		fields[slices.Index(fields, field)+1] = value
		w := send(t, s, root+"/works", fields...)
		p := parse(t, w.Body.String())
		if w.Code != 422 || !strings.Contains(p.text, "Not recorded") || !strings.Contains(w.Body.String(), `value="cracked"`) {
			t.Errorf("%s: %d, %.300s", field, w.Code, p.text)
		}
	}
	if e := last(); e.Ref != "work 1" {
		t.Errorf("a refused work was kept: %+v", e)
	}
	// Exchanged by its printed name, undone by a tap.
	send(t, s, root+"/works", "kind", "swap", "part", "RY1-3", "with", "RY1-5")
	w := get(t, s.handler(), root+"/works")
	for _, hidden := range []string{`name="key" value="3"`, `name="with" value="5"`, `name="back_again"`} {
		if !strings.Contains(w.Body.String(), hidden) {
			t.Errorf("the tap that undoes it has no %s", hidden)
		}
	}
	send(t, s, root+"/works", "kind", "swap", "stage", "RY1", "key", "3", "with", "5", "back_again", "1")
	if v := must(b.View(t.Context(), j.ID)); len(v.Swaps) != 0 || !v.Current[len(v.Current)-1].Work.Back {
		t.Errorf("swaps %+v", v.Swaps)
	}
	if w := send(t, s, root+"/entries/1", "kind", "repair", "part", "C31-b", "minutes", "9", "remark", "the other one", "case", "open"); w.Code != 303 {
		t.Errorf("correcting: %d", w.Code)
	}
	if e := last(); e.Corrects != 1 || e.Work.Key != "b" || e.Minutes != 9 || e.Remark != "the other one" {
		t.Errorf("corrected to %+v, %+v", e, e.Work)
	}
}

func TestProvokedChecksAndReadings(t *testing.T) {
	b := newStoryBench()
	b.verdict = quietVerdict
	s := newStoryServer(b)
	j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
	root := "/jobs/" + j.ID
	send(t, s, root+"/sheet", "function", "record-play", "key", "3", "outcome", "works", "provoked", "warm")
	send(t, s, root+"/readings", "point", "TP21/a", "value", "310m", "provoked", "pressed", "minutes", "4")
	v := must(b.View(t.Context(), j.ID))
	if len(v.Entries) != 2 || v.Entries[0].Check.Provoked != diagnosis.Warm || v.Entries[1].Reading.Provoked != diagnosis.Pressed || v.Entries[1].Minutes != 4 {
		t.Fatalf("%+v", v.Entries)
	}
	w := send(t, s, root+"/readings", "point", "TP21/a", "value", "310m", "minutes", "4x", "provoked", "cold")
	if w.Code != 422 || !strings.Contains(w.Body.String(), `<option value="cold" selected>`) || !strings.Contains(w.Body.String(), `value="4x"`) {
		t.Errorf("%d, what was typed is lost", w.Code)
	}
}

func TestInstrumentsOnThePages(t *testing.T) {
	b := newStoryBench()
	s := newStoryServer(b)
	w := send(t, s, "/library/instruments", "name", "Hand meter", "id", "dmm1", "kind", "true r.m.s.", "bandwidth", "20k", "ac", "1,5 %", "input", "10M", "capacitance", "100p", "leads_ohm", "0.3", "autorange", "1")
	if w.Code != 303 {
		t.Fatalf("%d: %s", w.Code, w.Body)
	}
	want := diagnosis.Instrument{ID: "dmm1", Name: "Hand meter", Kind: diagnosis.TrueRMS, BandwidthHz: 20e3, ACPercent: 1.5, InputOhm: 10e6, InputF: 100e-12, LeadsOhm: 0.3, Autorange: true}
	if got := must(b.Instruments(t.Context())); len(got) != 1 || got[0] != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
	w = send(t, s, "/jobs/"+j.ID+"/readings", "point", "TP21/a", "value", "310m", "instrument", "dmm1")
	if p := parse(t, get(t, s.handler(), w.Header().Get("Location")).Body.String()); !strings.Contains(p.text, "It changes range by itself") {
		t.Error("the reading that was kept does not say what it cannot tell")
	}
	if v := viewJSON(must(b.View(t.Context(), j.ID))); len(v.Entries[0].Reading.CannotTell) == 0 {
		t.Error("nor does the API")
	}
	for field, value := range map[string]string{"bandwidth": "20 kohm", "ac": "little", "name": "", "kind": "x"} {
		fields := []string{"name", "Scope", "kind", "scope", "bandwidth", "20M", "ac", "3", "leads", "x10 probe"}
		fields[slices.Index(fields, field)+1] = value
		w := send(t, s, "/library/instruments", fields...)
		if w.Code != 422 || !strings.Contains(w.Body.String(), `value="x10 probe"`) {
			t.Errorf("%s: %d, or what was typed is lost", field, w.Code)
		}
	}
}

func TestTheCardAsksForWhatTheStepIs(t *testing.T) {
	b, id := goodStory()
	advice := must(storyAdvice(nil))
	b.advice = func(*job.View) (*diagnosis.Advice, error) { return advice, nil }
	for name, c := range map[string]struct {
		step diagnosis.Step
		want []string
	}{
		"check":   {diagnosis.Step{Kind: diagnosis.StepCheck, Function: "record-play", Key: "3"}, []string{`name="function" value="record-play"`, `action="/jobs/job-0001/sheet"`}},
		"provoke": {diagnosis.Step{Kind: diagnosis.StepProvoke, Function: "play", Key: "3", Provoked: diagnosis.Pressed}, []string{`name="provoked" value="pressed"`, "pressed</legend>"}},
		"reading": {diagnosis.Step{Kind: diagnosis.StepReading, TestPoint: "TP21", Key: "a"}, []string{`name="point" value="TP21/a"`}},
		"clean":   {diagnosis.Step{Kind: diagnosis.StepClean, Stage: "H", Key: "5"}, []string{`name="kind" value="clean"`, `name="stage" value="H"`, "done: clean H-5"}},
		"swap":    {diagnosis.Step{Kind: diagnosis.StepSwap, Stage: "RY1", Key: "2", With: "4"}, []string{`name="with" value="4"`, "done: swap RY1-2 with RY1-4"}},
		"repair":  {diagnosis.Step{Kind: diagnosis.StepRepair, Stage: "C31", Key: "a"}, []string{"done: repair C31-a"}},
		"close": {diagnosis.Step{Kind: diagnosis.StepClose, Function: "play", Key: "2", Close: []string{"lid"}},
			[]string{`name="opening" value="lid"><input type="hidden" name="closed" value="1">`, `name="function" value="play"`, "a loom under tension"}},
		"something new": {diagnosis.Step{Kind: "listen", Text: "Listen."}, []string{"Listen."}},
	} {
		advice.Actions = []diagnosis.Step{c.step}
		s := newStoryServer(b)
		page := get(t, s.handler(), "/jobs/"+id+"/record").Body.String()
		_, card, _ := strings.Cut(page, `<aside id="next"`)
		for _, want := range c.want {
			if !strings.Contains(card, want) {
				t.Errorf("%s: the card has no %q in\n%s", name, want, card)
			}
		}
	}
	advice.Actions, advice.Stop = nil, diagnosis.Stop{Reached: true, Reason: "Everything that was faulty is put right and proved.", WrongFixProbability: 0.01}
	p := parse(t, get(t, newStoryServer(b).handler(), "/jobs/"+id).Body.String())
	if !strings.Contains(p.text, "Everything that was faulty is put right and proved.") || !strings.Contains(p.text, "A wrong fix: 1\u2009%") {
		t.Error("the end is not said")
	}
}

// Where there is no advice, the card says what the verdict does.
func TestTheCardWithoutAdvice(t *testing.T) {
	for name, advice := range map[string]func(*job.View) (*diagnosis.Advice, error){
		"fails":  func(*job.View) (*diagnosis.Advice, error) { return nil, errors.New("no") },
		"panics": func(*job.View) (*diagnosis.Advice, error) { panic("no such stage") },
	} {
		b, id := goodStory()
		b.advice = advice
		p := parse(t, get(t, newStoryServer(b).handler(), "/jobs/"+id).Body.String())
		if !strings.Contains(p.text, "Read TP21-a with group Ash fed at 0 dB.") {
			t.Errorf("%s: the card says nothing of the verdict's next action", name)
		}
	}
}

func TestAPageDoesNotWaitForSlowAdvice(t *testing.T) {
	b, id := goodStory()
	gate := make(chan struct{})
	runs := 0
	b.advice = func(v *job.View) (*diagnosis.Advice, error) { runs++; <-gate; return storyAdvice(v) }
	s := newServer(b, Options{Patience: time.Millisecond})
	must(s.verdicts.of(t.Context(), b, must(b.View(t.Context(), id))))
	w := get(t, s.handler(), "/jobs/"+id)
	if p := parse(t, w.Body.String()); !strings.Contains(w.Body.String(), "data-working") || !strings.Contains(p.text, "C31-a weak (dried out)") {
		t.Error("the verdict is not shown while the advice is worked out")
	}
	close(gate)
	v := must(b.View(t.Context(), id))
	must(s.advices.of(t.Context(), b, v))
	if w := get(t, s.handler(), "/jobs/"+id); strings.Contains(w.Body.String(), "data-working") || runs != 1 {
		t.Errorf("the advice is there and not shown, or %d runs", runs)
	}
	// What is open changes the advice and not the verdict.
	before := len(s.verdicts.runs)
	must(b.Record(t.Context(), id, job.Entry{Opening: &job.Opening{Opening: "squeeze"}}))
	must(s.advices.of(context.Background(), b, must(b.View(t.Context(), id))))
	get(t, s.handler(), "/jobs/"+id)
	if runs != 2 || len(s.verdicts.runs) != before {
		t.Errorf("%d runs of advice, want 2; %d verdicts, want %d", runs, len(s.verdicts.runs), before)
	}
}

func TestWorksOverTheAPI(t *testing.T) {
	b := newStoryBench()
	b.verdict, b.advice = storyVerdict, storyAdvice
	c := newClient(t, newStoryServer(b).handler())
	j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand", Case: measure.CaseClosed}))
	root := "/jobs/" + j.ID
	meter := o{"id": "dmm1", "name": "Hand meter", "kind": "true r.m.s.", "bandwidth_hz": 20000, "ac_percent": 1.5, "dc_percent": 0, "input_ohm": 1e7, "input_f": 1e-10, "leads_ohm": 0.3, "autorange": true, "leads": ""}
	if got := c.json("POST", "/instruments", meter, 201, "Instrument"); got["id"] != "dmm1" || got["autorange"] != true {
		t.Errorf("%v", got)
	}
	c.json("POST", "/instruments", o{"name": "Scope", "kind": "scope"}, 201, "Instrument")
	c.json("POST", "/instruments", o{"name": "x", "kind": "ouija"}, 422, "Problem")
	if n := len(c.get("/instruments", 200, "Instruments")["instruments"].([]any)); n != 2 {
		t.Errorf("%d instruments, want 2", n)
	}
	c.json("POST", root+"/openings", o{"opening": "squeeze", "minutes": 11}, 201, "Entry")
	c.json("POST", root+"/openings", o{"opening": "squeeze"}, 422, "Problem")
	r := c.json("POST", root+"/readings", o{"test_point": "TP21", "key": "a", "value": 0.31, "unit": "V", "instrument": "Hand meter", "provoked": "pressed", "minutes": 3}, 201, "Entry")
	if r["case"] != "propped" || r["reading"].(o)["instrument"] != "dmm1" || r["reading"].(o)["provoked"] != "pressed" || numText(r["minutes"]) != "3" {
		t.Errorf("%v", r)
	}
	c.json("POST", root+"/checks", o{"function": "record-play", "key": "1", "outcome": "faulty", "provoked": "cold"}, 201, "Entry")
	c.json("POST", root+"/checks", o{"function": "record-play", "key": "1", "outcome": "faulty", "provoked": "kicked"}, 422, "Problem")
	w := c.json("POST", root+"/works", o{"kind": "repair", "part": "C31-a", "remark": "dried out, replaced", "minutes": 12}, 201, "Entry")
	c.json("POST", root+"/works", o{"kind": "swap", "stage": "RY1", "key": "3", "with": "5"}, 201, "Entry")
	c.json("POST", root+"/works", o{"kind": "swap", "part": "RY1-3", "with": "5"}, 422, "Problem")
	if p := c.json("POST", root+"/works", o{"kind": "repair", "part": "C31-c"}, 422, "Problem"); !strings.Contains(p["hint"].(string), "C31-a") {
		t.Errorf("%v", p)
	}
	fixed := c.json("POST", root+"/entries/"+numText(w["seq"])+"/correction", o{"work": o{"kind": "repair", "stage": "C31", "key": "b"}, "minutes": 10}, 201, "Entry")
	if fixed["work"].(o)["key"] != "b" {
		t.Errorf("%v", fixed)
	}
	v := c.get(root, 200, "View")
	if open := v["open"].([]any); len(open) != 2 || open[1] != "squeeze" || v["case"] != "propped" || len(v["swaps"].([]any)) != 1 || v["swaps"].([]any)[0].(o)["part"] != "RY1-3 with RY1-5" {
		t.Errorf("open %v, case %v, swaps %v", v["open"], v["case"], v["swaps"])
	}
	c.json("POST", root+"/openings", o{"opening": "lid", "closed": true}, 201, "Entry")
	if v := c.get(root, 200, "View"); len(v["open"].([]any)) != 0 || v["case"] != "closed" {
		t.Errorf("open %v, case %v", v["open"], v["case"])
	}
	if s := c.get("/jobs", 200, "Jobs")["jobs"].([]any)[0].(o); numText(s["works"]) != "2" {
		t.Errorf("%v works, want 2: what was corrected counts once", s["works"])
	}
	a := c.get(root+"/next", 200, "Advice")
	if first := a["actions"].([]any)[0].(o); first["id"] != "read TP21-a" || len(first["predicts"].([]any)) != 2 {
		t.Errorf("%v", first)
	}
	c.get("/jobs/none/next", 404, "Problem")
}
