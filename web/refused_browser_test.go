package web

import (
	"context"
	"errors"
	"flag"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestRefusalsInABrowser looks at what a person sees when something was refused: a form that
// comes back, and a page for each kind of error.
func TestRefusalsInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	b, id := goodStory()
	h := newStoryServer(b).handler()
	root := "/jobs/" + id
	// What answers a post is kept and served again, so that a browser can open it by its address.
	answers := map[string]*httptest.ResponseRecorder{}
	post := func(path string, form url.Values) *httptest.ResponseRecorder { return post(t, h, path, form) }
	answers["form-422"] = post(root+"/readings", url.Values{"point": {"TP10/1"}, "value": {"nine"}, "remark": {"lead moved"}})
	answers["draft-422"] = post("/library/definitions/new", url.Values{"step": {"type"}, "do": {"save"}, "yaml": {"machine: 1\n"}})
	answers["yaml-422"] = post("/library/definitions/new", url.Values{"step": {"type"}, "do": {"text"}, "yaml": {"machine: [1\n"}})
	answers["lost-404"] = get(t, h, "/library/drafts/draft-99")
	e := must(b.RecordNote(t.Context(), id, "", "said twice"))
	must(b.Withdraw(t.Context(), id, e.Seq, ""))
	answers["again-409"] = post(root+"/entries/"+strconv.FormatInt(e.Seq, 10)+"/withdraw", nil)
	answers["long-413"] = post(root+"/notes", url.Values{"text": {strings.Repeat("x", maxForm)}})
	b.failView = errors.New("the disk does not answer")
	answers["inside-500"] = get(t, h, root+"/works")
	b.failView = nil
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		a, ok := answers[strings.TrimPrefix(r.URL.Path, "/answer/")]
		if !ok {
			h.ServeHTTP(w, r)
			return
		}
		for k, v := range a.Header() {
			w.Header()[k] = v
		}
		_, _ = w.Write(a.Body.Bytes()) // with 200: a browser's own word on the status is no finding
	}))
	defer srv.Close()
	ctx := browser(t)
	watchConsole(t, ctx)
	for name, a := range answers {
		if want := name[strings.LastIndex(name, "-")+1:]; want != strconv.Itoa(a.Code) {
			t.Errorf("%s: status %d", name, a.Code)
			continue
		}
		lookAtRefusal(t, ctx, name, srv.URL+"/answer/"+name)
	}
}

func lookAtRefusal(t *testing.T, ctx context.Context, name, at string) {
	t.Helper()
	for _, size := range []struct {
		name string
		w, h int64
		dark bool
	}{{"laptop", 1280, 800, false}, {"phone", 390, 844, true}} {
		where := "refused-" + name + "-" + size.name
		dark(t, ctx, size.dark)
		do(t, ctx, where, chromedp.EmulateViewport(size.w, size.h), chromedp.Navigate(at), chromedp.WaitReady(chromedp.CSS("main")))
		checkFit(t, ctx, where, float64(size.w), false)
		if keep := *screens; keep != "" || flag.Lookup("test.artifacts").Value.String() == "true" {
			if keep == "" {
				keep = t.ArtifactDir()
			}
			savePicture(t, ctx, filepath.Join(keep, where+".png"), true)
		}
		checkAxe(t, ctx, where)
	}
}
