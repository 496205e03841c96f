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
)

// TestAJobByKeyboard drives a job from the empty bench to the hand-over with keys alone, at
// laptop and phone size and without scripts: each step of the line leads to a page that
// says what is next there, and what is done there becomes an entry.
func TestAJobByKeyboard(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	ctx := browser(t)
	watchConsole(t, ctx)
	for _, c := range []struct {
		name    string
		w, h    int64
		scripts bool
	}{{"laptop", 1280, 800, true}, {"phone", 390, 844, true}, {"no scripts", 1280, 800, false}} {
		b := newStoryBench()
		b.verdict = quietVerdict
		s := newStoryServer(b)
		srv := httptest.NewServer(s.handler())
		scripts(t, ctx, c.scripts)
		do(t, ctx, c.name, chromedp.EmulateViewport(c.w, c.h))
		k := &keyboard{flow: flow{t: t, ctx: ctx, url: srv.URL}, keys: keys{t: t, ctx: ctx}, b: b, name: c.name, wide: float64(c.w), scripts: c.scripts}
		k.run()
		t.Logf("%s: %d keys from the empty bench to the closed job", c.name, k.n)
		srv.Close()
	}
	scripts(t, ctx, true)
}

type keyboard struct {
	flow
	keys
	b       *storyBench
	name    string
	wide    float64
	scripts bool
}

// focused reports whether the focus is on what sel names.
func (k *keyboard) focused(sel string) bool {
	short, cancel := context.WithTimeout(k.flow.ctx, 20*time.Second)
	defer cancel()
	ok, err := chromedp.Run(short, chromedp.Evaluate[bool](`document.readyState == "complete" && document.activeElement.matches(`+"`"+sel+"`"+`)`))
	return err == nil && ok
}

// comes reports whether the focus comes there soon: a page takes it when it is complete.
func (k *keyboard) comes(sel string) bool {
	for range 100 {
		if k.focused(sel) {
			return true
		}
		time.Sleep(50 * time.Millisecond)
	}
	return false
}

// tab goes on with the tabulator until the focus is on what sel names.
func (k *keyboard) tab(sel string) {
	k.flow.t.Helper()
	for range 150 {
		if k.focused(sel) {
			return
		}
		k.hit("Tab")
	}
	k.flow.t.Fatalf("%s: 150 tabs do not reach %s", k.name, sel)
}

func (k *keyboard) write(text string) {
	for _, r := range text {
		k.hit(string(r))
	}
}

// enter presses Enter on sel and waits for the page that says text.
func (k *keyboard) enter(sel, where, text string) {
	k.flow.t.Helper()
	k.tab(sel)
	k.hit("Enter")
	k.sees(chromedp.CSS(where), text)
}

// step goes to a step of the line, back from where the focus is or from the top, and looks
// at the page.
func (k *keyboard) step(href, text string) {
	k.flow.t.Helper()
	sel := `.line a[href$="` + href + `"]`
	for n := 0; !k.focused("body") && !k.focused(sel); n++ {
		if n == 150 {
			k.flow.t.Fatalf("%s: 150 keys back do not reach %s", k.name, sel)
		}
		k.n++
		p := input.DispatchKeyEventParams{Type: input.DispatchKeyEventTypeKeyDown, Key: "Tab", Code: "Tab", WindowsVirtualKeyCode: 9, Modifiers: 8} // with Shift
		if _, err := chromedp.Call(k.flow.ctx, input.DispatchKeyEvent, p); err != nil {
			k.flow.t.Fatal(err)
		}
	}
	k.enter(sel, "main", text)
	k.look(href)
}

func (k *keyboard) look(what string) {
	k.flow.t.Helper()
	scripts(k.flow.t, k.flow.ctx, true)
	checkFit(k.flow.t, k.flow.ctx, k.name+" "+what, k.wide, false)
	if k.name != "laptop" { // the colours and roles are the same with scripts and without
		checkAxe(k.flow.t, k.flow.ctx, k.name+" "+what)
	}
	scripts(k.flow.t, k.flow.ctx, k.scripts)
}

func (k *keyboard) run() {
	k.do(k.name, chromedp.Navigate(k.url+"/"), chromedp.WaitReady(chromedp.CSS("#definition")))
	k.look("jobs")
	k.tab("#definition")
	k.write("Qu")
	k.tab("#serial")
	k.write("Q-17")
	k.tab("#claim")
	k.write("dull")
	k.tab("#case")
	k.write("cl")
	k.enter("#open .go", "main", "Before it is switched on")
	k.look("intake")
	k.tab("#iw-photographs input[name=text]")
	k.write("12")
	k.hit("Enter")
	k.sees("#news", "Intake, photographs: 12")

	k.step("/sheet", "Set up next")
	if k.scripts {
		k.hit("ArrowDown", "w", "w", "f", "n")
	} else {
		k.tab(`ul.sheet > li button[value="works"]`)
		k.hit("Enter")
		k.sees("#news", "check 1")
		if !k.comes(`#r9 button[value="works"]`) { // the source of the strip that the socket feeds
			k.flow.t.Errorf("%s: the focus is not on the next row", k.name)
		}
		k.hit("Enter")
		k.sees("#news", "check 2")
		k.hit("Tab") // to the button beside
		k.hit("Enter")
	}
	k.sees("#news", "check 3")
	k.sees("#news", "fault 1")

	k.step("/path", "Enter a reading")
	k.tab("#value")
	k.write("38 mV")
	k.hit("Enter")
	k.sees(".spoken", "38 ")

	k.step("/works", "Record a work")
	k.enter(`#openings form:has(input[value="lid"]) button`, "#openings", "put back: lid")
	k.tab("#part")
	k.write("C31-a")
	k.hit("Enter")
	k.sees("#done", "repaired C31-a")
	k.enter(`#openings form:has(input[value="lid"]):has(input[name=closed]) button`, "#openings", "Nothing that was recorded")

	k.step("/line-up", "Next: whole tape path clean")
	k.enter(`#now form[action$="/gates"] button`, "#now", "Next: heads and guides")

	k.step("/prove", "stale, unproven or missing")
	k.tab(`.soakfields input[name="speed_error"]`)
	k.write("0.1")
	k.hit("Enter")
	k.sees("#news", "soak, 0 min: speed_error")

	k.step("/hand-over", "Not done")
	k.enter(`main a[href$="/closing"]`, "main", "at fault")
	k.look("closing")
	k.tab("#closing-remark")
	k.hit("Enter")
	k.sees("main h1", "The job is closed")
	k.step("/hand-over", "look at it")

	v := must(k.b.View(k.flow.ctx, must(k.b.Jobs(k.flow.ctx))[0].ID))
	kinds := map[job.Kind]int{}
	for _, e := range v.Current {
		kinds[e.Kind]++
	}
	if v.Job.Serial != "Q-17" || v.Job.Case != "closed" || kinds[job.KindCheck] != 3 || kinds[job.KindNote] != 1 || kinds[job.KindReading] != 1 || kinds[job.KindWork] != 1 || kinds[job.KindOpening] != 2 || kinds[job.KindGate] != 1 || kinds[job.KindSoak] != 1 {
		k.flow.t.Errorf("%s: on the record %v of %+v", k.name, kinds, v.Job)
	}
	if f := v.Faults(); len(f) != 1 || !strings.Contains(f[0].Name, "trim") && !strings.Contains(f[0].Name, "source") {
		k.flow.t.Errorf("%s: faults %+v", k.name, f)
	}
}
