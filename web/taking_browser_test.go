package web

import (
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"headstack/sim/meter"
)

// TestTakingInABrowser takes readings with the key of the card and with a tap, sees the
// values on the way, and stops one.
func TestTakingInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	t.Parallel()
	b, j, m := meteredBench(t)
	b.advice = storyAdvice
	srv := httptest.NewServer(newStoryServer(b).handler())
	defer srv.Close()
	ctx := browser(t)
	watchConsole(t, ctx)
	f := flow{t, ctx, b.Bench, srv.URL}
	entries := func() int { return len(must(b.View(t.Context(), j.ID)).Entries) }

	must(b.RecordNote(t.Context(), j.ID, "", "the card plans once something is recorded"))
	m.Touch(meter.Input{AC: 0.31, ToneHz: 315})
	do(t, ctx, "the path", chromedp.EmulateViewport(390, 844), chromedp.Navigate(srv.URL+"/jobs/"+j.ID+"/path"), chromedp.WaitReady(chromedp.CSS("#next [data-meter]")))
	// A stray key outside of the card reads nothing.
	do(t, ctx, "a stray m", chromedp.KeyEvent("m"), chromedp.Sleep(300*time.Millisecond))
	if n := entries(); n != 1 {
		t.Fatalf("%d entries after a stray key, want 1", n)
	}
	do(t, ctx, "the key", chromedp.Focus(chromedp.CSS("#next [data-meter]")), chromedp.KeyEvent("m"))
	f.sees("#news", "steady for")
	if e := must(b.View(t.Context(), j.ID)).Entries[1]; e.Reading == nil || e.Reading.Instrument != "dmm1" || e.Reading.Key != "a" {
		t.Fatalf("%+v", e)
	}

	// It is over-range, and shown so, until a hand stops it.
	m.Touch(meter.Input{AC: 5000})
	do(t, ctx, "a tap", chromedp.WaitReady(chromedp.CSS("#reading [data-meter]")), chromedp.Click(chromedp.CSS("#reading [data-meter]")))
	f.sees("#reading [data-settling]", "over-range")
	do(t, ctx, "stop", chromedp.Click(chromedp.CSS("#reading [data-settling] button")))
	f.sees("#reading [data-settling]", "Stopped. Nothing was entered")

	// What does not stand is said where it was asked for, with what to do.
	do(t, ctx, "again", chromedp.Click(chromedp.CSS("#reading [data-meter]")))
	f.sees("#reading [data-settling]", "Set a higher range")
	checkAxe(t, ctx, "what did not stand")
	if *screens != "" {
		savePicture(t, ctx, *screens+"/settling-phone.png", true)
	}
	if n := entries(); n != 2 {
		t.Errorf("%d entries, want 2", n)
	}
	// By Enter the typed reading is meant, not the meter.
	do(t, ctx, "typed", chromedp.SendKeys(chromedp.CSS("#reading #value"), "310m"+kb.Enter))
	f.sees("#news", "Kept: reading 2")
	if e := must(b.View(t.Context(), j.ID)).Entries[2]; e.Remark != "" || strings.Contains(e.Remark, "steady") {
		t.Errorf("%+v", e)
	}
}
