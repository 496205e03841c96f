package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"headstack/job"
	"headstack/job/memory"
)

// target is a real bench in memory with a job, and the routes by which it is written.
type target struct {
	h      http.Handler
	b      *job.Bench
	id     string
	routes []string // "POST /jobs/job-0001/notes"
	calls  int
}

// slowRoutes ask an instrument, or make what takes seconds.
var slowRoutes = []string{"meter", "/ask", "/demo", "/phone"}

func newTarget() *target {
	b := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{Now: func() time.Time { return noon }})
	j := must(b.OpenJob(context.Background(), job.NewJob{Definition: "hexastrand"}))
	must(b.RecordNote(context.Background(), j.ID, "", "the first entry"))
	s := newServer(b, Options{Patience: time.Nanosecond, Now: func() time.Time { return noon }})
	t := &target{h: s.handler(), b: b, id: j.ID}
	for _, r := range append(slices.Clone(s.routes), prefixed(s.patterns)...) {
		if strings.HasPrefix(r, "POST ") && !slices.ContainsFunc(slowRoutes, func(x string) bool { return strings.Contains(r, x) }) {
			t.routes = append(t.routes, filled(r, j.ID, "hexastrand"))
		}
	}
	slices.Sort(t.routes)
	return t
}

// send holds what must be true of every body: an answer below 500; what is refused says so
// in words and leaves nothing in the record.
func (x *target) send(t *testing.T, route, kind string, body []byte) {
	t.Helper()
	if len(body) > 1<<16 {
		t.Skip()
	}
	before := len(must(x.b.View(t.Context(), x.id)).Entries)
	method, path, _ := strings.Cut(route, " ")
	r := request(method, path, body)
	r.Header.Set("Content-Type", kind)
	w := httptest.NewRecorder()
	x.h.ServeHTTP(w, r)
	after := len(must(x.b.View(t.Context(), x.id)).Entries)
	switch {
	case w.Code >= 500:
		t.Fatalf("%s with %q: %d %s", route, body, w.Code, w.Body)
	case w.Code >= 400 && after != before:
		t.Fatalf("%s with %q: refused with %d, and %d entries came", route, body, w.Code, after-before)
	case w.Code >= 400 && strings.HasPrefix(path, apiRoot):
		var p apiProblem
		if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil || p.Detail == "" || p.Hint == "" {
			t.Fatalf("%s with %q: a refusal without words: %s", route, body, w.Body)
		}
	case w.Code >= 400 && !strings.Contains(w.Body.String(), "</html>"):
		t.Fatalf("%s with %q: half a page: %s", route, body, w.Body)
	}
}

// fresh gives the same target for a while, then another one: the record only grows.
func fresh() func() *target {
	var mu sync.Mutex
	var x *target
	return func() *target {
		mu.Lock()
		defer mu.Unlock()
		if x == nil || x.calls > 200 {
			x = newTarget()
		}
		x.calls++
		return x
	}
}

// FuzzAPIBody sends JSON to every call of the API that writes.
func FuzzAPIBody(f *testing.F) {
	get := fresh()
	routes := get().routes
	for i := range routes {
		f.Add(uint8(i), []byte(`{"text":"a","remark":"b","minutes":1e308,"case":"open"}`))
	}
	for _, s := range []string{`{"definition":"hexastrand"}`, `{"test_point":"TP10","key":"3","value":38,"unit":"mV","tone_hz":315}`, `{"reading":{"value":-0,"x":1}}`, `{"check":null,"work":{}}`, `[]`, `null`, `{"kind":"clean","stage":"H","key":"5"}`, "{\"text\":\"\\ud800\"}", `{"minutes":1e999}`} {
		f.Add(uint8(0), []byte(s))
	}
	f.Fuzz(func(t *testing.T, which uint8, body []byte) {
		x := get()
		x.send(t, x.routes[int(which)%len(x.routes)], "application/json", body)
	})
}

// FuzzForm sends forms, of fields and of parts, to every page and call that writes.
func FuzzForm(f *testing.F) {
	get := fresh()
	routes := get().routes
	for i := range routes {
		f.Add(uint8(i), i%2 == 0, []byte("text=a&case=open&item=fader%2F3&outcome=works&value=1,5&back=//x&remark=%00"))
	}
	f.Add(uint8(0), true, []byte("--b\r\nContent-Disposition: form-data; name=\"file\"; filename=\"../a.png\"\r\n\r\n\x89PNG\r\n--b--\r\n"))
	f.Fuzz(func(t *testing.T, which uint8, parts bool, body []byte) {
		x := get()
		kind := "application/x-www-form-urlencoded"
		if parts {
			kind = "multipart/form-data; boundary=b"
		}
		x.send(t, x.routes[int(which)%len(x.routes)], kind, body)
	})
}

// FuzzTracks: a list of tracks that is read holds each track once, within what a tape has,
// and is read again as it is written.
func FuzzTracks(f *testing.F) {
	for _, s := range []string{"", "1,6", "1-6", "1 2 3", "0,0,1", "3–5", "1-999999999", "-1", "1-", ",", "١"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		list, err := parseTracks(s)
		if err != nil {
			if e, ok := errors.AsType[*job.InvalidError](err); !ok || e.Field != "tracks" || e.Problem == "" {
				t.Fatalf("%v", err)
			}
			return
		}
		seen := map[int]bool{}
		for _, n := range list {
			if n < 0 || n > maxTracks || n > 0 && seen[n] {
				t.Fatalf("%q is read as %v", s, list)
			}
			seen[n] = true
		}
		if again, err := parseTracks(tracksText(list)); err != nil || !slices.Equal(list, again) {
			t.Fatalf("%q is %v, then %v, %v", s, list, again, err)
		}
	})
}

// FuzzBlock: a block of a browser's sound has the frames that its bytes hold, and no more
// than a block may have.
func FuzzBlock(f *testing.F) {
	f.Add(make([]byte, blockHead+4*browserEars))
	f.Add(append([]byte{1, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xf0, 0x7f}, make([]byte, 8)...))
	f.Add(bytes.Repeat([]byte{0xff}, 64))
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := parseBlock(data, nil)
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an error without words")
			}
			return
		}
		if len(b.frames) > maxBlock*browserEars || 4*len(b.frames)+blockHead != len(data) || b.first < 0 || float64(b.first) >= maxSkip {
			t.Fatalf("%d values from %d bytes, at %d", len(b.frames), len(data), b.first)
		}
	})
}
