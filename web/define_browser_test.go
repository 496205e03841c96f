package web

import (
	"flag"
	"fmt"
	"net/http/httptest"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"headstack/job"
	"headstack/job/memory"
)

// TestDefineInABrowser describes a recorder from nothing in a browser, without scripts as
// the pages have none, its speed with keys alone; looks at each step at both sizes; and
// opens a job with what was saved.
func TestDefineInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	b := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{})
	srv := httptest.NewServer(NewServer(b, Options{Patience: time.Minute}))
	defer srv.Close()
	ctx := browser(t)
	watchConsole(t, ctx)
	dir, keep := *screens, true
	if dir == "" {
		dir, keep = t.ArtifactDir(), flag.Lookup("test.artifacts").Value.String() == "true"
	}
	f := flow{t, ctx, b, srv.URL}
	look := func(name string, axe bool) {
		for _, size := range []struct {
			name string
			w, h int64
			dark bool
		}{{"phone", 390, 844, true}, {"laptop", 1280, 800, false}} {
			where := fmt.Sprintf("define-%s-%s", name, size.name)
			scripts(t, ctx, true)
			dark(t, ctx, size.dark)
			do(t, ctx, where, chromedp.EmulateViewport(size.w, size.h))
			checkFit(t, ctx, where, float64(size.w), false)
			if axe {
				checkAxe(t, ctx, where)
			}
			if keep {
				savePicture(t, ctx, filepath.Join(dir, where+".png"), true)
			}
			scripts(t, ctx, false)
		}
	}
	do(t, ctx, "a long one", chromedp.Navigate(srv.URL+"/library/definitions/hexastrand/edit?step=stages"))
	look("long", true)
	scripts(t, ctx, false)
	defer scripts(t, ctx, true)
	f.do("library", chromedp.EmulateViewport(1280, 800), chromedp.Navigate(srv.URL+"/library"))
	f.follow("new", `a[href="/library/definitions/new"]`)
	for _, s := range fourLane {
		f.follow("step "+s.step, chromedp.CSS(`button[value="step:`+s.step+`"]`))
		if s.step == "speeds" {
			k := keys{t: t, ctx: ctx}
			for range 100 {
				if ask1(t, ctx, "focus", chromedp.Evaluate[bool](`document.readyState == "complete" && document.activeElement.id == "f-cm_s"`)) {
					break
				}
				time.Sleep(50 * time.Millisecond)
			}
			for _, r := range s.items[0]["cm_s"] { // the first field has the focus
				k.hit(string(r))
			}
			k.hit("Enter")
			f.sees("main", "speed 9.525 is in the draft")
			look(s.step, true)
			continue
		}
		for _, item := range s.items {
			if item["kind"] == "coupling-capacitor" {
				f.do("kind", chromedp.SetValue(chromedp.CSS(`[name="f.kind"]`), item["kind"]))
				f.follow("its faults", `button[value="show"]`)
				f.do("its own", chromedp.Click(chromedp.CSS(".faults summary")))
			}
			for key, v := range item {
				f.do(key, chromedp.SetValue(chromedp.CSS(`[name="`+fieldName(key)+`"]`), v))
			}
			if item["id"] == "C1" {
				look("faults", true)
			}
			f.follow("put in", "#put")
		}
		f.sees("main", "in the draft")
		look(s.step, true)
	}
	f.sees("main", "it loads")
	f.follow("go back", `button[value="step:trims"]`)
	f.follow("change", `button[value="edit:0"]`)
	f.do("no such opening", chromedp.SetValue(chromedp.CSS(`#f-part`), "VR1"))
	f.follow("put in", "#put")
	f.sees("#f-part-bad", "all replicas would be called")
	look("refused", true)
	f.do("as it was", chromedp.SetValue(chromedp.CSS(`#f-part`), "VR1-{track}"))
	f.follow("put in", "#put")
	f.follow("save", "#save")
	f.sees("main", "Added: Ostler Fourlane")
	id := holdFourLane(t, b)
	f.do("path", chromedp.Navigate(srv.URL+"/jobs/"+id+"/path?function=play&key=2"))
	for _, part := range []string{"H-2", "U1-2", "C1-2", "VR1-2", "U9-L", "J9-L", "TP1-2"} {
		f.sees("main", part)
	}
}
