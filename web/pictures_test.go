package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"headstack/job"
	"headstack/machine"
	"headstack/picture"
	"headstack/sim/board"
)

// tapePicture is the drawn board Tape as a file, and where its parts truly are.
func tapePicture() ([]byte, map[string]board.Place) {
	def, _ := machine.Builtin("hexastrand")
	img, places := board.Draw(def, "Tape")
	by := map[string]board.Place{}
	for _, p := range places {
		by[p.Part] = p
	}
	return must(picture.Encode(img, picture.PNG)), by
}

// withPictures gives a story's recorder its board with marks, and photographs of the job.
func withPictures(b *storyBench, id string) {
	data, places := tapePicture()
	ctx := httptest.NewRequest("GET", "/", nil).Context()
	p := must(b.AddPicture(ctx, job.PictureUpload{Definition: "hexastrand", Board: "Tape", Title: "Tape, parts side", File: "tape.png", Data: bytes.NewReader(data)}))
	for _, part := range []string{"TP10-1", "TP10-2", "TP10-3", "TP10-5", "C31-a", "C31-b", "U3-5", "C11-5", "VRa-1", "VRa-3", "VRa-5", "W4", "W5", "W8"} {
		at, ok := places[part]
		if !ok {
			panic("the drawn board has no " + part)
		}
		must(b.SetMark(ctx, "hexastrand", job.Mark{Picture: p.ID, Part: part, X: at.X, Y: at.Y}))
	}
	if id != "" {
		for _, caption := range []string{"W5 before it was parted; pin 1 of Tape is at the left", ""} {
			must(b.AddPhotograph(ctx, id, job.PhotographUpload{File: "lid-off.png", Opening: "lid", Caption: caption, Data: bytes.NewReader(data)}))
		}
	}
}

func formWith(t *testing.T, h http.Handler, path string, fields map[string]string, name string, data []byte) *httptest.ResponseRecorder {
	t.Helper()
	var body bytes.Buffer
	mw := multipart.NewWriter(&body)
	for k, v := range fields {
		if err := mw.WriteField(k, v); err != nil {
			t.Fatal(err)
		}
	}
	f, err := mw.CreateFormFile("file", name)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Write(data); err != nil {
		t.Fatal(err)
	}
	if err := mw.Close(); err != nil {
		t.Fatal(err)
	}
	r := request("POST", path, body.Bytes())
	r.Header.Set("Content-Type", mw.FormDataContentType())
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

const tapeRoot = "/library/definitions/hexastrand/pictures/tape-parts-side"

func TestAPictureIsAddedAndMarkedWithoutScripts(t *testing.T) {
	b := newStoryBench()
	h := newStoryServer(b).handler()
	data, _ := tapePicture()
	w := formWith(t, h, "/library/definitions/hexastrand/pictures", map[string]string{"title": "Tape, parts side", "board": "Tape", "kind": "board"}, "tape.png", data)
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != tapeRoot+"/marks" {
		t.Fatalf("%d to %q: %s", w.Code, w.Header().Get("Location"), w.Body)
	}
	page := get(t, h, tapeRoot+"/marks?part=TP10-3&zoom=1000").Body.String()
	if !strings.Contains(page, `type="image" name="at"`) || !strings.Contains(page, `width="1000"`) || !strings.Contains(page, `<option value="TP10-3" selected`) {
		t.Errorf("the page cannot be tapped: %.3000s", page)
	}
	// What a browser sends for a tap at 250, 350 of a picture of 1000 by 700.
	w = post(t, h, tapeRoot+"/marks", url.Values{"zoom": {"1000"}, "part": {"TP10-3"}, "at.x": {"250"}, "at.y": {"350"}})
	if w.Code != http.StatusSeeOther || !strings.Contains(w.Header().Get("Location"), "set=TP10-3") || !strings.Contains(w.Header().Get("Location"), "part=TP10-4") {
		t.Fatalf("%d to %q: %s", w.Code, w.Header().Get("Location"), w.Body)
	}
	mark := func(part string) job.Mark {
		t.Helper()
		for _, m := range must(b.Marks(t.Context(), "hexastrand")) {
			if m.Part == part {
				return m
			}
		}
		return job.Mark{}
	}
	if m := mark("TP10-3"); m.X != 0.2505 || m.Y != 0.500714 {
		t.Errorf("marked at %+v, want the middle of the pixel", m)
	}
	// Pressed with a key a browser sends 0, 0: then the fields count.
	w = post(t, h, tapeRoot+"/marks", url.Values{"zoom": {"1000"}, "part": {"TP10-4"}, "at.x": {"0"}, "at.y": {"0"}, "across": {"12,5"}, "down": {"75"}, "label": {"4"}})
	if m := mark("TP10-4"); w.Code != http.StatusSeeOther || m.X != 0.125 || m.Y != 0.75 || m.Label != "4" {
		t.Errorf("%d: marked at %+v", w.Code, m)
	}
	w = post(t, h, tapeRoot+"/marks", url.Values{"part": {"TP10-5"}, "across": {"half"}, "down": {"75"}, "label": {"typed"}})
	if w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "typed") || !strings.Contains(w.Body.String(), "between 0 and 100") {
		t.Errorf("a place that is no number: %d", w.Code)
	}
	w = post(t, h, tapeRoot+"/marks/removal", url.Values{"part": {"TP10-4"}, "zoom": {"340"}})
	if w.Code != http.StatusSeeOther || mark("TP10-4").Part != "" {
		t.Errorf("not taken off: %d, %+v", w.Code, mark("TP10-4"))
	}
	if w = post(t, h, tapeRoot+"/removal", nil); w.Code != http.StatusSeeOther || len(must(b.Pictures(t.Context(), "hexastrand"))) != 0 {
		t.Errorf("the picture is not off the list: %d", w.Code)
	}
}

