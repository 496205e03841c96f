package web

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
	"headstack/store"
	"headstack/store/pgtest"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main{M: m}.Run()) }

// onBoth runs f with two servers over one record: two programs on PostgreSQL, one bench on
// SQLite, which only one program has open.
func onBoth(t *testing.T, f func(t *testing.T, one, other *server)) {
	t.Run("SQLite", func(t *testing.T) {
		s, err := store.Open(t.TempDir(), store.Options{})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.Close() })
		one := newServer(job.NewBench(s, s, job.BenchOptions{}), Options{})
		f(t, one, one)
	})
	t.Run("PostgreSQL", func(t *testing.T) {
		address, dir := pgtest.Start(t, "two programs on one record").Database(t), t.TempDir()
		var both [2]*server
		for i := range both {
			s, err := store.OpenShared(t.Context(), store.Shared{Address: address, Dir: dir, Patience: time.Minute})
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { s.Close() })
			both[i] = newServer(job.NewBench(s, s, job.BenchOptions{}), Options{})
		}
		f(t, both[0], both[1])
	})
}

func newJob(t *testing.T, s *server) string {
	t.Helper()
	j, err := s.bench.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand", Case: measure.CaseClosed})
	if err != nil {
		t.Fatal(err)
	}
	return j.ID
}

