package web

import (
	"context"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"headstack/job"
	"headstack/job/memory"
)

// TestFlow goes the way of a first evening in a browser, on a real bench with
// the real diagnosis: open a job, try controls and functions, enter a reading,
// see what it says. Once with the scripts and once without.
func TestFlow(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	t.Parallel()
	for _, scripts := range []bool{true, false} {
		name := map[bool]string{true: "scripts", false: "no scripts"}[scripts]
		t.Run(name, func(t *testing.T) {
			b := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{})
			srv := httptest.NewServer(NewServer(b, Options{Patience: time.Minute}))
			defer srv.Close()
			ctx := browser(t)
			watchConsole(t, ctx)
			if !scripts {
				if _, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
					t.Fatal(err)
				}
			}
			flow{t, ctx, b, srv.URL}.run(scripts)
		})
	}
}

type flow struct {
	t   *testing.T
	ctx context.Context
	b   *job.Bench
	url string
}

func (f flow) do(what string, a ...chromedp.Action[chromedp.Void]) {
	f.t.Helper()
	do(f.t, f.ctx, what, a...)
}

// follow clicks what leads to another page, and waits for that page: the old one
// would else still answer.
func (f flow) follow(what string, sel chromedp.CSS) {
	f.t.Helper()
	ctx, cancel := context.WithTimeout(f.ctx, time.Minute)
	defer cancel()
	loaded := chromedp.Events(ctx, page.LoadEventFired)
	do(f.t, ctx, what, chromedp.Click(sel))
	for _, err := range loaded {
		if err != nil {
			f.t.Fatalf("%s: %v", what, err)
		}
		return
	}
}