func TestARefusedPictureSaysWhatToDo(t *testing.T) {
	b, id := emptyStory()
	h := newStoryServer(b).handler()
	for path, fields := range map[string]map[string]string{
		"/library/definitions/hexastrand/pictures": {"title": "kept as typed"},
		"/jobs/" + id + "/photographs":             {"caption": "kept as typed", "layer": machine.Closed},
	} {
		w := formWith(t, h, path, fields, "drawing.svg", []byte("<svg onload='x()'>"))
		for _, want := range []string{"SVG", "Save it as PNG or JPEG", "Nothing was kept of it", "kept as typed", `role="alert"`} {
			if w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), want) {
				t.Errorf("%s: %d without %q", path, w.Code, want)
			}
		}
	}
}

// What is served is a picture made here and nothing that a browser would run.
func TestPicturesAreServedAsPicturesOnly(t *testing.T) {
	b, id := goodStory()
	withPictures(b, id)
	h := newStoryServer(b).handler()
	photo := must(b.View(t.Context(), id)).Photographs()[0]
	for path, width := range map[string]int{
		tapeRoot + "/image":                                             board.Width,
		tapeRoot + "/image?width=340":                                   340,
		tapeRoot + "/spot?part=TP10-3":                                  job.CutWidth,
		fmt.Sprintf("/jobs/%s/photographs/%d?width=320", id, photo.Seq): 320,
	} {
		w := get(t, h, path)
		info, err := picture.Inspect(w.Body.Bytes())
		if w.Code != 200 || err != nil || info.Width != width || w.Header().Get("Content-Type") != info.Type {
			t.Errorf("%s: %d, %+v, %v, %s", path, w.Code, info, err, w.Header().Get("Content-Type"))
		}
		if w.Header().Get("X-Content-Type-Options") != "nosniff" || !strings.Contains(w.Header().Get("Content-Security-Policy"), "sandbox") {
			t.Errorf("%s: %v", path, w.Header())
		}
	}
	for path, status := range map[string]int{
		tapeRoot + "/image?width=x":                   422,
		tapeRoot + "/image?width=9000":                422,
		tapeRoot + "/spot?part=TP99":                  404,
		"/library/definitions/hexastrand/pictures/no": 404,
		"/library/definitions/nothing/pictures":       404,
		fmt.Sprintf("/jobs/%s/photographs/1", id):     404,
		"/jobs/" + id + "/photographs/x":              404,
	} {
		if w := get(t, h, path); w.Code != status {
			t.Errorf("%s: %d, want %d", path, w.Code, status)
		}
	}
}

