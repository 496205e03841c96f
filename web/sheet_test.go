package web

import (
	"context"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"headstack/job"
	"headstack/measure"
)

// quietBench is a real bench on which nothing is reasoned: the sheet is tried here.
func sheetBench(t *testing.T, definition string) (*storyBench, string, *server) {
	t.Helper()
	b := newStoryBench()
	b.verdict = quietVerdict
	id := must(b.OpenJob(t.Context(), job.NewJob{Definition: definition, Case: measure.CaseClosed})).ID
	return b, id, newStoryServer(b)
}

// The sheet says what to feed in where, what that covers and how many changes follow, and
// goes on as controls are tried.
func TestTheSheetPlansItsSetups(t *testing.T) {
	b, id, s := sheetBench(t, "hexastrand")
	page := func() string { return parse(t, get(t, s.handler(), "/jobs/"+id+"/sheet").Body.String()).text }
	p := page()
	for _, want := range []string{"Set up next: 1 kHz at -10 dBV into input socket 1", "It covers 12 controls that are left", "9 changes of the set-up after it", "by the definition’s minutes", "jack rail", "mixer"} {
		if !strings.Contains(p, want) {
			t.Errorf("does not say %q: %.400s", want, p)
		}
	}
	for _, item := range []string{"in-jack/1", "source/1"} {
		must(b.RecordCheck(t.Context(), id, job.Check{Item: item, Outcome: "works"}, measure.CaseClosed, ""))
	}
	if p := page(); !strings.Contains(p, "Set up now: 1 kHz at -10 dBV into input socket 1") || !strings.Contains(p, "It covers 10 controls") {
		t.Errorf("after two: %.600s", p)
	}
	// The story's clock goes a minute an entry, a quarter of one is what the definition says.
	for _, it := range must(b.View(t.Context(), id)).Sheet[:40] {
		must(b.RecordCheck(t.Context(), id, job.Check{Item: it.Item, Outcome: "works"}, measure.CaseClosed, ""))
	}
	if p := page(); !strings.Contains(p, "at the pace of the last 41") || !strings.Contains(p, "about 2\u2009h 4") {
		t.Errorf("the pace: %.600s", p)
	}
}

func TestTheRestOfASetupAndBack(t *testing.T) {
	b, id, s := sheetBench(t, "octogrange")
	root := "/jobs/" + id + "/sheet"
	w := send(t, s, root+"/rest", "case", "closed", "item", "in-socket/1", "after", "r2")
	if to := w.Header().Get("Location"); w.Code != 303 || to != root+"?at=r2&case=closed&saved=1&since=1" {
		t.Fatalf("%d to %q", w.Code, w.Header().Get("Location"))
	}
	form := map[string][]string{"case": {"closed"}, "item": {"level/1", "source/1", "meter-light/1"}}
	w = post(t, s.handler(), root+"/rest", form)
	p := parse(t, get(t, s.handler(), w.Header().Get("Location")).Body.String())
	if !strings.Contains(p.text, "Kept: 3 checks, from check 2 on") || !strings.Contains(p.text, "take back 3 checks, from check 2 on") {
		t.Errorf("the page says %.600s", p.text)
	}
	if v := must(b.View(t.Context(), id)); len(v.Current) != 4 || v.Current[3].Check.Item != "meter-light/1" {
		t.Errorf("%d entries", len(v.Current))
	}
	w = post(t, s.handler(), root+"/undo", map[string][]string{"seq": {"4", "3", "2"}, "case": {"closed"}})
	if v := must(b.View(t.Context(), id)); w.Code != 303 || len(v.Current) != 1 || len(v.Entries) != 7 {
		t.Errorf("%d; %d of %d count", w.Code, len(v.Current), len(v.Entries))
	}
	for _, bad := range []map[string][]string{{"item": {"nothing"}}, {}} {
		if w := post(t, s.handler(), root+"/rest", bad); w.Code != 422 {
			t.Errorf("%v: %d", bad, w.Code)
		}
	}
	if w := post(t, s.handler(), root+"/undo", map[string][]string{"seq": {"4"}}); w.Code != 409 {
		t.Errorf("taken back twice: %d", w.Code)
	}
}

// A fault says its number on the sheet, in the record and in the report.
func TestAFaultHasItsNumberEverywhere(t *testing.T) {
	b, id, s := sheetBench(t, "hexastrand")
	send(t, s, "/jobs/"+id+"/sheet", "item", "fader/2", "outcome", "faulty", "symptom", "noisy", "case", "closed")
	w := send(t, s, "/jobs/"+id+"/sheet", "item", "pan/2", "outcome", "faulty", "fault", "one", "case", "closed")
	if p := parse(t, w.Body.String()); w.Code != 422 || !strings.Contains(p.text, "fault number is not a whole number from 1 up") {
		t.Errorf("%d: %.300s", w.Code, p.text)
	}
	for _, path := range []string{"/sheet", "", "/record", "/report"} {
		if p := parse(t, get(t, s.handler(), "/jobs/"+id+path).Body.String()); !strings.Contains(p.text, "fault 1") {
			t.Errorf("%s does not say fault 1", path)
		}
	}
	if f := must(b.View(t.Context(), id)).Faults(); len(f) != 1 || f[0].Number != 1 || f[0].Name != "fader 2" {
		t.Errorf("%+v", f)
	}
}

