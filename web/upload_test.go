package web

import (
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"headstack/job"
	"headstack/job/memory"
)

// TestUploadInABrowser brings real bytes in by the forms: an interface is looped back and
// a capture is measured through it, once with the scripts and once without.
func TestUploadInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	t.Parallel()
	p := shortProgramme(t)
	wav := filepath.Join(t.TempDir(), "loop.wav")
	if err := os.WriteFile(wav, written(t, p, 0, 44100), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, scripts := range []bool{true, false} {
		t.Run(map[bool]string{true: "scripts", false: "no scripts"}[scripts], func(t *testing.T) {
			b := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{})
			must(b.AddProgramme(t.Context(), "p.yaml", must(p.Encode())))
			must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
			srv := httptest.NewServer(NewServer(b, Options{Patience: time.Minute}))
			defer srv.Close()
			ctx := browser(t)
			watchConsole(t, ctx)
			if !scripts {
				if _, err := chromedp.Call(ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
					t.Fatal(err)
				}
			}
			flow{t, ctx, b, srv.URL}.upload(wav)
		})
	}
}

func (f flow) upload(wav string) {
	f.do("library", chromedp.Navigate(f.url+"/library"),
		chromedp.SendKeys(chromedp.CSS("#loop-name"), "Bench box"),
		chromedp.SetUploadFiles(chromedp.CSS("#loop-file"), []string{wav}))
	f.follow("loop back", "#interfaces form .go")
	f.sees("main", "Response of the interface")
	f.sees("main", "loop.wav")

	f.do("captures", chromedp.Navigate(f.jobURL()+"/captures"),
		chromedp.SetValue(chromedp.CSS("#played"), "programme/short-comb"),
		chromedp.SetValue(chromedp.CSS("#interface"), "bench-box"),
		chromedp.SendKeys(chromedp.CSS("#tracks"), "1"),
		chromedp.Click(chromedp.CSS("input[name=while_recording]")),
		chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{wav}))
	f.follow("upload", "form[data-upload] .go")
	f.sees("main", "Record programme: Short comb, captured while it was recorded")
	f.sees("main", "its response is taken off")
	f.sees("#m-level", "Response")

	f.do("other tracks", chromedp.SetValue(chromedp.CSS("#tracks"), "2"), chromedp.SetValue(chromedp.CSS("#interface"), ""))
	f.follow("measure again", "#again .go")
	f.sees("main", "none named; its own response is in the figures")
	v := f.view()
	last := v.Current[len(v.Current)-1].Capture
	if len(v.Entries) != 2 || len(v.Current) != 1 || last.Programme != "Short comb" || !last.WhileRecording || last.Interface != "" || last.Tracks[0] != 2 || last.Function != "record-play" {
		f.t.Errorf("record of %d entries, the last %+v", len(v.Entries), last)
	}
}
