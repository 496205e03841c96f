package web

import (
	"flag"
	"fmt"
	"net/http/httptest"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// TestPictureScreens opens the pages that show pictures, marks and photographs, as
// TestScreens does the others.
func TestPictureScreens(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	ctx := browser(t)
	dir, keep := *screens, true
	if dir == "" {
		dir, keep = t.ArtifactDir(), flag.Lookup("test.artifacts").Value.String() == "true"
	}
	watchConsole(t, ctx)
	b, id := goodStory()
	withPictures(b, id)
	srv := httptest.NewServer(newStoryServer(b).handler())
	defer srv.Close()
	root := "/jobs/" + id
	for _, s := range []struct{ name, path string }{
		{"pictures", "/library/definitions/hexastrand/pictures"},
		{"picture", tapeRoot + "?part=TP10-5"},
		{"marks", tapeRoot + "/marks?part=VRa-2&set=VRa-1&zoom=340"},
		{"path-spots", root + "/path?function=play&key=5&point=TP10/5"},
		{"works-photographs", root + "/works"},
		{"openings-photographs", root + "/openings"},
		{"step-spot", root + "/line-up?step=level/VRa/3"},
		{"report-photographs", root + "/report"},
	} {
		for _, size := range []struct {
			name string
			w, h int64
			dark bool
		}{{"laptop", 1280, 800, false}, {"phone", 390, 844, true}} {
			where := fmt.Sprintf("pictures-%s-%s", s.name, size.name)
			if ok, err := regexp.MatchString(*only, where); err != nil || !ok {
				continue
			}
			dark(t, ctx, size.dark)
			do(t, ctx, where, chromedp.EmulateViewport(size.w, size.h), chromedp.Navigate(srv.URL+s.path), chromedp.WaitReady(chromedp.CSS("main")))
			checkFit(t, ctx, where, float64(size.w), s.name == "report-photographs")
			if broken := ask1(t, ctx, where, chromedp.Evaluate[[]string](`Promise.all([...document.images].map(i => { i.loading = "eager"; return i.decode().then(() => "", () => i.src.slice(0, 120)); })).then(l => l.filter(s => s))`, chromedp.EvalAwaitPromise)); len(broken) > 0 {
				t.Errorf("%s: pictures that do not show: %q", where, broken)
			}
			if keep {
				savePicture(t, ctx, filepath.Join(dir, where+".png"), true)
			}
			checkAxe(t, ctx, where) // last: it takes pictures out that lie in the page
		}
	}
}

// TestMarksByKeyAndTap places a mark with the arrow keys, and one by a tap; both lie where the
// person saw the cross or the finger.
func TestMarksByKeyAndTap(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	ctx := browser(t)
	b, _ := goodStory()
	withPictures(b, "")
	srv := httptest.NewServer(newStoryServer(b).handler())
	defer srv.Close()
	place := func(part string) [2]float64 {
		t.Helper()
		for _, m := range must(b.Marks(t.Context(), "hexastrand")) {
			if m.Part == part {
				return [2]float64{m.X, m.Y}
			}
		}
		return [2]float64{}
	}
	do(t, ctx, "keys", chromedp.EmulateViewport(1280, 900), chromedp.Navigate(srv.URL+tapeRoot+"/marks?part=VRa-2"), chromedp.WaitReady(chromedp.CSS("input[type=image]")),
		chromedp.Focus(chromedp.CSS("input[type=image]")),
		chromedp.SendKeys(chromedp.CSS("input[type=image]"), kb.ArrowRight+kb.ArrowRight+kb.ArrowUp+kb.Enter), chromedp.WaitReady(chromedp.CSS(".kept")))
	if got := place("VRa-2"); got != [2]float64{0.52, 0.49} {
		t.Errorf("by keys: %v, want two steps right and one up from the middle", got)
	}
	do(t, ctx, "page", chromedp.Navigate(srv.URL+tapeRoot+"/marks?part=VRa-4"), chromedp.WaitReady(chromedp.CSS("input[type=image]")))
	at := ask1(t, ctx, "place", chromedp.Evaluate[[]float64](`(() => { const i = document.querySelector("input[type=image]"); i.scrollIntoView({block: "start"}); const r = i.getBoundingClientRect(); return [r.left + 100, r.top + 70, r.width, r.height]; })()`))
	do(t, ctx, "tap", chromedp.MouseClickXY(at[0], at[1]), chromedp.WaitReady(chromedp.CSS(".kept")))
	got := place("VRa-4")
	if dx, dy := got[0]*at[2]-100, got[1]*at[3]-70; dx < -1.5 || dx > 1.5 || dy < -1.5 || dy > 1.5 {
		t.Errorf("by a tap: off by %.1f, %.1f pixels", dx, dy)
	}
}
