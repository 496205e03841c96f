package web

import (
	"bytes"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"headstack/job"
)

// Without scripts: a staircase is planned at its step, its sound comes as WAV, its replay is
// brought there and is back with what it says; what is refused stands in the form.
func TestStaircaseByForms(t *testing.T) {
	b, id := staircaseStory()
	s := newStoryServer(b)
	root, step := "/jobs/"+id, "bias/B38/6"
	if w := send(t, s, root+"/line-up/staircases", "step", step, "now", "half past never"); w.Code != 422 || !strings.Contains(w.Body.String(), `value="half past never"`) {
		t.Errorf("%d: %.300s", w.Code, parse(t, w.Body.String()).text)
	}
	w := send(t, s, root+"/line-up/staircases", "step", step, "now", "1:00", "fall", "2,5", "back", root+"/line-up?step="+step)
	if w.Code != 303 || !strings.Contains(w.Header().Get("Location"), "step=") {
		t.Fatalf("%d to %s", w.Code, w.Header().Get("Location"))
	}
	v := must(b.View(t.Context(), id))
	e := v.Entries[len(v.Entries)-1]
	// One o'clock is 30° past the middle of 270°.
	if x := e.Staircase; x == nil || x.Want.Aim.FallDB != 2.5 || len(x.Tracks) != 1 || x.Tracks[0].Key != "6" || x.Tracks[0].Bias.Now < 0.61 || x.Tracks[0].Bias.Now > 0.612 {
		t.Fatalf("kept %+v", e.Staircase)
	}
	page := get(t, s.handler(), root+"/line-up?step="+step).Body.String()
	sound := regexp.MustCompile(`/library/programmes/[0-9a-f]{64}/rounds/1/sound\.wav`).FindString(page)
	if h := httptest.NewRequest(http.MethodHead, sound, nil); sound != "" {
		h.Host = "localhost"
		rec := httptest.NewRecorder()
		s.handler().ServeHTTP(rec, h)
		if rec.Code != 200 || rec.Header().Get("Content-Type") != "audio/wav" {
			t.Errorf("sound: %d %s", rec.Code, rec.Header().Get("Content-Type"))
		}
	} else {
		t.Error("no sound on the page")
	}
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	for _, f := range [][2]string{{"programme", e.Staircase.ProgrammeSHA}, {"tracks", "6"}, {"case", "open"}} {
		_ = form.WriteField(f[0], f[1])
	}
	file := must(form.CreateFormFile("file", "replay.wav"))
	_, _ = file.Write(silentWAV())
	_ = form.Close()
	r := httptest.NewRequest(http.MethodPost, root+"/line-up/staircases/replay?step="+url.QueryEscape(step), &body)
	r.Header.Set("Content-Type", form.FormDataContentType())
	r.Host = "localhost"
	rec := httptest.NewRecorder()
	s.handler().ServeHTTP(rec, r)
	if rec.Code != 303 || !strings.HasPrefix(rec.Header().Get("Location"), root+"/line-up?") {
		t.Fatalf("%d to %s: %.300s", rec.Code, rec.Header().Get("Location"), rec.Body)
	}
	// A step that was set elsewhere is put right from the record.
	fix := fmt.Sprintf("%s/entries/%d", root, e.Seq)
	if w := get(t, s.handler(), fix); w.Code != 200 || !strings.Contains(w.Body.String(), `name="positions"`) {
		t.Errorf("correcting a staircase: %d", w.Code)
	}
	if w := send(t, s, fix, "positions", "10 20 x 40 50 60 70"); w.Code != 422 || !strings.Contains(w.Body.String(), "10 20 x 40") {
		t.Errorf("refused positions: %d", w.Code)
	}
	if w := send(t, s, fix, "positions", "10 20 31,5 40 50 60 70"); w.Code != 303 {
		t.Errorf("right positions: %d", w.Code)
	}
	if v := must(b.View(t.Context(), id)); v.Entries[len(v.Entries)-1].Staircase.Tracks[0].Positions[2] != 0.315 {
		t.Errorf("corrected to %v", v.Entries[len(v.Entries)-1].Staircase)
	}
	l, _, err := b.LineUp(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	// The story's measuring hears track 3 in whatever is brought.
	if st, _ := l.Step(step); st.Staircase.Capture == "" || st.Staircase.Refused == "" || !strings.Contains(parse(t, get(t, s.handler(), root+"/line-up?step="+step).Body.String()).text, "not read") {
		t.Errorf("replay of another track: %+v", st.Staircase)
	}
	if _, _, err := b.PlanStaircase(t.Context(), id, job.StaircaseOptions{Tracks: []int{99}}); err == nil {
		t.Error("a staircase of track 99")
	}
}
