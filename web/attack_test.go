package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/textproto"
	"net/url"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/getkin/kin-openapi/openapi3"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/job/memory"
)

// script is a text that would run where it is not taken for text: in an element, in an
// attribute of either quote, in a script, in an address.
const script = `"'></script></title></style><script>window.pwned=1</script><img src=x onerror=window.pwned=1><svg/onload=window.pwned=1>javascript:window.pwned=1`

// TestEveryWriteFromElsewhereIsRefused tries each route that writes, of pages and API, as a
// page of another site would: with a form, with fetch, from a sandboxed frame, and as JSON
// under a type that a browser sends without asking.
func TestEveryWriteFromElsewhereIsRefused(t *testing.T) {
	b, id := emptyStory()
	s := newStoryServer(b)
	h := s.handler()
	before := len(must(b.View(t.Context(), id)).Entries)
	routes := 0
	for _, route := range append(slices.Clone(s.routes), prefixed(s.patterns)...) {
		method, path, ok := strings.Cut(filled(route, id, "1"), " ")
		if !ok || method != http.MethodPost && method != http.MethodPut && method != http.MethodDelete {
			continue
		}
		routes++
		for name, head := range map[string]http.Header{
			"a form of another site":     {"Sec-Fetch-Site": {"cross-site"}, "Content-Type": {"application/x-www-form-urlencoded"}},
			"a form of a sister site":    {"Sec-Fetch-Site": {"same-site"}, "Content-Type": {"multipart/form-data; boundary=b"}},
			"an old browser":             {"Origin": {"http://evil.example"}, "Content-Type": {"text/plain"}},
			"a frame without an origin":  {"Origin": {"null"}, "Content-Type": {"application/json"}},
			"another port":               {"Origin": {"http://localhost:1"}, "Content-Type": {"application/json"}},
			"the name with a dot behind": {"Origin": {"http://localhost.:8080"}, "Content-Type": {"application/json"}},
		} {
			r := request(method, path, []byte(`{"text":"x"}`))
			for k, v := range head {
				r.Header[k] = v
			}
			w := httptest.NewRecorder()
			if h.ServeHTTP(w, r); w.Code != http.StatusForbidden {
				t.Errorf("%s to %s: %d, want 403", name, route, w.Code)
			}
		}
		// By a method that is never held to its origin.
		if w := get(t, h, path); w.Code >= 500 {
			t.Errorf("GET %s: %d", path, w.Code)
		}
	}
	if routes < 60 {
		t.Fatalf("%d routes that write: the list is not whole", routes)
	}
	if n := len(must(b.View(t.Context(), id)).Entries); n != before {
		t.Errorf("%d entries were made", n-before)
	}
}

// TestNoPathLeavesItsPlace fills every place of every route that reads with what would lead
// elsewhere, or into a header: nothing is found, nothing fails, no header is made.
func TestNoPathLeavesItsPlace(t *testing.T) {
	b, id := goodStory()
	s := newStoryServer(b)
	h := s.handler()
	tried := 0
	for _, route := range append(append(slices.Clone(s.routes), "GET /static/{name}"), prefixed(s.patterns)...) {
		if !strings.HasPrefix(route, "GET ") || !strings.Contains(strings.ReplaceAll(route, "{$}", ""), "{") {
			continue
		}
		for _, place := range []string{"..%2f..%2f..%2fetc%2fpasswd", "..%5c..%5cwindows%5cwin.ini", "%2e%2e", "....%2f%2fetc", "bench.db", "C:%5cbench.db", "a%00.png", "%0d%0aX-Evil:%201", "%22;filename=evil.html", "%ff%fe", strings.Repeat("a", 5000)} {
			tried++
			target := strings.TrimPrefix(filled(route, place, place), "GET ")
			ctx, cancel := context.WithCancel(t.Context())
			r := request("GET", "/", nil).WithContext(ctx)
			u, err := url.ParseRequestURI(target)
			if err != nil {
				t.Fatal(err)
			}
			r.URL, r.RequestURI = u, target
			w := httptest.NewRecorder()
			if strings.HasSuffix(route, "/events") {
				cancel() // a stream ends with its reader
			}
			h.ServeHTTP(w, r)
			cancel()
			switch {
			case w.Code >= 500:
				t.Errorf("%s with %.40s: %d %.200s", route, place, w.Code, w.Body)
			case w.Code < 300 && !strings.HasSuffix(route, "/events") && !strings.Contains(route, "{token}"):
				t.Errorf("%s with %.40s: %d %.200s", route, place, w.Code, w.Body)
			case w.Header().Get("X-Content-Type-Options") != "nosniff":
				t.Errorf("%s: may be taken for another type", route)
			}
			if strings.Contains(w.Body.String(), "root:") || w.Header().Get("X-Evil") != "" {
				t.Errorf("%s with %s: %v %.200s", route, place, w.Header(), w.Body)
			}
			for k, list := range w.Header() {
				if strings.ContainsAny(strings.Join(list, ""), "\r\n\x00") {
					t.Errorf("%s with %s: header %s is %q", route, place, k, list)
				}
			}
			if to := w.Header().Get("Location"); to != "" && (!strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//")) {
				t.Errorf("%s with %s leads to %q", route, place, to)
			}
		}
	}
	if tried < 300 {
		t.Fatalf("%d tried: the list is not whole", tried)
	}
	_ = id
}

