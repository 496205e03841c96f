package web

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/logbook"
)

// brokenBench makes a mistake with the list of jobs.
type brokenBench struct{ *storyBench }

func (brokenBench) Jobs(context.Context) ([]job.Summary, error) {
	var list []job.Summary
	i := 5
	return list[:0:0], fmt.Errorf("%v", list[i])
}

// TestAMistakeIsAnAnswer: a panic of a handler is a page that says what was kept, a line in
// the log that says where, and nothing else: the next page comes.
func TestAMistakeIsAnAnswer(t *testing.T) {
	b, id := goodStory()
	dir := t.TempDir()
	h := newServer(brokenBench{b}, Options{Log: logbook.Open(dir, logbook.Options{}).Logger(), Patience: time.Minute}).handler()
	w := get(t, h, "/")
	if w.Code != http.StatusInternalServerError || !strings.Contains(w.Body.String(), "What was acknowledged before is kept") || !strings.Contains(w.Body.String(), "</html>") {
		t.Errorf("page: %d %s", w.Code, w.Body)
	}
	if w := get(t, h, apiRoot+"/jobs"); w.Code != 500 || w.Header().Get("Content-Type") != "application/problem+json" || !strings.Contains(w.Body.String(), "acknowledged") {
		t.Errorf("API: %d %s", w.Code, w.Body)
	}
	if w := get(t, h, "/jobs/"+id+"/record"); w.Code != 200 {
		t.Errorf("the next page: %d", w.Code)
	}
	log := string(must(os.ReadFile(filepath.Join(dir, logbook.Folder, "headstack.log"))))
	for _, want := range []string{`"route":"GET /{$}"`, "brokenBench.Jobs", "index out of range [5] with length 0", `"who":"bench"`} {
		if !strings.Contains(log, want) {
			t.Errorf("the log lacks %q: %s", want, log)
		}
	}
}

// TestHalfAnAnswerIsNotWhole: where a page has begun when the mistake comes, its reader is
// told by a broken connection.
func TestHalfAnAnswerIsNotWhole(t *testing.T) {
	s := newStoryServer(newStoryBench())
	srv := httptest.NewServer(s.shield(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = w.Write(make([]byte, 3*answerCut))
		panic("half way")
	})))
	defer srv.Close()
	res, err := http.Get(srv.URL)
	if err == nil {
		_, err = io.ReadAll(res.Body)
		res.Body.Close()
	}
	if err == nil {
		t.Error("half a page looks whole")
	}
}

// slowServer is a bench whose bodies may rest for a fifth of a second.
func slowServer(t *testing.T) (*storyBench, string, *httptest.Server) {
	b, id := emptyStory()
	s := newStoryServer(b)
	s.limits.rest, s.limits.grace = 200*time.Millisecond, 600*time.Millisecond
	srv := httptest.NewServer(s.handler())
	t.Cleanup(srv.Close)
	return b, id, srv
}

// raw sends a request by hand and returns what comes back until the server hangs up.
func raw(t *testing.T, address, head string, then func(c net.Conn)) string {
	t.Helper()
	c, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(10 * time.Second))
	if _, err := io.WriteString(c, head); err != nil {
		t.Fatal(err)
	}
	if then != nil {
		then(c)
	}
	answer, _ := io.ReadAll(c)
	return string(answer)
}

