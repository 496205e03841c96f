package web

import (
	"bytes"
	"context"
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"headstack/job"
	"headstack/job/memory"
	"headstack/lineup"
	"headstack/measure"
)

// TestLineUpInABrowser goes through a line-up without scripts on a real bench, at laptop
// and phone size: gates by one tap, a reading, a turn, a sign-off with its reason, the
// large read-out, the planned openings. Each page on the way is held against the checks
// for accessibility and for fingers.
func TestLineUpInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	ctx := browser(t)
	watchConsole(t, ctx)
	scripts(t, ctx, false)
	for _, size := range []struct {
		name string
		w, h int64
	}{{"laptop", 1280, 800}, {"phone", 390, 844}} {
		b := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{})
		id := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand", Serial: "Q-0417", Case: measure.CaseClosed})).ID
		srv := httptest.NewServer(NewServer(b, Options{Patience: time.Minute}))
		dark(t, ctx, size.name == "phone")
		do(t, ctx, size.name, chromedp.EmulateViewport(size.w, size.h))
		lineUpFlow{flow{t, ctx, b, srv.URL}, id, size.name, float64(size.w)}.run()
		srv.Close()
	}
}

type lineUpFlow struct {
	flow
	id    string
	where string
	wide  float64
}

func (f lineUpFlow) check(what string) {
	f.t.Helper()
	checkFit(f.t, f.ctx, f.where+" "+what, f.wide, false)
	scripts(f.t, f.ctx, true) // which the checks themselves are; the page's own were not run
	checkAxe(f.t, f.ctx, f.where+" "+what)
	scripts(f.t, f.ctx, false)
}

func scripts(t *testing.T, ctx context.Context, on bool) {
	t.Helper()
	if _, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: !on}); err != nil {
		t.Fatal(err)
	}
}

func (f lineUpFlow) run() {
	root := f.url + "/jobs/" + f.id + "/line-up"
	f.do("line-up", chromedp.Navigate(root))
	f.sees("#now", "Next: whole tape path clean and dry")
	f.check("first")
	f.follow("seen to", `#now form[action$="/gates"] button`)
	f.sees("#now", "Next: heads and guides demagnetised")
	f.sees("#now .cautions", "1.5 m")
	for _, g := range []string{"demagnetised", "demagnetiser_away", "scrap_run", "noise_reduction_off", "pitch_centre", "warm"} {
		f.follow(g, chromedp.CSS(`#phase-gates form:has(input[value="`+g+`"]) button`))
	}
	f.sees("#now", "Next: transport steady")
	f.keep("flutter/9.525", "0.07")
	f.keep("drift/9.525", "0.02")
	f.keep("speed/VR1", "0.1")
	f.keep("azimuth/AZ", "4.5")
	f.do("the step", chromedp.Navigate(root+"?step=AZ#now"))
	f.sees("#now", "✕ out")
	f.sees("#now .turn", "turn")
	f.check("a step that is out")
	f.do("how far", chromedp.SendKeys(chromedp.CSS("#by"), "35°"))
	f.follow("turned", `#now button[value="anticlockwise"]`)
	f.sees("#now", "AZ was turned since it was read")
	f.do("leave it", chromedp.Click(chromedp.CSS(`#now details:has(#reason) summary`)), chromedp.SendKeys(chromedp.CSS("#reason"), "sealed, left to the owner"), chromedp.SendKeys(chromedp.CSS("#initials"), "JB"))
	f.follow("sign off", `#now form[action$="/sign-offs"] button`)
	f.sees("#proof", "sealed, left to the owner (JB)")
	f.check("after a sign-off")
	l, _, err := f.b.LineUp(f.ctx, f.id)
	if err != nil {
		f.t.Fatal(err)
	}
	if st, _ := l.Status.Of("azimuth/AZ"); st.Signed == nil || st.Signed.By != "JB" {
		f.t.Errorf("the azimuth stands as %+v", st)
	}
	if st, _ := l.Status.Of("level/VRa/1"); st.State != lineup.StateDue {
		f.t.Errorf("the play level is %s", st.State)
	}
	f.do("read-out", chromedp.Navigate(root+"/read-out?step=AZ"))
	f.sees("#readout", "azimuth screw")
	f.sees("#readout", "read it again")
	f.check("read-out")
	f.do("by itself", chromedp.Navigate(root+"/read-out?step=AZ&renew=1"))
	must(f.b.Record(f.ctx, f.id, job.Entry{Figure: &job.Figure{Step: "azimuth/AZ", Value: -1.25, Unit: "arcmin"}}))
	f.sees("#readout", "−1.2")
	f.do("sheet", chromedp.Navigate(root+"/sheet"), chromedp.WaitReady(chromedp.CSS(".paper")))
	f.check("sheet")
	f.do("openings", chromedp.Navigate(f.url+"/jobs/"+f.id+"/openings"))
	f.sees("main", "Proved least")
	f.check("openings")
}

// keep enters a reading at a step.
func (f lineUpFlow) keep(step, value string) {
	f.t.Helper()
	f.do(step, chromedp.Navigate(f.url+"/jobs/"+f.id+"/line-up?step="+step+"#now"), chromedp.SendKeys(chromedp.CSS("#figure"), value))
	f.follow(step, `#now form[action$="/figures"] .go`)
	f.sees("#now", value)
}

// TestPaperSheetOnA4 lays the sheets out as they print: A4 less its margins is 186 by
// 281 mm, 703 by 1062 CSS pixels. Nothing may be wider or higher: a long round goes over
// several sheets.
func TestPaperSheetOnA4(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	ctx := browser(t)
	if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"}); err != nil {
		t.Fatal(err)
	}
	for _, state := range []string{"lining", "empty"} {
		b, id := benchOf(state)
		srv := httptest.NewServer(newStoryServer(b).handler())
		do(t, ctx, state, chromedp.EmulateViewport(703, 1062), chromedp.Navigate(srv.URL+"/jobs/"+id+"/line-up/sheet"))
		if w := ask1(t, ctx, state, chromedp.Evaluate[float64](`document.documentElement.scrollWidth`)); w > 703 {
			t.Errorf("%s: the sheet is %g px wide on paper of 703", state, w)
		}
		type round struct {
			Title  string
			Height float64
			Lines  int
		}
		rounds := ask1(t, ctx, state, chromedp.Evaluate[[]round](`[...document.querySelectorAll(".paper:not(.signs)")].map(e =>
			({Title: e.querySelector("h2").textContent, Height: e.getBoundingClientRect().height, Lines: e.querySelectorAll("tbody tr:not(.headline)").length}))`))
		for _, r := range rounds {
			if r.Height > 1062 {
				t.Errorf("%s: %q of %d lines is %g px high on paper of 1062", state, r.Title, r.Lines, r.Height)
			}
		}
		pdf, err := chromedp.Call(ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: new(true)})
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(pdf.Data, []byte("/Type /Page\n")); n < len(rounds) {
			t.Errorf("%s: %d rounds are printed on %d pages: they do not begin on pages of their own", state, len(rounds), n)
		}
		if !strings.Contains(string(pdf.Data), "MediaBox [0 0 594.95") { // 210 mm in points
			t.Errorf("%s: not A4", state)
		}
		if keep := *screens; keep != "" {
			savePicture(t, ctx, fmt.Sprintf("%s/%s-paper.png", keep, state), true)
		}
		srv.Close()
	}
}