// TestBackLeadsNowhereElse: a form says where to go afterwards, and cannot say anywhere else.
func TestBackLeadsNowhereElse(t *testing.T) {
	for _, to := range []string{"https://evil.example", "//evil.example", "///evil.example", `/\evil.example`, `\\evil.example`, "javascript:alert(1)", "/%0d%0aX-Evil: 1", "\r\nX-Evil: 1", "evil", "/\t/evil.example", "http:evil"} {
		w := httptest.NewRecorder()
		_ = goTo(w, request("POST", "/jobs/job-0001/notes", nil), to, job.Entry{Seq: 3, Job: "job-0001"})
		got := w.Header().Get("Location")
		u, err := url.Parse(got)
		if err != nil || u.Host != "" || u.Scheme != "" || !strings.HasPrefix(got, "/") || strings.HasPrefix(got, "//") || strings.ContainsAny(got, "\\\r\n\t") {
			t.Errorf("%q leads to %q", to, got)
		}
	}
}

// TestFileNamesOfUploads sends files under names that would lead elsewhere: kept is the last
// part of the name, or the file is refused.
func TestFileNamesOfUploads(t *testing.T) {
	b := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{})
	j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
	h := newServer(b, Options{}).handler()
	for _, name := range []string{`../../evil.png`, `..\..\evil.png`, `C:\Users\someone\evil.png`, `/etc/evil.png`, `evil.png%00.html`, `<img src=x>.png`, "con.png", `..`} {
		var body bytes.Buffer
		m := multipart.NewWriter(&body)
		_ = m.WriteField("caption", "x")
		head := textproto.MIMEHeader{"Content-Disposition": {`form-data; name="file"; filename="` + strings.ReplaceAll(name, `\`, `\\`) + `"`}, "Content-Type": {"text/html"}}
		p := must(m.CreatePart(head))
		_, _ = p.Write(smallPNG(t))
		_ = m.Close()
		r := request("POST", apiRoot+"/jobs/"+j.ID+"/photographs", body.Bytes())
		r.Header.Set("Content-Type", m.FormDataContentType())
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code >= 500 {
			t.Errorf("%q: %d %s", name, w.Code, w.Body)
		}
	}
	v := must(b.View(t.Context(), j.ID))
	if len(v.Photographs()) == 0 {
		t.Fatal("none was taken")
	}
	for _, e := range v.Photographs() {
		if f := e.Photograph.File; strings.ContainsAny(f, "/\\\x00") || strings.Contains(f, "someone") {
			t.Errorf("kept as %q", f)
		}
		w := get(t, h, fmt.Sprintf("/jobs/%s/photographs/%d", j.ID, e.Seq))
		if w.Code != 200 || !strings.HasPrefix(w.Header().Get("Content-Type"), "image/") || !strings.Contains(w.Header().Get("Content-Security-Policy"), "sandbox") {
			t.Errorf("served as %v", w.Header())
		}
	}
}

// TestEveryFieldOfTheAPITakesScriptAsText sends the script in each text of each request
// body that the document describes: it is refused in words or kept as text, and every page
// of the job shows it as text. A field that is added to the document is tried too.
func TestEveryFieldOfTheAPITakesScriptAsText(t *testing.T) {
	b, id := goodStory()
	h := newStoryServer(b).handler()
	doc, _ := document(t)
	fields, kept := 0, 0
	for path, item := range doc.Paths.Map() {
		op := item.Post
		if op == nil || op.RequestBody == nil {
			continue
		}
		media := op.RequestBody.Value.Content["application/json"]
		if media == nil || media.Schema == nil {
			continue
		}
		for name := range textFields(media.Schema.Value) {
			fields++
			body := o{}
			for k, v := range example[op.OperationID] {
				body[k] = v
			}
			body[name] = script[:min(len(script), 190)]
			r := request("POST", apiRoot+filled(path, id, "1"), must(json.Marshal(body)))
			r.Header.Set("Content-Type", "application/json")
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			switch {
			case w.Code >= 500 && w.Code != http.StatusServiceUnavailable:
				t.Errorf("%s %s: %d %s", op.OperationID, name, w.Code, w.Body)
			case !strings.Contains(w.Header().Get("Content-Type"), "json") || strings.Contains(w.Body.String(), "<script"):
				t.Errorf("%s %s: %s %s", op.OperationID, name, w.Header().Get("Content-Type"), w.Body)
			case w.Code < 300:
				kept++
			}
		}
	}
	if fields < 80 || kept < 8 {
		t.Fatalf("%d fields, of which %d kept it: the list is not whole", fields, kept)
	}
	for _, x := range stories("good", id) {
		w := get(t, h, x.path)
		if w.Code >= 500 {
			t.Errorf("%s: %d", x.path, w.Code)
		}
		inert(t, x.path, w.Body.String())
	}
}

// example is what makes a call go through but for the field that is tried.
var example = map[string]o{
	"openJob":       {"definition": "hexastrand"},
	"recordCheck":   {"function": "record-play", "key": "1", "outcome": "faulty"},
	"recordReading": {"test_point": "TP10", "key": "3", "value": 38, "unit": "mV", "tone_hz": 315},
	"recordNote":    {"text": "a note"},
	"recordWork":    {"kind": "clean", "stage": "H", "key": "5"},
	"recordOpening": {"opening": "squeeze"},
	"addInstrument": {"id": "dmm9", "name": "meter", "kind": "true r.m.s."},
	"correct":       {"text": "another note"},
	"withdraw":      {"remark": "no"},
	"addProgramme":  {"tracks": 2, "speed_cm_s": 19.05},
}

// textFields are the names of the texts of a schema, those of what it is made of too.
func textFields(s *openapi3.Schema) map[string]bool {
	out := map[string]bool{}
	var walk func(s *openapi3.Schema, depth int)
	walk = func(s *openapi3.Schema, depth int) {
		if s == nil || depth > 4 {
			return
		}
		for name, p := range s.Properties {
			if p.Value.Type == nil || p.Value.Type.Is("string") || p.Value.Type.Is("object") || p.Value.Type.Is("array") {
				out[name] = true
			}
		}
		for _, list := range []openapi3.SchemaRefs{s.AllOf, s.AnyOf, s.OneOf} {
			for _, p := range list {
				walk(p.Value, depth+1)
			}
		}
	}
	walk(s, 0)
	return out
}

// poisonedBench shows a record in which every text is the script, however it came there: by
// a field of today or of tomorrow, a backup that was made up, another program.
type poisonedBench struct{ *storyBench }

// asIs are the fields by which pages find things, and what the program itself gives.
var asIs = []string{"ID", "Job", "Ref", "Definition", "DefinitionSHA", "SHA256", "Copy", "TapeSHA", "ProgrammeSHA", "InterfaceSHA", "Type", "SHA", "Counted"}

func (b poisonedBench) View(ctx context.Context, id string) (*job.View, error) {
	v, err := b.storyBench.View(ctx, id)
	if err != nil {
		return v, err
	}
	c := *v
	c.Entries, c.Current = clones(v.Entries), clones(v.Current)
	c.Instruments = slices.Clone(v.Instruments)
	poison(reflect.ValueOf(&c.Job))
	poison(reflect.ValueOf(c.Entries))
	poison(reflect.ValueOf(c.Current))
	poison(reflect.ValueOf(c.Instruments))
	c.Sheet = slices.Clone(v.Sheet)
	for i := range c.Sheet {
		c.Sheet[i].Name, c.Sheet[i].Try, c.Sheet[i].Cautions = script, script, []string{script}
		if l := c.Sheet[i].Latest; l != nil {
			e := l.Clone()
			poison(reflect.ValueOf(&e))
			c.Sheet[i].Latest = &e
		}
	}
	return &c, nil
}

func (b poisonedBench) Jobs(ctx context.Context) ([]job.Summary, error) {
	return poisoned(b.storyBench.Jobs(ctx))
}

func (b poisonedBench) Instruments(ctx context.Context) ([]diagnosis.Instrument, error) {
	return poisoned(b.storyBench.Instruments(ctx))
}

func (b poisonedBench) Tapes(ctx context.Context) ([]job.TapeInfo, error) {
	return poisoned(b.storyBench.Tapes(ctx))
}

func (b poisonedBench) Definitions(ctx context.Context) ([]job.DefinitionInfo, error) {
	return poisoned(b.storyBench.Definitions(ctx))
}

func (b poisonedBench) Programmes(ctx context.Context) ([]job.ProgrammeInfo, error) {
	return poisoned(b.storyBench.Programmes(ctx))
}

func (b poisonedBench) Diagnose(ctx context.Context, id string) (*diagnosis.Verdict, *job.View, error) {
	x, v, err := b.storyBench.Diagnose(ctx, id)
	poison(reflect.ValueOf(x))
	return x, v, err
}

func (b poisonedBench) Advise(ctx context.Context, id string) (*diagnosis.Advice, *job.View, error) {
	x, v, err := b.storyBench.Advise(ctx, id)
	poison(reflect.ValueOf(x))
	return x, v, err
}

func (b poisonedBench) Explain(ctx context.Context, id string, seq int64) (job.Explained, error) {
	return poisoned(b.storyBench.Explain(ctx, id, seq))
}

func clones(list []job.Entry) (out []job.Entry) {
	for _, e := range list {
		out = append(out, e.Clone())
	}
	return out
}

func poisoned[T any](v T, err error) (T, error) {
	if err == nil {
		poison(reflect.ValueOf(&v))
	}
	return v, err
}

// poison sets every text within v; words of a fixed list have a type of their own and stay.
func poison(v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			poison(v.Elem())
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			poison(v.Index(i))
		}
	case reflect.String:
		if v.CanSet() && v.Type() == reflect.TypeFor[string]() {
			v.SetString(script)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.IsExported() && !slices.Contains(asIs, f.Name) {
				poison(v.Field(i))
			}
		}
	}
}