// TestSlowBodies: a body that stops, and one that trickles, are ended with words, nothing
// of them is kept, and a page of the same kind at a usual pace goes through.
func TestSlowBodies(t *testing.T) {
	b, id, srv := slowServer(t)
	other := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"})).ID // of a speed that the tape has
	at := srv.Listener.Addr().String()
	head := func(path, kind string) string {
		return "POST " + path + " HTTP/1.1\r\nHost: " + at + "\r\nContent-Type: " + kind + "\r\nContent-Length: 100000\r\nConnection: close\r\n\r\n"
	}
	trickle := func(c net.Conn) {
		for range 40 {
			if _, err := c.Write([]byte("x")); err != nil {
				return
			}
			time.Sleep(50 * time.Millisecond)
		}
	}
	for name, x := range map[string]struct {
		path, kind string
		then       func(net.Conn)
	}{
		"form that stops":        {"/jobs/" + id + "/notes", "application/x-www-form-urlencoded", nil},
		"form that trickles":     {"/jobs/" + id + "/notes", "application/x-www-form-urlencoded", trickle},
		"JSON that stops":        {apiRoot + "/jobs/" + id + "/notes", "application/json", nil},
		"capture that stops":     {apiRoot + "/jobs/" + other + "/captures?name=a.wav&tape=pendle-brook-cassette", "audio/wav", nil},
		"definition that stops":  {apiRoot + "/definitions", "application/yaml", nil},
		"file of a form, a part": {"/jobs/" + id + "/photographs", "multipart/form-data; boundary=b", func(c net.Conn) { _, _ = io.WriteString(c, "--b\r\nContent-Disposition: form-data") }},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if got := raw(t, at, head(x.path, x.kind), x.then); !strings.Contains(got, " 408 ") || !strings.Contains(got, "too slowly") {
				t.Errorf("%.400s", got)
			}
		})
	}
	t.Cleanup(func() {
		for _, id := range []string{id, other} {
			if v := must(b.View(context.Background(), id)); len(v.Entries) != 0 {
				t.Errorf("%d entries were kept", len(v.Entries))
			}
		}
	})
	// Longer than a body may rest, but it comes: the deadline must not stay behind it.
	res, err := http.Post(srv.URL+apiRoot+"/jobs", "application/json", strings.NewReader(`{"definition":"octogrange"}`))
	if err != nil || res.StatusCode != http.StatusCreated {
		t.Fatalf("%v, %v", res, err)
	}
	res.Body.Close()
}

// TestTheDeadlineEndsWithTheBody: what is worked out after a body was read takes as long as
// it takes, and the caller is not taken for gone.
func TestTheDeadlineEndsWithTheBody(t *testing.T) {
	s := newStoryServer(newStoryBench())
	s.limits.rest = 50 * time.Millisecond
	srv := httptest.NewServer(s.shield(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		select {
		case <-r.Context().Done():
			t.Error("the caller was taken for gone")
		case <-time.After(300 * time.Millisecond):
		}
		_, _ = io.WriteString(w, "done")
	})))
	defer srv.Close()
	for range 2 { // on the same connection
		res, err := http.Post(srv.URL, "text/plain", strings.NewReader("body"))
		if err != nil {
			t.Fatal(err)
		}
		if got, err := io.ReadAll(res.Body); err != nil || string(got) != "done" {
			t.Errorf("%q, %v", got, err)
		}
		res.Body.Close()
	}
}

// TestTooManyArrivals holds as many bodies as may arrive at once, and sends another.
func TestTooManyArrivals(t *testing.T) {
	b, id := emptyStory()
	h := newStoryServer(b).handler()
	var writers []*io.PipeWriter
	done := make(chan int, maxArrivals)
	begun := make(chan struct{}, maxArrivals)
	b.capture = func(up job.CaptureUpload) (job.Entry, error) {
		begun <- struct{}{}
		_, err := io.Copy(io.Discard, up.Data)
		return job.Entry{}, errors.Join(err, &job.InvalidError{Field: "file", Problem: "is none"})
	}
	send := func(body io.Reader) *httptest.ResponseRecorder {
		r := httptest.NewRequest("POST", apiRoot+"/jobs/"+id+"/captures?name=a.wav&tape=pendle-brook-cassette", body)
		r.Host = "localhost"
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
	for range maxArrivals {
		r, w := io.Pipe()
		writers = append(writers, w)
		go func() { done <- send(r).Code }()
		<-begun
	}
	if w := send(io.MultiReader(strings.NewReader("RIFF"))); w.Code != http.StatusServiceUnavailable || w.Header().Get("Retry-After") == "" || !strings.Contains(w.Body.String(), "Nothing was kept") {
		t.Errorf("one too many: %d %s", w.Code, w.Body)
	}
	if w := post(t, h, "/jobs/"+id+"/notes", map[string][]string{"text": {"goes on"}}); w.Code != http.StatusSeeOther {
		t.Errorf("a note meanwhile: %d", w.Code)
	}
	for _, w := range writers {
		w.Close()
		if code := <-done; code != http.StatusUnprocessableEntity {
			t.Errorf("one that was let in: %d", code)
		}
	}
	go func() { <-begun }()
	if w := send(io.MultiReader(strings.NewReader("RIFF"))); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("after they were there: %d %s", w.Code, w.Body)
	}
}

