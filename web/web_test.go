package web

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/machine"
	"headstack/measure"
)

func TestHostIsChecked(t *testing.T) {
	h := newServer(newStoryBench(), Options{Hosts: []string{"bench.example"}}).handler()
	for host, ok := range map[string]bool{
		"localhost": true, "localhost:8080": true, "LOCALHOST.": true, "127.0.0.1:1": true, "127.4.5.6": true, "[::1]:80": true, "[::1]": true, "bench.example:80": true,
		"evil.example": false, "localhost.evil.example": false, "192.168.0.4:8080": false, "0.0.0.0": false, "": false, "127.0.0.1.evil.example": false,
	} {
		for _, path := range []string{"/", "/api/v1/jobs", "/static/nothing"} {
			r := request("GET", path, nil)
			r.Host = host
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			if refused := w.Code == http.StatusMisdirectedRequest; refused == ok {
				t.Errorf("Host %q at %s: status %d, allowed should be %v", host, path, w.Code, ok)
			}
		}
	}
}

func TestWritesFromElsewhereAreRefused(t *testing.T) {
	b := newStoryBench()
	h := newStoryServer(b).handler()
	for name, set := range map[string]func(http.Header){
		"form of another site":      func(x http.Header) { x.Set("Sec-Fetch-Site", "cross-site") },
		"origin of another site":    func(x http.Header) { x.Set("Origin", "http://evil.example") },
		"another port of this host": func(x http.Header) { x.Set("Origin", "http://localhost:9999") },
	} {
		for _, path := range []string{"/jobs", "/api/v1/jobs"} {
			r := request("POST", path, []byte("definition=hexastrand"))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			set(r.Header)
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			if w.Code != http.StatusForbidden {
				t.Errorf("%s to %s: status %d, want 403", name, path, w.Code)
			}
		}
	}
	if jobs := must(b.Jobs(t.Context())); len(jobs) != 0 {
		t.Errorf("%d jobs were opened", len(jobs))
	}
}

func TestAssetsAreNamedByHash(t *testing.T) {
	h := newStoryServer(newStoryBench()).handler()
	page := get(t, h, "/").Body.String()
	css := regexp.MustCompile(`/static/bench\.[0-9a-f]{8}\.css`).FindString(page)
	if css == "" {
		t.Fatalf("no hashed style sheet on the page: %s", page)
	}
	w := get(t, h, css)
	if w.Code != 200 || !strings.Contains(w.Header().Get("Cache-Control"), "immutable") || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/css") {
		t.Errorf("%s: %d %v", css, w.Code, w.Header())
	}
	if w := get(t, h, "/static/bench.css"); w.Code != 404 {
		t.Errorf("the name without its hash gave %d", w.Code)
	}
}

// TestRefusedFormsKeepWhatWasTyped is the rule that nothing typed is lost.
func TestRefusedFormsKeepWhatWasTyped(t *testing.T) {
	b, id := emptyStory()
	h := newStoryServer(b).handler()
	root := "/jobs/" + id
	e := must(b.RecordReading(t.Context(), id, job.Reading{TestPoint: firstPoint(b, id), Key: "1", Value: 9.5, Unit: "mV", ToneHz: 1000}, "", ""))
	for name, c := range map[string]struct {
		path string
		form url.Values
		want []string
	}{
		"open a job":  {"/jobs", url.Values{"definition": {"gone"}, "serial": {"S-77"}, "claim": {"it <b>hums</b>"}}, []string{"S-77", "it &lt;b&gt;hums&lt;/b&gt;"}},
		"bad case":    {"/jobs", url.Values{"definition": {"octogrange"}, "owner": {"A. Person"}, "case": {"ajar"}}, []string{"A. Person", "ajar"}},
		"a reading":   {root + "/readings", url.Values{"point": {"K1OUT/1"}, "value": {"nine"}, "instrument": {"meter Q"}, "remark": {"lead moved"}}, []string{"nine", "meter Q", "lead moved"}},
		"a note":      {root + "/notes", url.Values{"text": {""}, "case": {"open"}}, []string{"Not recorded"}},
		"a check":     {root + "/sheet", url.Values{"item": {"nothing"}, "outcome": {"works"}}, []string{"Not recorded"}},
		"an outcome":  {root + "/sheet", url.Values{"function": {"play"}, "key": {"1"}, "outcome": {"splendid"}, "remark": {"kept remark"}}, []string{"splendid", "kept remark"}},
		"a corrected": {fmt.Sprintf("%s/entries/%d", root, e.Seq), url.Values{"value": {"9.5 apples"}, "remark": {"typed again"}}, []string{"9.5 apples", "typed again"}},
	} {
		t.Run(name, func(t *testing.T) {
			w := post(t, h, c.path, c.form)
			if w.Code < 400 || w.Code >= 500 {
				t.Fatalf("status %d: %s", w.Code, w.Body)
			}
			for _, want := range c.want {
				if !strings.Contains(w.Body.String(), want) {
					t.Errorf("the page lost %q", want)
				}
			}
			if !strings.Contains(w.Body.String(), `role="alert"`) {
				t.Error("the page does not say why")
			}
		})
	}
}