// tags are what the script would be if it were markup.
var tags = regexp.MustCompile(`(?i)<script>|<img src=x|<svg/onload`)

// inert holds that the script stands nowhere but as text.
func inert(t *testing.T, where, body string) {
	t.Helper()
	if at := tags.FindStringIndex(body); at != nil {
		t.Errorf("%s: markup out of text: …%s…", where, body[max(0, at[0]-120):min(len(body), at[1]+60)])
	}
	for _, e := range parse(t, body).elements {
		for _, a := range e.Attr {
			if strings.HasPrefix(strings.ToLower(a.Name.Local), "on") {
				t.Errorf("%s: <%s %s>", where, e.Name.Local, a.Name.Local)
			}
			if a.Name.Local == "href" || a.Name.Local == "src" || a.Name.Local == "action" || a.Name.Local == "formaction" {
				if u, err := url.Parse(strings.TrimSpace(a.Value)); err != nil || u.Scheme != "" && u.Scheme != "data" {
					t.Errorf("%s: <%s %s=%q>", where, e.Name.Local, a.Name.Local, a.Value)
				}
			}
		}
	}
}

// poisonedPages are the pages that show the record.
func poisonedPages(id string) (out []string) {
	for _, x := range stories("good", id) {
		if x.status == 200 && !slices.Contains(out, x.path) && !strings.HasPrefix(x.path, "/help") && x.path != "/words" {
			out = append(out, x.path)
		}
	}
	return out
}

