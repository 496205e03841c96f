package web

import (
	"bytes"
	"cmp"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"headstack/diagnosis"
	"headstack/instrument"
	"headstack/measure"
	"headstack/plot"
	"headstack/report"
	"headstack/unit"
)

//go:embed templates
var templateFiles embed.FS

var funcs = template.FuncMap{
	"asset":    assetURL,
	"percent":  unit.Probability,
	"helpof":   helpOf,
	"whyof":    helpOfCaution,
	"tone":     func(hz float64) string { return unit.Frequency(unit.Hertz(hz)) },
	"caseOf":   report.CaseWord,
	"mode":     report.ModeWord,
	"faults":   report.FaultsText,
	"minutes":  minutesText,
	"when":     whenText,
	"bytes":    bytesText,
	"mark":     statusMark,
	"outcome":  outcomeMark,
	"outcomes": func() []choice { return outcomes },
	"symptoms": func() []choice { return symptoms },
	"cases":    func() []choice { return cases },

	"conditions": func() []choice { return conditions },

	"workkinds":       func() []choice { return workKinds },
	"provocations":    func() []choice { return provocations },
	"instrumentkinds": func() []choice { return instrumentKinds },
	"quantities":      instrument.Quantities,
	"join":            strings.Join,
	"first":           first,
	"add":             func(a, b int) int { return a + b },
	"dict":            dict,
	"long":            longTable,
	"figure":          number,
	"figures":         func(t plot.Table) template.HTML { return t.HTML() },
	"side":            sideText,
	"date":            func(t time.Time) string { return t.UTC().Format("2 January 2006") },
}

// pagesByName has one template set per page: the layout, the shared parts and
// the page's own file.
var pagesByName = parsePages()

func parsePages() map[string]*template.Template {
	base := template.Must(template.New("layout.html").Funcs(funcs).ParseFS(templateFiles, "templates/layout.html", "templates/parts*.html"))
	files, err := fs.Glob(templateFiles, "templates/page_*.html")
	if err != nil {
		panic("web: " + err.Error())
	}
	out := map[string]*template.Template{}
	for _, f := range files {
		name := strings.TrimSuffix(strings.TrimPrefix(f, "templates/page_"), ".html")
		out[name] = template.Must(template.Must(base.Clone()).ParseFS(templateFiles, f))
	}
	return out
}

// render writes a page whole, or an error.
func render(w http.ResponseWriter, status int, name string, data any) error {
	t, ok := pagesByName[name]
	if !ok {
		return fmt.Errorf("no page %q", name)
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "layout.html", data); err != nil {
		return fmt.Errorf("rendering page %s: %w", name, err)
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // the reader has gone: nobody is left to tell
	return nil
}

type errorModel struct {
	base
	Status     int
	What, Hint string
	Kept       string
	Within     string // the job in which it happened; empty: none, or that is what is missing
}

// errorPage shows an error whole: what happened, to what, what to do, what was kept.
func (s *server) errorPage(w http.ResponseWriter, r *http.Request, err error) {
	e := explain(err)
	if e.status >= 500 {
		s.log(r, "page failed", e.status, err)
	}
	if e.status == statusClientGone {
		return
	}
	m := errorModel{base: base{Title: e.title}, Status: e.status, What: e.what, Hint: e.hint, Kept: e.kept}
	if e.field != "job" {
		m.Within = r.PathValue("job")
	}
	if err := render(w, e.status, "error", m); err != nil {
		http.Error(w, e.title, e.status)
	}
}

// choice is one value of a form field.
type choice struct{ Value, Text, Key string }

var outcomes = []choice{
	{string(diagnosis.Works), "works", "w"}, {string(diagnosis.Faulty), "faulty", "f"},
	{string(diagnosis.Intermittent), "intermittent", "i"}, {string(diagnosis.NotFitted), "not fitted", "n"},
	{string(diagnosis.NotTried), "not tried", "t"},
}

var symptoms = []choice{
	{"", "not said", ""}, {string(diagnosis.SymptomDead), "dead", "d"}, {string(diagnosis.SymptomWeak), "weak", "w"},
	{string(diagnosis.SymptomDull), "dull", "u"}, {string(diagnosis.SymptomThin), "thin", "t"}, {string(diagnosis.SymptomNoisy), "noisy", "n"},
}

var cases = []choice{
	{string(measure.CaseUnknown), "not stated", ""}, {string(measure.CaseClosed), "closed", ""},
	{string(measure.CasePropped), "propped", ""}, {string(measure.CaseOpen), "open", ""},
}

type shape struct{ Class, Glyph, Word string }

// statusMark is shape and word of a stage; colour comes from the class.
func statusMark(s diagnosis.Status) shape {
	switch s {
	case diagnosis.Proved:
		return shape{"proved", "■", "proved"}
	case diagnosis.Suspect:
		return shape{"suspect", "▲", "suspect"}
	}
	return shape{"unknown", "○", "not known"}
}

// outcomeMark is shape and word of what was found at a control or function.
func outcomeMark(o diagnosis.Outcome) shape {
	switch o {
	case diagnosis.Works:
		return shape{"proved", "■", "works"}
	case diagnosis.Faulty:
		return shape{"suspect", "✕", "faulty"}
	case diagnosis.Intermittent:
		return shape{"suspect", "≈", "intermittent"}
	case diagnosis.NotFitted:
		return shape{"unknown", "–", "not fitted"}
	}
	return shape{"unknown", "○", "not tried"}
}

func minutesText(v any) string {
	var m float64
	switch x := v.(type) {
	case unit.Minutes:
		m = float64(x)
	case float64:
		m = x
	case int:
		m = float64(x)
	}
	switch {
	case m <= 0:
		return "0\u2009min"
	case m < 1:
		return strconv.Itoa(int(math.Ceil(m*6))*10) + "\u2009s"
	case m >= 90:
		return strconv.Itoa(int(m/60)) + "\u2009h " + strconv.Itoa(int(m)%60) + "\u2009min"
	}
	return strconv.FormatFloat(math.Ceil(m*2)/2, 'f', -1, 64) + "\u2009min"
}

func number(v float64) string {
	return strings.Replace(strconv.FormatFloat(v, 'g', 4, 64), "-", "\u2212", 1)
}

func whenText(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format("2006-01-02 15:04")
}

func first(n int, list any) any {
	switch l := list.(type) {
	case []diagnosis.Because:
		return l[:min(n, len(l))]
	case []diagnosis.ModeP:
		return l[:min(n, len(l))]
	case []diagnosis.Explanation:
		return l[:min(n, len(l))]
	}
	return list
}

// longTable says whether a table is folded away: only the response is always open, since
// it is what is looked for first.
func longTable(t report.Table) bool {
	return t.Name != "response" && len(t.Rows)*len(t.Columns) > 100
}

// dict passes several values to a part.
func dict(pairs ...any) (map[string]any, error) {
	if len(pairs)%2 != 0 {
		return nil, fmt.Errorf("dict of %d values", len(pairs))
	}
	m := map[string]any{}
	for i := 0; i < len(pairs); i += 2 {
		m[fmt.Sprint(pairs[i])] = pairs[i+1]
	}
	return m, nil
}

func plural(n int, one, many string) string {
	return strconv.Itoa(n) + " " + cmp.Or(map[bool]string{true: one, false: many}[n == 1], many)
}