// TestSmuggling sends requests of which two readers could make different ones (RFC 9112,
// 6.3 and 11.2). None of them may have the second one, a write, answered.
func TestSmuggling(t *testing.T) {
	b, id, srv := slowServer(t)
	at := srv.Listener.Addr().String()
	inner := "POST /jobs/" + id + "/notes HTTP/1.1\r\nHost: " + at + "\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 13\r\n\r\ntext=smuggled"
	for name, head := range map[string]string{
		"two lengths":               fmt.Sprintf("Content-Length: 0\r\nContent-Length: %d\r\n\r\n", len(inner)),
		"a length with a sign":      fmt.Sprintf("Content-Length: +%d\r\n\r\n", len(inner)),
		"an unknown coding":         "Transfer-Encoding: xchunked\r\n\r\n",
		"coding twice":              "Transfer-Encoding: chunked\r\nTransfer-Encoding: identity\r\n\r\n0\r\n\r\n",
		"a blank before the colon":  "Content-Length : 0\r\n\r\n",
		"a bare return in a field":  "X-A: b\rContent-Length: 0\r\n\r\n",
		"a chunk size out of range": "Transfer-Encoding: chunked\r\n\r\nfffffffffffffffff\r\n",
		"two hosts":                 "Host: evil.example\r\n\r\n",
	} {
		got := raw(t, at, "GET /static/none HTTP/1.1\r\nHost: "+at+"\r\n"+head+inner, nil)
		if strings.Contains(got, " 303 ") || strings.Count(got, "HTTP/1.1 ") > 1 {
			t.Errorf("%s: %.300s", name, got)
		}
	}
	if v := must(b.View(t.Context(), id)); len(v.Entries) != 0 {
		t.Errorf("%d writes were smuggled in", len(v.Entries))
	}
}

// TestDeepAndWide sends bodies of odd shape to a form and to the API: nested, many fields,
// many parts. They are refused, quickly, and nothing is kept.
func TestDeepAndWide(t *testing.T) {
	b, id := emptyStory()
	h := newStoryServer(b).handler()
	parts := func(n int, head string) []byte {
		var m bytes.Buffer
		for i := range n {
			fmt.Fprintf(&m, "--b\r\nContent-Disposition: form-data; name=\"f%d\"\r\n%s\r\nx\r\n", i, head)
		}
		m.WriteString("--b--\r\n")
		return m.Bytes()
	}
	fields := bytes.Repeat([]byte("a=1&"), 100_000)
	const form, json, multi = "application/x-www-form-urlencoded", "application/json", "multipart/form-data; boundary=b"
	for name, x := range map[string]struct {
		path, kind string
		body       []byte
		most       int // status
	}{
		"JSON 200000 deep":          {apiRoot + "/jobs/" + id + "/notes", json, []byte(`{"text":` + strings.Repeat("[", 200_000)), 400},
		"JSON objects in a reading": {apiRoot + "/jobs/" + id + "/readings", json, []byte(strings.Repeat(`{"a":`, 100_000)), 400},
		"100000 fields":             {"/jobs/" + id + "/notes", form, fields, 400},
		"form too large":            {"/jobs/" + id + "/notes", form, append([]byte("text="), bytes.Repeat([]byte("x"), maxForm)...), 413},
		"JSON too large":            {apiRoot + "/jobs/" + id + "/notes", json, []byte(`{"text":"` + strings.Repeat("x", maxForm) + `"}`), 413},
		"33 parts":                  {"/jobs/" + id + "/photographs", multi, parts(33, ""), 400},
		"10000 parts, no file":      {apiRoot + "/definitions", multi, parts(10_000, ""), 422},
		"a part of many fields":     {"/jobs/" + id + "/photographs", multi, parts(1, strings.Repeat("X-A: b\r\n", 20_000)), 400},
		"a field of a photograph":   {"/jobs/" + id + "/photographs", multi, []byte("--b\r\nContent-Disposition: form-data; name=\"caption\"\r\n\r\n" + strings.Repeat("x", maxForm) + "\r\n--b--\r\n"), 413},
		"definition too large":      {apiRoot + "/definitions", "application/yaml", make([]byte, maxDocument+maxForm+1), 413},
		"a boundary too long":       {"/jobs/" + id + "/photographs", "multipart/form-data; boundary=" + strings.Repeat("b", 80), []byte("x"), 400},
	} {
		r := request("POST", x.path, x.body)
		r.Header.Set("Content-Type", x.kind)
		w := httptest.NewRecorder()
		began := time.Now()
		h.ServeHTTP(w, r)
		if w.Code != x.most || !strings.Contains(strings.ToLower(w.Body.String()), "nothing was") {
			t.Errorf("%s: %d, want %d: %.300s", name, w.Code, x.most, w.Body)
		}
		if d := time.Since(began); d > 10*time.Second {
			t.Errorf("%s took %v", name, d)
		}
	}
	if v := must(b.View(t.Context(), id)); len(v.Entries) != 0 {
		t.Errorf("%d entries", len(v.Entries))
	}
}