// firstPoint is a test point of the definition that repeats over the tracks and is read in mV.
func firstPoint(b *storyBench, id string) string {
	v := must(b.View(context.Background(), id))
	for _, tp := range v.Def.TestPoints {
		if tp.Each == "track" && tp.Expect.Unit == "mV" && tp.ToneHz == 1000 {
			return tp.ID
		}
	}
	panic("the definition has no such point")
}

func TestACheckIsKeptAndCanBeTakenBack(t *testing.T) {
	b, id := emptyStory()
	h := newStoryServer(b).handler()
	root := "/jobs/" + id
	item := must(b.View(t.Context(), id)).Sheet[0]
	w := post(t, h, root+"/sheet", url.Values{"item": {item.Item}, "outcome": {"works"}, "case": {"closed"}, "after": {"r2"}})
	to := w.Header().Get("Location")
	if w.Code != http.StatusSeeOther || !strings.Contains(to, "at=r2") || !strings.Contains(to, "case=closed") {
		t.Fatalf("status %d, Location %q", w.Code, to)
	}
	page := get(t, h, to)
	if p := parse(t, page.Body.String()); !strings.Contains(p.text, "Kept: check 1, "+item.Name+": works") {
		t.Errorf("the page does not say what was kept: %.600s", p.text)
	}
	seq := must(b.View(t.Context(), id)).Current[0].Seq
	w = post(t, h, fmt.Sprintf("%s/entries/%d/withdraw", root, seq), url.Values{"back": {root + "/sheet"}})
	if w.Code != http.StatusSeeOther || !strings.HasPrefix(w.Header().Get("Location"), root+"/sheet?saved=") {
		t.Fatalf("status %d, Location %q", w.Code, w.Header().Get("Location"))
	}
	if v := must(b.View(t.Context(), id)); len(v.Current) != 0 || len(v.Entries) != 2 {
		t.Errorf("%d count, %d entries; want 0 and 2", len(v.Current), len(v.Entries))
	}
}