// keys counts what is pressed.
type keys struct {
	t   *testing.T
	ctx context.Context
	n   int
}

func (k *keys) hit(list ...string) {
	k.t.Helper()
	for _, key := range list {
		k.n++
		down := input.DispatchKeyEventParams{Type: input.DispatchKeyEventTypeKeyDown, Key: key}
		switch {
		case len(key) == 1:
			down.Text = key
		case key == "Enter":
			down.Text, down.WindowsVirtualKeyCode, down.Code = "\r", 13, "Enter"
		case key == "Tab":
			down.WindowsVirtualKeyCode, down.Code = 9, "Tab"
		case key == "ArrowDown":
			down.WindowsVirtualKeyCode, down.Code = 40, key
		}
		up := down
		up.Type, up.Text = input.DispatchKeyEventTypeKeyUp, ""
		for _, p := range []input.DispatchKeyEventParams{down, up} {
			if _, err := chromedp.Call(k.ctx, input.DispatchKeyEvent, p); err != nil {
				k.t.Fatalf("key %s: %v", key, err)
			}
		}
	}
}

// A sheet of 135 controls that all work takes fewer than 200 keys one by one, and as many
// as there are set-ups where each is said to be done at once. Each is an entry of its own.
func TestACheckSheetByKeyboard(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	b, id, s := sheetBench(t, "hexastrand")
	srv := httptest.NewServer(s.handler())
	defer srv.Close()
	ctx := browser(t)
	watchConsole(t, ctx)
	f := flow{t: t, ctx: ctx, url: srv.URL}
	f.do("sheet", chromedp.EmulateViewport(1280, 800), chromedp.Navigate(srv.URL+"/jobs/"+id+"/sheet"), chromedp.WaitReady(chromedp.CSS("#r1")))
	k := &keys{t: t, ctx: ctx}
	k.hit("ArrowDown")
	for range 135 {
		k.hit("w")
	}
	f.sees("#news", "check 135")
	v := must(b.View(t.Context(), id))
	for _, it := range v.Sheet {
		if it.Latest == nil || it.Latest.Check.Outcome != "works" {
			t.Errorf("%s was not recorded", it.Item)
		}
	}
	if len(v.Current) != 135 || k.n >= 200 {
		t.Errorf("%d entries of 135 controls with %d keys", len(v.Current), k.n)
	}
	t.Logf("135 controls one by one: %d keys", k.n)

	// Faults: a key for the outcome and one for the symptom, and digits of a label.
	before := k.n
	k.hit("f", "n") // of the first function, which has the focus now
	f.sees("#news", "fault 1")
	one := k.n - before
	before = k.n
	k.hit("i", "1", "2", "3", "4", "u")
	f.sees("#news", "fault 1234")
	most := k.n - before
	if one-1 > 6 || most-1 > 6 {
		t.Errorf("a fault takes %d keys, with a label of four digits %d: more than 6 beyond one", one, most)
	}
	t.Logf("a fault with its symptom: %d keys; with a number of four digits typed: %d", one, most)
	k.hit("u") // takes back the last
	f.sees("#news", "takes back check 137")
	if v := must(b.View(t.Context(), id)); len(v.Current) != 136 {
		t.Errorf("%d entries count, want 136", len(v.Current))
	}

	// The same machine again, set-up by set-up.
	id = must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"})).ID
	f.do("sheet", chromedp.Navigate(srv.URL+"/jobs/"+id+"/sheet"), chromedp.WaitReady(chromedp.CSS("#r1")))
	k.n = 0
	k.hit("ArrowDown")
	tried := func() int {
		n := 0
		for _, it := range must(b.View(t.Context(), id)).Sheet {
			n += btoi(it.Latest != nil)
		}
		return n
	}
	for done := tried(); done < 135; done = tried() {
		ask1(t, ctx, "mark", chromedp.Evaluate[bool](`window.stale = true`))
		k.hit("a")
		f.until("the page with the rest kept", `!window.stale && document.readyState == "complete" && (document.activeElement.id == "end" || !!document.activeElement.closest("ul.sheet > li"))`)
		if tried() == done {
			t.Fatalf("%d of 135 after %d keys: nothing more was recorded", done, k.n)
		}
	}
	t.Logf("135 controls set-up by set-up: %d keys", k.n)
	if k.n > 20 {
		t.Errorf("%d keys for 10 set-ups", k.n)
	}
}

// until waits until an expression of the page is true; while the page changes it may fail.
func (f flow) until(what, js string) {
	f.t.Helper()
	for range 400 {
		short, cancel := context.WithTimeout(f.ctx, 5*time.Second)
		ok, err := chromedp.Run(short, chromedp.Evaluate[bool](js))
		cancel()
		if err == nil && ok {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	f.t.Fatalf("never: %s", what)
}