// TestALogHoldsNothingTyped does all kinds of things that go wrong with words that must not
// be in the log.
func TestALogHoldsNothingTyped(t *testing.T) {
	b, id := goodStory()
	const secret = "Ravensgill"
	b.verdict = func(*job.View) (*diagnosis.Verdict, error) {
		return nil, fmt.Errorf("reading %q of %s", secret, secret)
	}
	dir := t.TempDir()
	s := newServer(b, Options{Log: logbook.Open(dir, logbook.Options{}).Logger(), Patience: time.Minute})
	h := s.handler()
	b.capture = func(job.CaptureUpload) (job.Entry, error) {
		return job.Entry{}, &os.PathError{Op: "open", Path: "/home/" + secret + "/a.wav", Err: os.ErrPermission}
	}
	for _, route := range append(s.routes, prefixed(s.patterns)...) {
		method, path, ok := strings.Cut(filled(route, id, secret), " ")
		if !ok || strings.Contains(path, ".pdf") || strings.Contains(path, ".wav") || strings.HasSuffix(path, "/events") {
			continue // what takes long to make says nothing new here
		}
		kind := "application/x-www-form-urlencoded"
		if strings.HasPrefix(path, apiRoot) {
			kind = "application/json"
		}
		for _, origin := range []string{"", "http://" + secret + ".example"} {
			r := request(method, path+"?remark="+secret, []byte(`{"text":"`+secret+`"}`))
			ctx, cancel := context.WithTimeout(r.Context(), 200*time.Millisecond)
			r.Header.Set("Content-Type", kind)
			if origin != "" {
				r.Header.Set("Origin", origin)
			}
			h.ServeHTTP(httptest.NewRecorder(), r.WithContext(ctx))
			cancel()
		}
	}
	get(t, h, apiRoot+"/jobs/"+id+"/verdict")
	r := request("POST", apiRoot+"/jobs/"+id+"/captures?name="+secret+".wav&tape=pendle-brook-cassette", []byte("RIFF"))
	h.ServeHTTP(httptest.NewRecorder(), r)
	log := string(must(os.ReadFile(filepath.Join(dir, logbook.Folder, "headstack.log"))))
	if strings.Contains(log, secret) {
		t.Errorf("the log holds what was typed: %s", log)
	}
	for _, want := range []string{"open a file elsewhere, permission denied", "a call was refused", "GET /api/v1/jobs/{job}/verdict"} {
		if !strings.Contains(log, want) {
			t.Errorf("the log lacks %q, so that this says nothing: %s", want, log)
		}
	}
}

// filled is a route with its places filled in: the job's id where one is asked for.
func filled(route, id, rest string) string {
	var out strings.Builder
	in := bufio.NewReader(strings.NewReader(strings.ReplaceAll(route, "{$}", "")))
	for {
		plain, err := in.ReadString('{')
		out.WriteString(strings.TrimSuffix(plain, "{"))
		if err != nil {
			return out.String()
		}
		name, _ := in.ReadString('}')
		switch name {
		case "job}":
			out.WriteString(id)
		case "seq}":
			out.WriteString("1")
		default:
			out.WriteString(rest)
		}
	}
}

// prefixed are the routes of the API with their root.
func prefixed(patterns []string) (out []string) {
	for _, p := range patterns {
		out = append(out, strings.Replace(p, " ", " "+apiRoot, 1))
	}
	return out
}
