package web

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/job/memory"
	"headstack/measure"
)

// cpu is the time that all threads of this process have computed for: beside other work on
// the same machine it says more than the clock on the wall.
func cpu(t testing.TB) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// TestReadingToNextAction measures what a person waits for with the probe in the hand: a
// reading is posted and the page with the next action fetched, on a job in the middle of
// the search on each built-in recorder. What the page begins beside that, the words of the
// verdict, is held back until the page is there, and measured after it. The test says where the
// time goes, and holds what pages and record take of it, which the diagnosis is no part of,
// to 60 ms of computing.
func TestReadingToNextAction(t *testing.T) {
	if os.Getenv("HEADSTACK_LONG") == "" {
		t.Skip("long: set HEADSTACK_LONG=1 to measure the wait from a reading to the next action")
	}
	for _, c := range []struct {
		def, point, unit string
		value            float64
		fails            []string // function/key
		works            []string
	}{
		{"hexastrand", "TP21", "V", 1.1, []string{"record-play/1", "record-play/3", "record-play/5"}, []string{"play/1", "play/2", "play/3", "record-play/2", "record-play/4"}},
		{"octogrange", "K1", "mV", 9.5, []string{"play/3"}, []string{"play/1", "play/2", "play/4", "play/5"}},
	} {
		t.Run(c.def, func(t *testing.T) {
			var diagnosing, advising time.Duration
			b := &timedBench{Bench: job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{}), t: t, diagnosing: &diagnosing, advising: &advising}
			id := must(b.OpenJob(t.Context(), job.NewJob{Definition: c.def, Case: measure.CaseClosed})).ID
			v := must(b.View(t.Context(), id))
			for i, it := range v.Sheet {
				if i%2 == 0 {
					must(b.RecordCheck(t.Context(), id, job.Check{Item: it.Item, Outcome: diagnosis.Works}, measure.CaseClosed, ""))
				}
			}
			for _, f := range c.works {
				fn, key := splitKey(f)
				must(b.RecordCheck(t.Context(), id, job.Check{Function: fn, Key: key, Outcome: diagnosis.Works}, measure.CaseClosed, ""))
			}
			for _, f := range c.fails {
				fn, key := splitKey(f)
				must(b.RecordCheck(t.Context(), id, job.Check{Function: fn, Key: key, Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomWeak}, measure.CaseClosed, ""))
			}
			tp := v.Def.TestPoints[0]
			for _, p := range v.Def.TestPoints {
				if p.ID == c.point || strings.HasPrefix(p.Part, c.point) {
					tp = p
				}
			}
			keys := v.Def.ReplicaKeys(tp.Each)
			h := NewServer(b, Options{Patience: 5 * time.Minute})
			get(t, h, "/jobs/"+id+"/path") // the engine is made once
			for i, factor := range []float64{1, 0.25, 1.02, 0.98} {
				diagnosing, advising = 0, 0
				b.hold()
				wall, all := time.Now(), cpu(t)
				value := tp.Expect.Value
				if value == 0 {
					value = c.value
				}
				w := post(t, h, "/jobs/"+id+"/readings", url.Values{"point": {tp.ID + "/" + keys[i%len(keys)]}, "value": {fmt.Sprintf("%g %s", value*factor, tp.Expect.Unit)}, "instrument": {"meter"}, "case": {"closed"}})
				if w.Code != http.StatusSeeOther {
					t.Fatalf("%d: %.400s", w.Code, parse(t, w.Body.String()).text)
				}
				posted := cpu(t)
				page := get(t, h, w.Header().Get("Location"))
				took, wallTook := cpu(t)-all, time.Since(wall)
				again := cpu(t)
				get(t, h, w.Header().Get("Location"))
				own := cpu(t) - again
				words := cpu(t)
				b.letGo()
				get(t, h, "/api/v1/jobs/"+id+"/verdict")
				words = cpu(t) - words
				reasons := cpu(t)
				get(t, h, "/api/v1/jobs/"+id+"/next")
				reasons = cpu(t) - reasons
				if !strings.Contains(page.Body.String(), `id="next"`) || strings.Contains(page.Body.String(), "data-working") {
					t.Error("the page has no next action")
				}
				t.Logf("%s, reading %d at %s: %s computed, %s on the wall to the page with it; post %s, the page again %s, %d bytes; after it the words of the verdict %s computed (%s on the wall), the reasons of the advice %s (%s)",
					c.def, i+1, tp.ID, took.Round(time.Millisecond), wallTook.Round(time.Millisecond), (posted - all).Round(time.Millisecond/10), own.Round(time.Millisecond/10), page.Body.Len(),
					words.Round(time.Millisecond), diagnosing.Round(time.Millisecond), reasons.Round(time.Millisecond), advising.Round(time.Millisecond))
				if own+posted-all > 60*time.Millisecond {
					t.Errorf("pages and record compute for %s", own+posted-all)
				}
			}
		})
	}
}