// sees waits until the page says text.
func (f flow) sees(where chromedp.CSS, text string) {
	f.t.Helper()
	var got string
	for range 900 { // a busy machine is slow
		short, cancel := context.WithTimeout(f.ctx, 30*time.Second)
		v, err := chromedp.Run(short, chromedp.TextContent(where))
		cancel()
		if got = v; err != nil { // the row was replaced while it was read
			got = err.Error()
		}
		if strings.Contains(got, text) {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	f.t.Fatalf("%s does not say %q but %q", where, text, got)
}

func (f flow) run(scripts bool) {
	f.do("open a job", chromedp.Navigate(f.url+"/"),
		chromedp.SetValue(chromedp.CSS("#definition"), "hexastrand"),
		chromedp.SendKeys(chromedp.CSS("#serial"), "Q-0417"),
		chromedp.SendKeys(chromedp.CSS("#claim"), "records weak"),
	)
	f.follow("open the job", "#open .go")
	f.sees(chromedp.CSS("#next"), "Measure as found")
	f.sees(chromedp.CSS("main"), "ocal electrical codes")

	f.follow("to the sheet", `.pages a[href$="/sheet"]`)
	if scripts {
		f.byKeys()
	} else {
		f.byTaps()
	}
	f.functions(scripts)
	f.reading()
	f.works()
}

// byKeys tries four controls with one key each.
func (f flow) byKeys() {
	f.do("focus", chromedp.Focus(chromedp.CSS("#r1 button")))
	// The rows of the first set-up: the first input socket, then its strip from top to bottom.
	rows := ask1(f.t, f.ctx, "rows", chromedp.Evaluate[[]string](`[...document.querySelectorAll("ul.sheet > li")].map(x => x.id)`))
	for _, k := range []string{"w", "w", "i", "n", "n"} { // intermittent, noisy; then not fitted
		f.do("key "+k, chromedp.KeyEvent(k))
	}
	f.sees(chromedp.CSS("#"+rows[3]), "check 4")
	f.sees(chromedp.CSS("#"+rows[2]+" .item"), "intermittent noisy fault 1")
	f.sees(chromedp.CSS("#left"), "Next open one")
	f.key("r")
	f.do("remark", chromedp.KeyEvent("scratches"), chromedp.KeyEvent(kb.Escape))
	(&keys{t: f.t, ctx: f.ctx}).hit("f", "1", "7", "Enter")
	f.sees(chromedp.CSS("#"+rows[4]+" .item"), "faulty fault 17")
	v := f.view()
	if len(v.Current) != 5 || v.Current[4].Remark != "scratches" || v.Current[4].Check.Outcome != "faulty" {
		f.t.Errorf("record: %d entries, the last %+v", len(v.Current), v.Current[len(v.Current)-1])
	}
	// What holds the focus must be the row after, so that the next key goes there.
	if id := ask1(f.t, f.ctx, "focus", chromedp.Evaluate[string](`document.activeElement.closest("li").id`)); id != rows[5] {
		f.t.Errorf("the focus is in %s, want %s", id, rows[5])
	}
}

// key presses a key as a keyboard does: the letter comes with the press and is
// withheld with it. The driver's own KeyEvent sends it apart.
func (f flow) key(k string) {
	f.t.Helper()
	for _, typ := range []input.DispatchKeyEventType{input.DispatchKeyEventTypeKeyDown, input.DispatchKeyEventTypeKeyUp} {
		p := input.DispatchKeyEventParams{Type: typ, Key: k}
		if typ == input.DispatchKeyEventTypeKeyDown {
			p.Text = k
		}
		if _, err := chromedp.Call(f.ctx, input.DispatchKeyEvent, p); err != nil {
			f.t.Fatalf("key %s: %v", k, err)
		}
	}
}

func (f flow) byTaps() {
	for _, row := range []string{"#r1", "#r9"} { // the first socket, and the source of its strip
		f.follow("tap", chromedp.CSS(row+` button[value="works"]`))
		f.sees(chromedp.CSS(row+" .mark"), "works")
	}
	f.follow("take back", ".kept button")
	f.sees(chromedp.CSS("#r9 .mark"), "not tried")
	if v := f.view(); len(v.Current) != 1 || len(v.Entries) != 3 {
		f.t.Errorf("record: %d count of %d entries, want 1 of 3", len(v.Current), len(v.Entries))
	}
}

// press records a result: on the page itself where the scripts run.
func (f flow) press(what string, sel chromedp.CSS, scripts bool) {
	f.t.Helper()
	if scripts {
		f.do(what, chromedp.Click(sel))
		return
	}
	f.follow(what, sel)
}

// functions records that two tracks of one record group record weak.
func (f flow) functions(scripts bool) {
	for _, key := range []string{"1", "3"} {
		form := `form:has(input[name=function][value="record-play"]):has(input[name=key][value="` + key + `"])`
		f.do("weak on "+key, chromedp.SetValue(chromedp.CSS("main "+form+" select"), "weak"))
		f.press("weak on "+key, chromedp.CSS("main "+form+` button[value="faulty"]`), scripts)
		f.sees(chromedp.CSS("main "+form), "weak")
		f.sees(chromedp.CSS("main "+form+" .mark"), "faulty")
	}
	f.do("overview", chromedp.Navigate(f.jobURL()))
	f.sees(chromedp.CSS("main"), "Found faulty")
	if n := len(f.view().Current); n < 3 {
		f.t.Errorf("%d entries count", n)
	}
}

// reading enters a reading a thousand times too high, is asked, and corrects it
// with what the page offers.
func (f flow) reading() {
	f.do("path", chromedp.Navigate(f.jobURL()+"/path?function=play&key=3"),
		chromedp.SetValue(chromedp.CSS("#point"), "TP10/3"),
		chromedp.SendKeys(chromedp.CSS("#value"), "38 V"),
		chromedp.SendKeys(chromedp.CSS("#instrument"), "millivoltmeter"),
	)
	f.follow("keep", "#reading .go")
	f.sees(chromedp.CSS(".question"), "re-take")
	f.follow("offer", ".question .button")
	f.follow("correct", "main form .go")
	f.sees(chromedp.CSS("table.record"), "corrected by")
	v := f.view()
	last := v.Current[len(v.Current)-1]
	if last.Reading == nil || last.Reading.Value != 38 || last.Reading.Unit != "mV" {
		f.t.Errorf("the reading kept is %+v", last.Reading)
	}
	f.do("verdict", chromedp.Navigate(f.jobURL()))
	f.sees(chromedp.CSS("#fix"), "%")
	f.sees(chromedp.CSS("#next"), "why")
	f.do("report", chromedp.Navigate(f.jobURL()+"/report"), chromedp.WaitReady(chromedp.CSS("footer .hash")))
	f.sees(chromedp.CSS("main"), "corrected by")
}

// works opens the lid by one tap, records what was replaced, exchanges two relays and
// back, and puts the lid back from the card.
func (f flow) works() {
	f.do("works", chromedp.Navigate(f.jobURL()+"/works"))
	if open := f.view().Open; len(open) == 0 { // the readings may tell already
		f.follow("open", `#openings form:has(input[value="lid"]) button`)
	}
	f.sees("#openings", "put back: lid")
	f.do("the part", chromedp.SendKeys(chromedp.CSS("#part"), "C31-a"), chromedp.SendKeys(chromedp.CSS("#found"), "dried out"), chromedp.SendKeys(chromedp.CSS("#minutes"), "12"))
	f.follow("keep the work", "#work .go")
	f.sees("#done", "repaired C31-a: dried out")
	f.do("exchange", chromedp.SetValue(chromedp.CSS("#kind"), "swap"), chromedp.SetValue(chromedp.CSS("#part"), "RY1-3"), chromedp.SetValue(chromedp.CSS("#with"), "5"))
	f.follow("keep the exchange", "#work .go")
	f.follow("undo the exchange", `#openings form:has(input[name="back_again"]) button`)
	f.sees("#done", "exchanged back RY1-3 with RY1-5")
	f.follow("put back from the card", `#next form:has(input[value="lid"]):has(input[name="closed"]) button`)
	f.sees("#openings", "Nothing that was recorded")
	v := f.view()
	w := v.Current[len(v.Current)-4]
	if w.Work == nil || w.Minutes != 12 || w.Remark != "dried out" || len(v.Open) != 0 || len(v.Swaps) != 0 {
		f.t.Errorf("the work kept is %+v; open %q, exchanged %+v", w, v.Open, v.Swaps)
	}
}

func (f flow) view() *job.View {
	f.t.Helper()
	jobs := must(f.b.Jobs(f.ctx))
	return must(f.b.View(f.ctx, jobs[0].ID))
}

func (f flow) jobURL() string { return f.url + "/jobs/" + must(f.b.Jobs(f.ctx))[0].ID }

// TestTheCardArrives: a card that was still being worked out is put in its place
// by itself, and what was typed meanwhile stays.
func TestTheCardArrives(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	b, id, letGo, _ := slowBench()
	defer letGo()
	srv := httptest.NewServer(newServer(b, Options{Patience: time.Millisecond}).handler())
	defer srv.Close()
	ctx := browser(t)
	watchConsole(t, ctx)
	f := flow{t: t, ctx: ctx, url: srv.URL}
	f.do("path", chromedp.Navigate(srv.URL+"/jobs/"+id+"/path"), chromedp.SendKeys(chromedp.CSS("#value"), "38 m"))
	f.sees("#next", "Working out")
	checkAxe(t, ctx, "working")
	letGo()
	f.sees("#next", "Read TP21-a")
	if v := ask1(t, ctx, "what was typed", chromedp.Value(chromedp.CSS("#value"))); v != "38 m" {
		t.Errorf("the field holds %q, typed was 38 m", v)
	}
}
