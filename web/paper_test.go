package web

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"headstack/handout"
	"headstack/paper"
	"headstack/paper/pdftest"
)

func fetch(t *testing.T, h http.Handler, path string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest("GET", "http://localhost"+path, nil)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestPaperFiles(t *testing.T) {
	b, id := goodStory()
	h := newStoryServer(b).handler()
	for path, want := range map[string]string{
		"/report.pdf":               "As found and as left, against tolerance",
		"/card.pdf?paper=letter":    "What is wrong with it",
		"/check-sheet.pdf":          "How to fill it in",
		"/line-up/sheet.pdf":        "before",
		"/labels.pdf":               "comes and goes",
		"/labels.pdf?of=strips":     "tracks 1 to 6",
		"/labels.pdf?of=tapes":      "nWb/m",
		"/labels.pdf?of=cups&all=1": "screws of one cup",
		"/labels.pdf?of=connectors&all=1&sheet=own&grid=3x8&label=70x37&first=0x0.5&from=5": "W5",
	} {
		for _, root := range []string{"", apiRoot} {
			w := fetch(t, h, root+"/jobs/"+id+path)
			pdf := w.Body.Bytes()
			if w.Code != 200 || w.Header().Get("Content-Type") != "application/pdf" || !strings.HasPrefix(w.Header().Get("Content-Disposition"), `attachment; filename="job-0001-`) {
				t.Errorf("%s%s: %d, %v, %.200s", root, path, w.Code, w.Header(), pdf)
				continue
			}
			if root != "" {
				continue
			}
			if text := pdftest.Text(t, pdf); !strings.Contains(text, want) {
				t.Errorf("%s does not say %q", path, want)
			}
			pdftest.Inside(t, pdf, paper.Margin)
			if again := fetch(t, h, "/jobs/"+id+path).Body.String(); again != string(pdf) {
				t.Errorf("%s: two files of the same record differ", path)
			}
		}
	}
	stamp, err := handout.ReadStamp(fetch(t, h, "/jobs/"+id+"/report").Body.Bytes())
	if err != nil || stamp.Job != id {
		t.Errorf("the HTML report: %+v, %v", stamp, err)
	}
}

// A sheet that cannot be is refused on the page, with what was typed still in it.
func TestRefusedLabelsKeepWhatWasTyped(t *testing.T) {
	b, id := goodStory()
	h := newStoryServer(b).handler()
	for path, want := range map[string][]string{
		"/labels.pdf?sheet=own&grid=9x9&from=3":    {"the labels end 630 mm", `value="9x9"`, `value="3"`, "aria-invalid"},
		"/labels.pdf?from=400":                     {"label 400 to begin with", `value="400"`},
		"/labels.pdf?from=x":                       {"is not a whole number"},
		"/labels.pdf?of=strips&width=2&note3=oboe": {"from 8 to 60 mm", `value="2"`, `value="oboe"`},
		"/labels.pdf?of=strips&width=wide":         {"is not a number of mm"},
		"/labels.pdf?sheet=round":                  {"no division of a sheet is called"},
	} {
		w := fetch(t, h, "/jobs/"+id+path)
		if w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%s: %d", path, w.Code)
		}
		for _, s := range want {
			if !strings.Contains(w.Body.String(), s) {
				t.Errorf("%s does not say %q", path, s)
			}
		}
		if w := fetch(t, h, apiRoot+"/jobs/"+id+path); w.Code != http.StatusUnprocessableEntity || w.Header().Get("Content-Type") != "application/problem+json" {
			t.Errorf("API %s: %d %s", path, w.Code, w.Header().Get("Content-Type"))
		}
	}
	for _, path := range []string{"/report.pdf?paper=A5", "/check-sheet.pdf?paper=x"} {
		if w := fetch(t, h, "/jobs/"+id+path); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "A4 or letter") {
			t.Errorf("%s: %d", path, w.Code)
		}
	}
	if w := fetch(t, h, "/jobs/job-9999/report.pdf"); w.Code != http.StatusNotFound {
		t.Errorf("no such job: %d", w.Code)
	}
}
