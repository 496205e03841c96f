package web

import (
	"errors"
	"html"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"headstack/job"
	"headstack/measure"
	"headstack/store"
)

const oneToneTape = `testtape: 1
name: short bench tape
speed_cm_s: 9.525
reference: {fluxivity_nwb_m: 250, tone_hz: 315, convention: short-circuit}
equalisation_us: {high: 70, low: 3180}
track_layout: per-track
fringing_compensated: false
sections:
  - {name: reference, tone_hz: 315, level_db: 0, seconds: 6}
`

// TestACaptureWhoseFileIsGoneOrAltered: the job's page, the list of captures and the capture's
// own page say so and what to do, from a glance where that can tell, else once the bytes were
// read; and no longer when the file is back.
func TestACaptureWhoseFileIsGoneOrAltered(t *testing.T) {
	dir := t.TempDir()
	st, err := store.Open(dir, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	b := job.NewBench(st, st, job.BenchOptions{})
	s := newServer(b, Options{})
	h, id := s.handler(), newJob(t, s)
	tape, err := b.AddTape(t.Context(), "short.yaml", []byte(oneToneTape))
	if err != nil {
		t.Fatal(err)
	}
	const sound = "no sound, but a file that is kept"
	bring := func() job.Entry {
		t.Helper()
		_, err := b.AddCapture(t.Context(), id, job.CaptureUpload{Name: "pass-1.wav", Tape: tape.ID, Case: measure.CaseClosed, Data: strings.NewReader(sound)})
		nm, ok := errors.AsType[*job.NotMeasuredError](err)
		if !ok {
			t.Fatal(err)
		}
		return nm.Entry
	}
	e := bring()
	path := filepath.Join(dir, "captures", e.Capture.SHA256)
	own := "/jobs/" + id + "/captures/1"
	pages := []string{"/jobs/" + id, "/jobs/" + id + "/captures", own}
	says := func(page string, texts ...string) {
		t.Helper()
		w := get(t, h, page)
		text := html.UnescapeString(w.Body.String())
		if w.Code != http.StatusOK {
			t.Errorf("%s: %d", page, w.Code)
		}
		if len(texts) == 0 && (strings.Contains(text, "file gone") || strings.Contains(text, "file altered")) {
			t.Errorf("%s finds fault with a file that is whole", page)
		}
		for _, want := range texts {
			if !strings.Contains(text, want) {
				t.Errorf("%s does not say %q", page, want)
			}
		}
	}
	put := func(text string) {
		t.Helper()
		_ = os.Remove(path)
		if err := os.WriteFile(path, []byte(text), 0o444); err != nil {
			t.Fatal(err)
		}
	}
	whole := func() {
		t.Helper()
		for _, p := range pages {
			says(p)
		}
		says(own+"?look=bytes", "■", "as kept", "read to the end just now")
	}
	whole()

	if err := os.Rename(path, filepath.Join(dir, "elsewhere")); err != nil {
		t.Fatal(err)
	}
	const todo = "Put the file back under that name; or bring it again"
	for _, p := range append(pages, own+"?look=bytes") {
		says(p, "✕", "file gone", path+" is not there any more", todo, "headstack restore into a new folder", "headstack export --damaged")
	}
	bring() // the same bytes take the place of the file that is gone
	whole()

	put(sound[:len(sound)-7])
	for _, p := range append(pages, own+"?look=bytes") {
		says(p, "file altered", "it has 26 bytes, not 33", todo)
	}
	put(strings.ToUpper(sound)) // which only its bytes tell
	says(own)
	says(own+"?look=bytes", "file altered", "its bytes have the SHA-256 ", todo)
	for _, p := range pages { // once it was read, all say so
		says(p, "file altered")
	}
	bring() // over one that is altered, too
	whole()
}