// TestScriptInTheRecordIsText looks at every page, at the report and at the answers of the
// API over a record that is full of it, and at PDF files for anything that would run.
func TestScriptInTheRecordIsText(t *testing.T) {
	good, id := goodStory()
	h := newStoryServer(poisonedBench{good}).handler()
	shown := 0
	for _, path := range poisonedPages(id) {
		w := get(t, h, path)
		if w.Code >= 500 {
			t.Errorf("%s: %d %.300s", path, w.Code, w.Body)
			continue
		}
		shown += strings.Count(w.Body.String(), "window.pwned")
		inert(t, path, w.Body.String())
	}
	if shown < 100 {
		t.Errorf("the script stands %d times on the pages: it was not shown", shown)
	}
	for _, path := range []string{"", "/verdict", "/next", "/line-up", "/wear"} {
		if w := get(t, h, apiRoot+"/jobs/"+id+path); tags.MatchString(w.Body.String()) || !strings.Contains(w.Header().Get("Content-Type"), "json") {
			t.Errorf("API %s: %s", path, w.Header().Get("Content-Type"))
		}
	}
	for _, path := range []string{"/report.pdf", "/card.pdf", "/labels.pdf"} {
		w := get(t, h, apiRoot+"/jobs/"+id+path)
		if w.Code != 200 {
			continue
		}
		for _, active := range []string{"/JavaScript", "/JS", "/OpenAction", "/Launch", "/AA", "/URI"} {
			if bytes.Contains(w.Body.Bytes(), []byte(active+" ")) || bytes.Contains(w.Body.Bytes(), []byte(active+"(")) {
				t.Errorf("%s has %s", path, active)
			}
		}
	}
}

