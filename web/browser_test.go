package web

import (
	"context"
	_ "embed"
	"flag"
	"fmt"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// axe-core 4.14.1 (Deque Systems, MPL 2.0), licence beside it.
//
//go:embed testdata/axe-core/axe.min.js
var axeSource string

var only = flag.String("story", "", "of the screens, only those whose name this regular expression matches")

var screens = flag.String("screens", "", "folder for a picture of each page in each state; empty: the test's artifact folder")

// browser starts one browser for a test, or skips where there is none. more are further
// options of its command line.
func browser(t *testing.T, more ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		if os.Getenv("HEADSTACK_NEED_TOOLS") == "1" {
			t.Fatal("no chromium found, and HEADSTACK_NEED_TOOLS=1")
		}
		t.Skip("no chromium found: the pages were not tried in a browser; install Debian's package chromium")
	}
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), append(more, chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.Headless, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true), chromedp.UserDataDir(t.TempDir()))...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	// The first run starts the browser and ties its life to the context given: it
	// must not be one of the short ones of the steps.
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("starting %s: %v", path, err)
	}
	return ctx
}

func do(t *testing.T, ctx context.Context, what string, actions ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	short, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	if err := chromedp.Do(short, actions...); err != nil {
		t.Fatalf("%s: %v", what, err)
	}
}

func ask1[T any](t *testing.T, ctx context.Context, what string, a chromedp.Action[T]) T {
	t.Helper()
	return askFor(t, ctx, what, time.Minute, a)
}

func askFor[T any](t *testing.T, ctx context.Context, what string, patience time.Duration, a chromedp.Action[T]) T {
	t.Helper()
	short, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	v, err := chromedp.Run(short, a)
	if err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	return v
}

func dark(t *testing.T, ctx context.Context, on bool) {
	t.Helper()
	value := "light"
	if on {
		value = "dark"
	}
	if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: value}}}); err != nil {
		t.Fatal(err)
	}
}

// watchConsole fails the test for anything the page writes to the console: a
// refused inline style would show there.
func watchConsole(t *testing.T, ctx context.Context) {
	ctx, stop := context.WithCancel(ctx)
	messages := chromedp.Console(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for m, err := range messages {
			if err != nil {
				return
			}
			// The story of the lost page is a 404 on purpose.
			if !strings.Contains(m.Text, "404") {
				t.Errorf("console: %s: %s (%s)", m.Type, m.Text, m.URL)
			}
		}
	}()
	t.Cleanup(func() { stop(); <-done })
}

type axeViolation struct {
	ID, Impact, Help string
	Nodes            []string
}

// checkAxe runs the accessibility checks on the page as it stands. Of long lists
// of the same markup the first rows stand for all: the checks take a second per
// hundred rows.
func checkAxe(t *testing.T, ctx context.Context, where string) {
	t.Helper()
	ask1(t, ctx, "axe", chromedp.Evaluate[bool](axeSource+"\n;true"))
	// Each finding and each rule copies the markup of what it looks at, and of all around it:
	// a picture that lies in the page as text would be copied a thousand times. What is
	// looked at of it, its name and size, stays.
	ask1(t, ctx, "axe", chromedp.Evaluate[bool](`document.querySelectorAll('img[src^="data:"]').forEach(i => { i.src = "data:image/gif;base64,R0lGODlhAQABAAAAACwAAAAAAQABAAAC"; }); true`))
	list := askFor(t, ctx, "axe", 5*time.Minute, chromedp.Evaluate[[]axeViolation](`axe.run({include: [["html"]], exclude: [[".sheet li:nth-child(n+3)"], [".words > :nth-child(n+12)"], [".record tr:nth-child(n+12)"], [".figures tr:nth-child(n+8)"], [".figures td:nth-child(n+9)"], ["svg.plot > *"], [".steps li:nth-child(n+9)"]]}, {resultTypes: ["violations"]}).then(r => r.violations.map(v =>
		({ID: v.id, Impact: v.impact, Help: v.help, Nodes: v.nodes.slice(0, 3).map(n => n.html.slice(0, 160) + " " + n.failureSummary)})))`, chromedp.EvalAwaitPromise))
	for _, v := range list {
		t.Errorf("%s: %s (%s): %s\n\t%s", where, v.ID, v.Impact, v.Help, strings.Join(v.Nodes, "\n\t"))
	}
}