// The card, the path, the openings and the line-up show the spot for the track at hand.
func TestSpotsStandWhereTheWorkIs(t *testing.T) {
	b, id := goodStory()
	withPictures(b, id)
	h := newStoryServer(b).handler()
	page := get(t, h, "/jobs/"+id+"/path?function=play&key=5&point=TP10/5").Body.String()
	if !strings.Contains(page, "spot?part=TP10-5") || !strings.Contains(page, tapeRoot+"?part=TP10-5#here") {
		t.Errorf("the path does not show TP10-5")
	}
	if strings.Contains(page, "spot?part=TP10-3") {
		t.Errorf("the path of track 5 shows a point of track 3")
	}
	whole := get(t, h, tapeRoot+"?part=TP10-5").Body.String()
	if !strings.Contains(whole, `id="here"`) {
		t.Error("the whole picture does not say which mark is meant")
	}
	// The trim of a line-up step.
	if page := get(t, h, "/jobs/"+id+"/line-up?step=level/VRa/3").Body.String(); !strings.Contains(page, "spot?part=VRa-3") {
		t.Error("the step of VRa-3 does not show it")
	}
}

func nextOf(t *testing.T, b *storyBench, id string) jobData {
	t.Helper()
	s := newStoryServer(b)
	r := request("GET", "/jobs/"+id, nil)
	r.SetPathValue("job", id)
	return must(s.jobData(r, "", "x"))
}

func TestCardSpots(t *testing.T) {
	b, id := goodStory()
	withPictures(b, id)
	s := newStoryServer(b)
	d := nextOf(t, b, id)
	for _, c := range []struct {
		place place
		work  *workAsk
		want  string
	}{
		{place{TestPoint: "TP10", Key: "3"}, nil, "TP10-3"},
		{place{}, &workAsk{Stage: "C31", Key: "a"}, "C31-a"},
		{place{}, &workAsk{Stage: "W5P", Key: "2"}, "W5"}, // a pin: its connector
		{place{Function: "play", Key: "3"}, nil, ""},
	} {
		d.Card, d.Place = &card{Work: c.work}, c.place
		if err := s.cardSpots(request("GET", "/", nil), &d); err != nil {
			t.Fatal(err)
		}
		switch {
		case c.want == "" && len(d.Card.Spots) > 0, c.want != "" && (len(d.Card.Spots) != 1 || !strings.Contains(d.Card.Spots[0].Src, "part="+c.want+"&")):
			t.Errorf("%+v %+v: %+v, want %s", c.place, c.work, d.Card.Spots, c.want)
		}
	}
}

func TestTaskParts(t *testing.T) {
	def, _ := machine.Builtin("hexastrand")
	for task, want := range map[string]string{"fix C31-a": "C31-a", "set level/VRa/3": "VRa-3", "settle x": "", "clean at lid": ""} {
		if got := taskPart(def, task); got != want {
			t.Errorf("%q is about %q, want %q", task, got, want)
		}
	}
}