// TestScriptInTheRecordInABrowser opens the same pages in a real browser, and the report
// from its file, where no policy of a server holds it.
func TestScriptInTheRecordInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("short: pages are not opened in a browser")
	}
	good, id := goodStory()
	h := newStoryServer(poisonedBench{good}).handler()
	srv := httptest.NewServer(h)
	defer srv.Close()
	ctx := browser(t)
	look := func(url string) {
		t.Helper()
		do(t, ctx, url, chromedp.Navigate(url), chromedp.WaitReady(chromedp.CSS("body")))
		if ask1(t, ctx, url, chromedp.Evaluate[bool](`window.pwned !== undefined`)) {
			t.Errorf("%s: the script ran", url)
		}
	}
	for _, path := range poisonedPages(id) {
		look(srv.URL + path)
	}
	report := get(t, h, "/jobs/"+id+"/report")
	file := filepath.Join(t.TempDir(), "report.html")
	if err := os.WriteFile(file, report.Body.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	look("file://" + filepath.ToSlash(file))
	// That the look would notice: the same text as markup.
	naked := filepath.Join(t.TempDir(), "naked.html")
	if err := os.WriteFile(naked, []byte("<!doctype html><body>"+script), 0o600); err != nil {
		t.Fatal(err)
	}
	do(t, ctx, "naked", chromedp.Navigate("file://"+filepath.ToSlash(naked)), chromedp.WaitReady(chromedp.CSS("body")))
	if !ask1(t, ctx, "naked", chromedp.Evaluate[bool](`window.pwned === 1`)) {
		t.Error("the script does not run where it may: the test sees nothing")
	}
}

// TestSoundFromAnotherSite: a WebSocket is a read by its method and not held to the origin.
func TestSoundFromAnotherSite(t *testing.T) {
	b, id := emptyStory()
	h := newStoryServer(b).handler()
	for name, set := range map[string]func(*http.Request){
		"another site":   func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") },
		"another port":   func(r *http.Request) { r.Header.Set("Origin", "http://localhost:1") },
		"a frame":        func(r *http.Request) { r.Header.Set("Origin", "null") },
		"a fetch":        func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") },
		"a rebound name": func(r *http.Request) { r.Host = "evil.example"; r.Header.Set("Origin", "http://evil.example") },
	} {
		r := request("GET", "/jobs/"+id+"/listen/sound?token=x", nil)
		r.Header.Set("Upgrade", "websocket")
		r.Header.Set("Connection", "Upgrade")
		set(r)
		w := httptest.NewRecorder()
		if h.ServeHTTP(w, r); w.Code != http.StatusForbidden && w.Code != http.StatusMisdirectedRequest {
			t.Errorf("%s: %d", name, w.Code)
		}
	}
}

// TestAHugeHeader is refused before any page sees it.
func TestAHugeHeader(t *testing.T) {
	b, _ := emptyStory()
	srv := httptest.NewUnstartedServer(newStoryServer(b).handler())
	srv.Config.MaxHeaderBytes = 64 << 10 // as headstack serve sets it
	srv.Start()
	defer srv.Close()
	r, _ := http.NewRequestWithContext(t.Context(), "GET", srv.URL, nil)
	r.Header.Set("X-A", strings.Repeat("a", 128<<10))
	res, err := http.DefaultClient.Do(r)
	if err == nil {
		defer res.Body.Close()
		_, _ = io.Copy(io.Discard, res.Body)
		if res.StatusCode != http.StatusRequestHeaderFieldsTooLarge {
			t.Errorf("%d", res.StatusCode)
		}
	}
}

// smallPNG is a picture of 8 by 8 pixels.
func smallPNG(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 8, 8))); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