func TestRedirectsStayOnTheBench(t *testing.T) {
	b, id := emptyStory()
	h := newStoryServer(b).handler()
	for _, back := range []string{"//evil.example/x", "https://evil.example/", `\\evil.example`, "javascript:alert(1)", "", "/\\evil.example"} {
		w := post(t, h, "/jobs/"+id+"/notes", url.Values{"text": {"a note"}, "back": {back}})
		to, err := url.Parse(w.Header().Get("Location"))
		if err != nil || w.Code != http.StatusSeeOther || to.Host != "" || to.Scheme != "" || !strings.HasPrefix(to.Path, "/") || strings.HasPrefix(to.Path, "//") || strings.Contains(to.String(), `/\`) {
			t.Errorf("back %q: status %d, Location %q", back, w.Code, w.Header().Get("Location"))
		}
	}
}

func TestReadingIsTakenAsTyped(t *testing.T) {
	b, id := goodStory()
	h := newStoryServer(b).handler()
	w := post(t, h, "/jobs/"+id+"/readings", url.Values{"point": {"TP10/5"}, "value": {"37m5"}, "instrument": {"meter"}, "case": {"open"}, "same": {"1"}})
	if w.Code != http.StatusSeeOther {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	v := must(b.View(t.Context(), id))
	e := v.Current[len(v.Current)-1]
	if r := e.Reading; r == nil || r.Value != 37.5 || r.Unit != "mV" || r.ToneHz != 315 || r.Session == "" || r.Setting == "" || e.Case != measure.CaseOpen {
		t.Errorf("kept %+v of %+v", e.Reading, e)
	}
}

// 0 dBV is 1 V by definition, so a level re a voltage is compared with volts.
func TestReadingsAreComparedInBaseUnits(t *testing.T) {
	for _, c := range []struct {
		r    job.Reading
		want float64
		base string
	}{
		{job.Reading{Value: -20, Unit: "dBV"}, 0.1, "V"},
		{job.Reading{Value: 38, Unit: "mV"}, 0.038, "V"},
		{job.Reading{Value: 3, Unit: "furlong"}, 3, "furlong"},
	} {
		if v, base := siOf(c.r); math.Abs(v-c.want) > 1e-12 || base != c.base {
			t.Errorf("%g %s: %g %s, want %g %s", c.r.Value, c.r.Unit, v, base, c.want, c.base)
		}
	}
}

func TestParseTracks(t *testing.T) {
	for in, want := range map[string]string{"": "", "1,6": "1,6", "1-6": "1,2,3,4,5,6", " 2 4 ": "2,4", "3–4;1": "3,4,1", "0,2": "0,2"} {
		if got, err := parseTracks(in); err != nil || tracksText(got) != want {
			t.Errorf("parseTracks(%q) = %v, %v; want %s", in, got, err, want)
		}
	}
	for _, in := range []string{"0", "0,0", "a", "1-", "6-1", "1,1", "1-3,2", "1-999999999", "-1"} {
		if got, err := parseTracks(in); err == nil {
			t.Errorf("parseTracks(%q) = %v, want an error", in, got)
		}
	}
}

// TestQuestions: what is asked about a reading, and what is let pass.
func TestQuestions(t *testing.T) {
	b, id := goodStory()
	record := func(point, key string, value float64, unit string) *question {
		t.Helper()
		e := must(b.RecordReading(t.Context(), id, job.Reading{TestPoint: point, Key: key, Value: value, Unit: unit, ToneHz: toneOf(b, id, point)}, "", ""))
		return questionOf(must(b.View(t.Context(), id)), e)
	}
	for _, c := range []struct {
		point, key string
		value      float64
		unit       string
		asked      bool
		offer      string
	}{
		{"TP10", "5", 36, "mV", false, ""},        // 0.4 dB from its siblings
		{"TP10", "5", 12, "mV", true, ""},         // 10 dB low: perhaps a fault, but read again
		{"TP10", "5", 37.1, "V", true, "37.1 mV"}, // a unit slip
		{"TP10", "5", 0, "mV", true, ""},          // lead off?
		{"TP1", "", 11.4, "V", false, ""},         // no sibling: against the expected value
		{"TP2", "", 11.5, "V", true, ""},          // the wrong way round
		{"TP1", "", 0.0115, "V", true, "11.5 V"},  // no sibling, a factor of 1000
		{"TP2", "", -11.6, "V", false, ""},        // negative rail as it should be
	} {
		q := record(c.point, c.key, c.value, c.unit)
		switch {
		case (q != nil) != c.asked:
			t.Errorf("%s %g %s: asked %v, want %v", c.point, c.value, c.unit, q != nil, c.asked)
		case q != nil && q.Value != c.offer:
			t.Errorf("%s %g %s: offers %q, want %q", c.point, c.value, c.unit, q.Value, c.offer)
		}
	}
}

func toneOf(b *storyBench, id, point string) float64 {
	tp, _ := must(b.View(context.Background(), id)).Def.TestPoint(point)
	return tp.ToneHz
}

// TestConnectorFromTheProbedSide: on the mirrored W5 the Strip side counts the
// other way; the pin lists are those of the definition.
func TestConnectorFromTheProbedSide(t *testing.T) {
	def, _ := machine.Builtin("hexastrand")
	con, ok := def.Connector("W5")
	if !ok || !con.Mirrored {
		t.Fatal("W5 is not the mirrored connector that this test is about")
	}
	for _, side := range []machine.ConnectorSide{con.A, con.B} {
		for i, name := range side.Pins {
			var c card
			c.connector(def, &machine.TestPoint{ID: "x", Board: side.Board, Connector: "W5", Pin: name}, "")
			want := fmt.Sprintf("W5 from the %s side: pin %d of %d, %s.", side.Board, i+1, len(side.Pins), name)
			if !strings.HasPrefix(c.PinText, want) || !strings.Contains(c.PinText, "Mirrored") {
				t.Errorf("got %q\nwant %q", c.PinText, want)
			}
		}
	}
}

func TestErrorsInsideAreWholePages(t *testing.T) {
	b, id := emptyStory()
	b.failView = errors.New("the disk is full")
	h := newStoryServer(b).handler()
	w := get(t, h, "/jobs/"+id)
	p := parse(t, w.Body.String())
	if w.Code != 500 || !strings.Contains(p.text, "the disk is full") || !strings.Contains(p.text, "What was acknowledged before is kept") {
		t.Errorf("%d: %s", w.Code, p.text)
	}
}

func TestProgressIsForgottenAtTheEnd(t *testing.T) {
	var p progress
	set := p.start("token")
	set(0.5)
	if p.done["token"] != 0.5 {
		t.Error("not known while it runs")
	}
	p.end("token")
	if len(p.done) != 0 {
		t.Errorf("still known: %v", p.done)
	}
	if p.start(strings.Repeat("x", 65)) != nil {
		t.Error("a long token was taken")
	}
}

func TestAsFoundProvesNothing(t *testing.T) {
	capture := func(c measure.CaseState) job.Entry { return job.Entry{Case: c, Capture: &job.Capture{}} }
	reading := func(c measure.CaseState) job.Entry { return job.Entry{Case: c, Reading: &job.Reading{}} }
	for name, c := range map[string]struct {
		entries []job.Entry
		want    bool
	}{
		"nothing":           {nil, false},
		"as found only":     {[]job.Entry{capture("closed")}, false},
		"opened since":      {[]job.Entry{capture("closed"), reading("open")}, false},
		"closed again":      {[]job.Entry{capture("closed"), reading("open"), capture("closed")}, true},
		"opened once more":  {[]job.Entry{reading("open"), capture("closed"), reading("propped")}, false},
		"only a check shut": {[]job.Entry{reading("open"), reading("closed")}, false},
		"not stated":        {[]job.Entry{reading("open"), capture("")}, false},
	} {
		if got := closedAgain(&job.View{Current: c.entries}); got != c.want {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

// slowBench reasons only when it is let go.
func slowBench() (b *storyBench, id string, letGo func(), runs *atomic.Int32) {
	b, id = goodStory()
	gate, runs := make(chan struct{}), new(atomic.Int32)
	good := b.verdict
	b.advice = func(v *job.View) (*diagnosis.Advice, error) {
		<-gate
		return storyAdvice(v)
	}
	b.verdict = func(v *job.View) (*diagnosis.Verdict, error) {
		runs.Add(1)
		<-gate
		return good(v)
	}
	return b, id, sync.OnceFunc(func() { close(gate) }), runs
}

func TestAPageDoesNotWaitForASlowVerdict(t *testing.T) {
	b, id, letGo, runs := slowBench()
	defer letGo()
	s := newServer(b, Options{Patience: time.Millisecond})
	h := s.handler()
	for _, path := range []string{"", "/sheet", "/path"} {
		w := get(t, h, "/jobs/"+id+path)
		if w.Code != 200 || !strings.Contains(w.Body.String(), "data-working") || strings.Contains(w.Body.String(), "No verdict") {
			t.Errorf("%q: status %d, not said to be worked out", path, w.Code)
		}
	}
	if runs.Load() != 1 {
		t.Errorf("%d runs for one state of the evidence", runs.Load())
	}
	letGo()
	v := must(b.View(t.Context(), id))
	if _, err := s.verdicts.of(t.Context(), b, v); err != nil {
		t.Fatal(err)
	}
	if _, err := s.advices.of(t.Context(), b, v); err != nil {
		t.Fatal(err)
	}
	if w := get(t, h, "/jobs/"+id); strings.Contains(w.Body.String(), "data-working") || !strings.Contains(w.Body.String(), "C31-a") {
		t.Error("the verdict is there and the page does not show it")
	}
	// A control is no evidence: the same verdict holds.
	must(b.RecordCheck(t.Context(), id, job.Check{Item: v.Sheet[0].Item, Outcome: diagnosis.Faulty}, "", ""))
	get(t, h, "/jobs/"+id)
	if runs.Load() != 1 {
		t.Errorf("%d runs, want 1: the evidence did not change", runs.Load())
	}
	must(b.RecordCheck(t.Context(), id, job.Check{Function: "play", Key: "2", Outcome: diagnosis.Works}, "", ""))
	if w := get(t, h, "/api/v1/jobs/"+id+"/verdict"); w.Code != 200 || runs.Load() != 2 {
		t.Errorf("new evidence: status %d, %d runs, want 2", w.Code, runs.Load())
	}
}

func TestAPanicOfTheDiagnosisIsAnError(t *testing.T) {
	b, id := goodStory()
	b.verdict = func(*job.View) (*diagnosis.Verdict, error) { panic("no such stage") }
	s := newStoryServer(b)
	for range 2 {
		p := parse(t, get(t, s.handler(), "/jobs/"+id).Body.String())
		if !strings.Contains(p.text, "No verdict") || !strings.Contains(p.text, "no such stage") {
			t.Errorf("the page says %.300s", p.text)
		}
	}
	if len(s.verdicts.runs) != 0 {
		t.Error("the failed run is kept")
	}
}
