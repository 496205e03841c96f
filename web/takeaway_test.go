package web

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// storyExport stands for a bench that is exported: package export is tested by itself.
func storyExport(_ context.Context, w io.Writer) error {
	_, err := io.WriteString(w, "PK zip")
	return err
}

func TestTheBenchIsTakenAway(t *testing.T) {
	b, _ := goodStory()
	h := newStoryServer(b).handler()
	for _, path := range []string{"/take-away/bench.zip", apiRoot + "/export"} {
		w := get(t, h, path)
		if w.Code != http.StatusOK || w.Body.String() != "PK zip" || w.Header().Get("Content-Type") != "application/zip" ||
			!strings.Contains(w.Header().Get("Content-Disposition"), "bench.zip") {
			t.Errorf("%s: %d, %v, %q", path, w.Code, w.Header(), w.Body)
		}
	}
	if w := get(t, h, "/"); !strings.Contains(w.Body.String(), `href="/take-away"`) {
		t.Error("the list of jobs does not lead to it")
	}
	without := newServer(b, Options{}).handler()
	if w := get(t, without, "/take-away"); w.Code != http.StatusNotFound || !strings.Contains(w.Body.String(), "headstack export") {
		t.Errorf("a bench that is not exported: %d", w.Code)
	}
	if w := get(t, without, "/"); strings.Contains(w.Body.String(), `href="/take-away"`) {
		t.Error("a way to what is not offered")
	}
}

// TestAnExportThatFailsIsNoDownload: before the first byte it is a page with what to do, after
// it the connection breaks, so that no half file is taken for a whole one.
func TestAnExportThatFailsIsNoDownload(t *testing.T) {
	b, _ := goodStory()
	broken := errors.New("the disk cannot be read")
	begun := false
	srv := httptest.NewServer(NewServer(b, Options{Export: func(_ context.Context, w io.Writer) error {
		if begun {
			_, _ = w.Write([]byte(strings.Repeat("PK", 1<<20)))
		}
		return broken
	}}))
	defer srv.Close()
	ask := func() (int, error) {
		r, err := http.Get(srv.URL + "/take-away/bench.zip")
		if err != nil {
			return 0, err
		}
		defer r.Body.Close()
		_, err = io.Copy(io.Discard, r.Body)
		return r.StatusCode, err
	}
	if code, err := ask(); code != http.StatusInternalServerError || err != nil {
		t.Errorf("before the first byte: %d, %v; want a page that says so", code, err)
	}
	begun = true
	if code, err := ask(); err == nil {
		t.Errorf("after the first byte: %d and a whole download", code)
	}
	exporting.Lock()
	defer exporting.Unlock()
	if code, err := ask(); code != http.StatusConflict || err != nil {
		t.Errorf("a second at once: %d, %v", code, err)
	}
}