func TestAPhotographIsKeptInItsLayerAndCorrected(t *testing.T) {
	b, id := emptyStory()
	h := newStoryServer(b).handler()
	data, _ := tapePicture()
	v := must(b.View(t.Context(), id))
	layer := v.Def.Openings[0]
	w := formWith(t, h, "/jobs/"+id+"/photographs", map[string]string{"layer": layer.ID, "caption": "before", "back": "/jobs/" + id + "/openings"}, "IMG.png", data)
	if w.Code != http.StatusSeeOther || !strings.HasPrefix(w.Header().Get("Location"), "/jobs/"+id+"/openings?saved=") {
		t.Fatalf("%d to %q: %s", w.Code, w.Header().Get("Location"), w.Body)
	}
	v = must(b.View(t.Context(), id))
	e := v.Photographs()[0]
	page := get(t, h, "/jobs/"+id+"/works").Body.String()
	if !strings.Contains(page, fmt.Sprintf("/photographs/%d?v=", e.Seq)) || !strings.Contains(page, `capture="environment"`) {
		t.Error("the works do not show it, or no camera is asked for")
	}
	at := fmt.Sprintf("/jobs/%s/entries/%d", id, e.Seq)
	if !strings.Contains(get(t, h, at).Body.String(), `name="caption" value="before"`) {
		t.Error("it cannot be corrected")
	}
	w = post(t, h, at, url.Values{"opening": {machine.Closed}, "caption": {"as it came in"}})
	p := must(b.View(t.Context(), id)).Photographs()[0].Photograph
	if w.Code != http.StatusSeeOther || p.Caption != "as it came in" || p.Opening != "" || p.SHA256 != e.Photograph.SHA256 {
		t.Errorf("%d: %+v", w.Code, p)
	}
	rep := get(t, h, "/jobs/"+id+"/report")
	if !strings.Contains(rep.Body.String(), `src="data:image/png;base64,`) || !strings.Contains(rep.Header().Get("Content-Security-Policy"), "img-src 'self' data:") {
		t.Error("the report does not hold it")
	}
}

func TestPicturesOverTheAPI(t *testing.T) {
	b, id := goodStory()
	c := newClient(t, newStoryServer(b).handler())
	data, _ := tapePicture()
	const all = "/definitions/hexastrand/pictures"
	one := all + "/tape-parts-side"
	c.call("POST", all+"?name=tape.png&board=Tape&title="+url.QueryEscape("Tape, parts side"), "image/png", data, 201, "Picture")
	c.call("POST", all+"?name=x.png&title=y&page=0", "image/png", data, 422, "Problem")
	c.call("POST", all+"?name=x.svg", "application/octet-stream", []byte("<svg>"), 422, "Problem")
	c.call("POST", all, "image/png", data, 422, "Problem")
	c.call("GET", all, "", nil, 200, "")
	c.call("GET", one, "", nil, 200, "Picture")
	c.call("GET", one+"/image?width=200", "", nil, 200, "")
	c.call("POST", one+"/marks", "application/json", []byte(`{"part":"TP10-3","x":0.25,"y":0.5}`), 201, "Mark")
	c.call("POST", one+"/marks", "application/json", []byte(`{"part":"TP10-3","x":0.26,"y":0.5,"label":"3"}`), 201, "Mark")
	c.call("POST", one+"/marks", "application/json", []byte(`{"part":"TP10-3","x":0.25}`), 422, "Problem")
	c.call("GET", one+"/spot?part=TP10-3", "", nil, 200, "")
	got := c.call("GET", one+"/marks", "", nil, 200, "Marks")
	if m, h := got["marks"].([]any), got["history"].([]any); len(m) != 1 || len(h) != 2 || m[0].(map[string]any)["x"] != json.Number("0.26") && m[0].(map[string]any)["x"] != 0.26 {
		t.Errorf("marks %v, history %v", m, h)
	}
	c.call("POST", one+"/marks/removal", "application/json", []byte(`{"part":"TP10-3"}`), 204, "")
	c.call("POST", one+"/marks/removal", "application/json", []byte(`{"part":"TP10-3"}`), 404, "Problem")
	zip := get(t, c.h, apiRoot+"/definitions/hexastrand/bundle.zip").Body.Bytes()
	c.call("POST", "/bundles?name=x.zip", "application/zip", zip, 201, "")
	c.call("POST", "/bundles", "application/zip", []byte("no"), 422, "Problem")
	c.call("POST", one+"/removal", "", nil, 204, "")
	e := c.call("POST", "/jobs/"+id+"/photographs?name=a.png&layer=lid&caption=W5", "image/png", data, 201, "Entry")
	seq := fmt.Sprint(e["seq"])
	c.call("GET", "/jobs/"+id+"/photographs/"+seq+"/image?width=100", "", nil, 200, "")
	c.call("POST", "/jobs/"+id+"/photographs?layer=lid", "image/png", data, 422, "Problem")
	c.call("POST", "/jobs/"+id+"/entries/"+seq+"/correction", "application/json", []byte(`{"photograph":{"layer":"lid","caption":"W9"}}`), 201, "Entry")
}