// TestScreens opens each page in each state at laptop and phone size, by day and
// night: it must not be wider than the screen, its targets must be large enough,
// axe must find nothing, and a picture of it is kept where -screens or -artifacts
// asks for one.
func TestScreens(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	t.Parallel()
	ctx := browser(t)
	dir, keep := *screens, true
	if dir == "" {
		dir, keep = t.ArtifactDir(), flag.Lookup("test.artifacts").Value.String() == "true"
	}
	watchConsole(t, ctx)
	for _, state := range states {
		b, id := benchOf(state)
		srv := httptest.NewServer(newStoryServer(b).handler())
		for _, s := range stories(state, id) {
			for _, size := range []struct {
				name string
				w, h int64
				dark bool
			}{{"laptop", 1280, 800, false}, {"phone", 390, 844, true}} {
				where := fmt.Sprintf("%s-%s-%s", state, s.name, size.name)
				if ok, err := regexp.MatchString(*only, where); err != nil || !ok {
					continue
				}
				dark(t, ctx, size.dark)
				do(t, ctx, where, chromedp.EmulateViewport(size.w, size.h), chromedp.Navigate(srv.URL+s.path), chromedp.WaitReady(chromedp.CSS("main")))
				checkFit(t, ctx, where, float64(size.w), s.name == "report")
				// The enormous state is the markup of the good one many times over; the
				// colours of the night are the same in every state.
				if state == "good" || state != "enormous" && !size.dark {
					checkAxe(t, ctx, where)
				}
				if keep {
					savePicture(t, ctx, filepath.Join(dir, where+".png"), state != "enormous")
				}
			}
		}
		srv.Close()
	}
}

func savePicture(t *testing.T, ctx context.Context, file string, full bool) {
	t.Helper()
	shot := chromedp.CaptureScreenshot()
	if full {
		shot = chromedp.FullScreenshot(100)
	}
	if err := os.WriteFile(file, ask1(t, ctx, file, shot), 0o644); err != nil {
		t.Fatal(err)
	}
}

// checkFit looks for what a finger or a narrow screen would stumble over.
func checkFit(t *testing.T, ctx context.Context, where string, width float64, isReport bool) {
	t.Helper()
	if w := ask1(t, ctx, where, chromedp.Evaluate[float64](`document.documentElement.scrollWidth`)); w > width {
		t.Errorf("%s is %g px wide on a screen of %g", where, w, width)
	}
	if isReport {
		return
	}
	small := ask1(t, ctx, where, chromedp.Evaluate[[]string](`[...document.querySelectorAll("button, input:not([type=hidden], [type=checkbox], [type=radio]), select, textarea, summary, .button, nav a, a.cell")]
		.filter(e => e.checkVisibility() && !e.closest(".hidden") && e.getBoundingClientRect().height < 43.5).slice(0, 5).map(e => e.outerHTML.slice(0, 120) + " " + e.getBoundingClientRect().height)`))
	for _, s := range small {
		t.Errorf("%s: target under 44 px: %s", where, s)
	}
}

// TestReportFitsPaper lays the report out as it prints: A4 less its margins is
// 182 mm, 688 CSS pixels, and a table that is wider would be cut.
func TestReportFitsPaper(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	ctx := browser(t)
	if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"}); err != nil {
		t.Fatal(err)
	}
	for _, state := range states {
		b, id := benchOf(state)
		if id == "" {
			continue
		}
		srv := httptest.NewServer(newStoryServer(b).handler())
		do(t, ctx, state, chromedp.EmulateViewport(688, 1000), chromedp.Navigate(srv.URL+"/jobs/"+id+"/report"))
		if w := ask1(t, ctx, state, chromedp.Evaluate[float64](`document.documentElement.scrollWidth`)); w > 688 {
			wide := ask1(t, ctx, state, chromedp.Evaluate[[]string](`[...document.querySelectorAll("table")].filter(e => e.getBoundingClientRect().right > 689).slice(0, 3).map(e => e.textContent.slice(0, 80) + " " + e.getBoundingClientRect().right)`))
			t.Errorf("%s: the report is %g px wide on paper of 688: %q", state, w, wide)
		}
		srv.Close()
	}
}