func sendJSONTo(t *testing.T, h http.Handler, path, key, body string) (int, string) {
	t.Helper()
	r := httptest.NewRequest("POST", apiRoot+path, strings.NewReader(body))
	r.Host = "localhost"
	r.Header.Set("Content-Type", "application/json")
	if key != "" {
		r.Header.Set("Idempotency-Key", key)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w.Code, w.Body.String()
}

func TestTwoPeopleOnOneJob(t *testing.T) {
	onBoth(t, func(t *testing.T, one, other *server) {
		id := newJob(t, one)
		path := "/jobs/" + id + "/closing"
		page := get(t, one.handler(), path).Body.String()
		if !strings.Contains(page, `name="seen" value="-1"`) {
			t.Fatal("the form does not say what was seen")
		}
		if code, body := sendJSONTo(t, other.handler(), "/jobs/"+id+"/notes", "", `{"text": "the hum is back"}`); code != 201 {
			t.Fatal(code, body)
		}
		// The closing that was filled in before: refused, with what is new and what was typed.
		form := map[string][]string{"seen": {"-1"}, "remark": {"all well in my eyes"}, "complaint": {"dull"}}
		w := post(t, one.handler(), path, form)
		text := parse(t, w.Body.String()).text
		if w.Code != http.StatusConflict || !strings.Contains(text, "note 1") || !strings.Contains(text, "the hum is back") || !strings.Contains(w.Body.String(), "all well in my eyes") {
			t.Errorf("status %d, want 409 with note 1 and what was typed: %s", w.Code, text)
		}
		if !strings.Contains(w.Body.String(), `name="seen" value="1"`) {
			t.Error("the form that comes back cannot be sent again")
		}
		form["seen"] = []string{"1"}
		if w := post(t, one.handler(), path, form); w.Code != http.StatusSeeOther {
			t.Errorf("sent again: status %d", w.Code)
		}
		// Who had the form of the open job would put the other's closing right unawares.
		if code, body := sendJSONTo(t, other.handler(), path, "", `{"complaint": [], "faults": [], "seen": 1}`); code != http.StatusConflict || !strings.Contains(body, "closing 1") {
			t.Errorf("a closing over a closing: %d %s", code, body)
		}
		v, err := one.bench.View(t.Context(), id)
		if err != nil || len(v.Entries) != 2 || v.Closing() == nil {
			t.Errorf("%d entries (%v), want the note and one closing", len(v.Entries), err)
		}
	})
}

func TestARequestSentTwice(t *testing.T) {
	onBoth(t, func(t *testing.T, one, other *server) {
		id := newJob(t, one)
		var first string
		for i, s := range []*server{one, other, one} {
			code, body := sendJSONTo(t, s.handler(), "/jobs/"+id+"/checks", "tap-17", `{"function": "play", "key": "3", "outcome": "faulty"}`)
			if code != 201 {
				t.Fatal(code, body)
			}
			if i == 0 {
				first = body
			} else if body != first {
				t.Errorf("again: %s, want %s", body, first)
			}
		}
		if v, err := other.bench.View(t.Context(), id); err != nil || len(v.Entries) != 1 {
			t.Errorf("%d entries (%v), want 1", len(v.Entries), err)
		}
	})
}

// What one program appends, the other's kept reckonings and counts know of.
func TestWhatAnotherProgramAppended(t *testing.T) {
	onBoth(t, func(t *testing.T, one, other *server) {
		id := newJob(t, one)
		before, _, err := other.bench.Next(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		if n, err := other.bench.OwnCounts(t.Context()); err != nil || n.Machines() != 0 {
			t.Fatal(n, err)
		}
		if _, err := one.bench.RecordCheck(t.Context(), id, job.Check{Function: "play", Key: "3", Outcome: diagnosis.Faulty}, measure.CaseClosed, ""); err != nil {
			t.Fatal(err)
		}
		after, v, err := other.bench.Next(t.Context(), id)
		if err != nil || len(v.Entries) != 1 || fmt.Sprint(after) == fmt.Sprint(before) {
			t.Errorf("the next step of the other program is as before the fault was found (%v)", err)
		}
		if _, err := one.bench.Record(t.Context(), id, job.Entry{Closing: &job.Closing{}}); err != nil {
			t.Fatal(err)
		}
		if n, err := other.bench.OwnCounts(t.Context()); err != nil || n.Machines() != 1 {
			t.Errorf("the other program counts %d closed machines (%v), want 1", n.Machines(), err)
		}
	})
}

// Faults that two programs find at the same time get numbers of their own.
func TestFaultNumbersOfTwoPrograms(t *testing.T) {
	onBoth(t, func(t *testing.T, one, other *server) {
		id := newJob(t, one)
		var wg sync.WaitGroup
		for i, s := range []*server{one, other} {
			for k := range 3 {
				wg.Go(func() {
					c := job.Check{Function: "play", Key: fmt.Sprint(1 + 3*i + k), Outcome: diagnosis.Faulty}
					if _, err := s.bench.RecordCheck(t.Context(), id, c, measure.CaseClosed, ""); err != nil {
						t.Error(err)
					}
				})
			}
		}
		wg.Wait()
		v, err := one.bench.View(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		have := map[int]bool{}
		for _, f := range v.Faults() {
			have[f.Number] = true
		}
		if len(have) != 6 {
			t.Errorf("fault numbers %v, want 6 different ones", have)
		}
	})
}

// Eight clients keep entries through the API, half of them at each program: each one that was
// acknowledged is there once, and nothing is refused.
func TestEightClients(t *testing.T) {
	const clients = 8
	entries := 1000
	if os.Getenv("HEADSTACK_LONG") == "full" {
		entries = 10000
	}
	onBoth(t, func(t *testing.T, one, other *server) {
		id := newJob(t, one)
		var jobs [clients]string // most keep to jobs of their own, two share one
		for c := range jobs {
			jobs[c] = id
			if c > 1 {
				jobs[c] = newJob(t, one)
			}
		}
		servers := []*httptest.Server{httptest.NewServer(one.handler()), httptest.NewServer(other.handler())}
		for _, s := range servers {
			defer s.Close()
		}
		var acknowledged, failed atomic.Int64
		began := time.Now()
		var wg sync.WaitGroup
		for c := range clients {
			wg.Go(func() {
				for i := range entries / clients {
					body := fmt.Sprintf(`{"text": "%d of client %d"}`, i, c)
					r, err := http.NewRequestWithContext(context.Background(), "POST", servers[c%2].URL+apiRoot+"/jobs/"+jobs[c]+"/notes", strings.NewReader(body))
					if err != nil {
						t.Error(err)
						return
					}
					r.Header.Set("Content-Type", "application/json")
					w, err := http.DefaultClient.Do(r)
					if err != nil || w.StatusCode != http.StatusCreated {
						failed.Add(1)
						t.Errorf("client %d, entry %d: %v %v", c, i, w, err)
						return
					}
					w.Body.Close()
					acknowledged.Add(1)
				}
			})
		}
		wg.Wait()
		took := time.Since(began)
		seqs, texts := map[int64]bool{}, map[string]bool{}
		for c := range jobs {
			if c == 1 {
				continue // shares the job of 0
			}
			v, err := one.bench.View(t.Context(), jobs[c])
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range v.Entries {
				seqs[e.Seq], texts[e.Remark] = true, true
			}
		}
		want := entries / clients * clients
		if len(seqs) != want || len(texts) != want || acknowledged.Load() != int64(want) {
			t.Errorf("%d numbers, %d texts, %d acknowledged; want %d of each", len(seqs), len(texts), acknowledged.Load(), want)
		}
		t.Logf("%d entries of %d clients in %.1f s: %.0f entries/s, %d refused", want, clients, took.Seconds(), float64(want)/took.Seconds(), failed.Load())
	})
}
