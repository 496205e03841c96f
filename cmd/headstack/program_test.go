package main

import (
	"bufio"
	"context"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// served is the program itself, built and started on a bench.
type served struct {
	cmd *exec.Cmd
	url string
}

func serveProgram(t *testing.T, program, bench string) served {
	t.Helper()
	cmd := exec.Command(program, "serve", "--bench", bench, "--port", "0")
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	line, err := bufio.NewReader(out).ReadString('\n')
	url := regexp.MustCompile(`http://[^ ]*`).FindString(line)
	if err != nil || url == "" {
		t.Fatalf("it says %q, %v", line, err)
	}
	return served{cmd, url}
}

// TestTheProgramItself builds the program, makes the demo's job in a real browser that can
// reach nothing else, keeps a reading, kills the program with the reading acknowledged, and
// finds it again.
func TestTheProgramItself(t *testing.T) {
	if testing.Short() {
		t.Skip("short: the program is not built and opened in a browser")
	}
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("HEADSTACK_NEED_TOOLS") == "1" {
			t.Fatal(err)
		}
		t.Skip("no chromium: install Debian's package chromium")
	}
	program := filepath.Join(t.TempDir(), "headstack")
	if runtime.GOOS == "windows" {
		program += ".exe"
	}
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	bench := filepath.Join(t.TempDir(), "bench")
	s := serveProgram(t, program, bench)

	ctx, stop := chromedp.NewExecAllocator(t.Context(), chromedp.ExecPath(chromium), chromedp.NoSandbox, chromedp.Headless, chromedp.DisableGPU, chromedp.NoFirstRun,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true), chromedp.Flag("host-resolver-rules", "MAP * ~NOTFOUND , EXCLUDE 127.0.0.1"), chromedp.UserDataDir(t.TempDir()))
	defer stop()
	ctx, stop = chromedp.NewContext(ctx)
	defer stop()
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatal(err)
	}
	do := func(what string, actions ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		short, cancel := context.WithTimeout(ctx, 2*time.Minute)
		defer cancel()
		if err := chromedp.Do(short, actions...); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
	}
	// own fails for anything that a page took from elsewhere.
	own := func(what string) {
		t.Helper()
		short, cancel := context.WithTimeout(ctx, time.Minute)
		defer cancel()
		taken, err := chromedp.Run(short, chromedp.Evaluate[[]string](`performance.getEntriesByType("resource").map(e => e.name)`))
		if err != nil {
			t.Fatal(err)
		}
		for _, u := range taken {
			if !strings.HasPrefix(u, s.url) {
				t.Errorf("%s takes %s from elsewhere", what, u)
			}
		}
	}
	do("first visit", chromedp.EmulateViewport(1280, 800), chromedp.Navigate(s.url), chromedp.WaitVisible(chromedp.CSS(`form[action="/demo"] button`)))
	own("the first page")
	do("the demo's job", chromedp.Focus(chromedp.CSS(`form[action="/demo"] button`)), chromedp.KeyEvent("\r"), chromedp.WaitVisible(chromedp.CSS(".jobname")))
	own("the job's page")
	for _, page := range []string{"intake", "sheet", "captures", "listen", "works", "openings", "line-up", "prove", "hand-over", "labels", "record", "report"} {
		do(page, chromedp.Navigate(s.url+"jobs/job-0001/"+page), chromedp.WaitReady(chromedp.CSS("main, body > *")))
		own(page)
	}
	do("a reading", chromedp.Navigate(s.url+"jobs/job-0001/path?function=play&key=3"), chromedp.WaitVisible(chromedp.CSS("#reading")), chromedp.SetValue(chromedp.CSS("#point"), "TP10/3"),
		chromedp.Focus(chromedp.CSS("#value")), chromedp.KeyEvent("41m7\r"), chromedp.WaitVisible(chromedp.CSS("#news .kept, #news .question")))
	own("the signal path")

	if err := s.cmd.Process.Kill(); err != nil { // with everything still open
		t.Fatal(err)
	}
	_ = s.cmd.Wait()
	if out, err := exec.Command(program, "verify", "--bench", bench).CombinedOutput(); err != nil {
		t.Errorf("after the kill: %v: %s", err, out)
	}
	s = serveProgram(t, program, bench)
	do("the record", chromedp.Navigate(s.url+"jobs/job-0001/record"), chromedp.WaitReady(chromedp.CSS(".record")))
	short, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	text, err := chromedp.Run(short, chromedp.Evaluate[string](`document.querySelector("main").innerText`))
	if err != nil || !strings.Contains(text, "41.7") {
		t.Errorf("the reading that was acknowledged is gone (%v)", err)
	}
	res, err := http.Get(s.url + "nowhere")
	if err != nil || res.StatusCode != http.StatusNotFound {
		t.Errorf("a page that is not there: %v %v", res, err)
	} else {
		res.Body.Close()
	}
}
