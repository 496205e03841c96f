package web

import (
	"bytes"
	"errors"
	"io"
	"math"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"headstack/capture"
	"headstack/job"
	"headstack/measure"
	"headstack/programme"
)

// formBody is a multipart form with its file last.
func formBody(fields [][2]string, name string, file []byte) (ctype string, body []byte) {
	var b bytes.Buffer
	mw := multipart.NewWriter(&b)
	for _, f := range fields {
		_ = mw.WriteField(f[0], f[1])
	}
	part, _ := mw.CreateFormFile("file", name)
	_, _ = part.Write(file)
	_ = mw.Close()
	return mw.FormDataContentType(), b.Bytes()
}

// shortProgramme has one track and a comb: half a minute, quick to measure.
func shortProgramme(t *testing.T) *programme.Programme {
	t.Helper()
	p, err := programme.New(programme.Options{Name: "Short comb", Tracks: 1, SpeedCmS: 9.525, Kinds: []programme.Kind{programme.Comb}})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// written is the WAV of a round as the writer makes it on a file that can seek.
func written(t *testing.T, p *programme.Programme, round, rate int) []byte {
	t.Helper()
	s, err := p.Signal(round, float64(rate))
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "round.wav")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	w, err := capture.NewWriter(f, capture.Spec{Encoding: capture.PCM, Bits: 24, Channels: s.Channels(), SampleRate: rate})
	if err != nil {
		t.Fatal(err)
	}
	buf := make([][]float64, s.Channels())
	for c := range buf {
		buf[c] = make([]float64, 1000)
	}
	for {
		n, err := s.Read(buf)
		if werr := w.Write(buf, n); werr != nil {
			t.Fatal(werr)
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(w.Close(), f.Close()); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// TestSoundIsSentAsItWouldBeWritten: the header is made before the samples are, and must
// be the one that a finished file has.
func TestSoundIsSentAsItWouldBeWritten(t *testing.T) {
	b := newStoryBench()
	p, err := programme.New(programme.Options{Name: "Three, one", Tracks: 3, SpeedCmS: 9.525, TracksPerRound: 2, Kinds: []programme.Kind{programme.Erase}})
	if err != nil {
		t.Fatal(err)
	}
	must(b.AddProgramme(t.Context(), "p.yaml", must(p.Encode())))
	h := newStoryServer(b).handler()
	root := "/library/programmes/three-one/rounds/"
	for round, rate := range map[int]int{1: 48000, 2: 44100} { // two channels, and one with a size that wants padding or not
		path := root + string(rune('0'+round)) + "/sound.wav?rate=" + map[int]string{48000: "48000", 44100: "44100"}[rate]
		w := get(t, h, path)
		want := written(t, p, round-1, rate)
		if w.Code != 200 || w.Header().Get("Content-Type") != "audio/wav" || !strings.Contains(w.Header().Get("Content-Disposition"), "three-one-round-") {
			t.Fatalf("%s: status %d, %v", path, w.Code, w.Header())
		}
		if !bytes.Equal(w.Body.Bytes(), want) {
			t.Errorf("%s: %d bytes, and a file has %d, or others", path, w.Body.Len(), len(want))
		}
		if got := w.Header().Get("Content-Length"); got != itoa(len(want)) {
			t.Errorf("%s: Content-Length %s, want %d", path, got, len(want))
		}
	}
	r, err := capture.NewReader(bytes.NewReader(get(t, h, root+"1/erase-pass.wav").Body.Bytes()), "erase-pass.wav")
	if err != nil || r.Channels() != 2 || len(r.Warnings()) != 0 {
		t.Errorf("the silence of the second pass: %v, %v", r, err)
	}
	for path, status := range map[string]int{root + "3/sound.wav": 404, root + "0/sound.wav": 404, root + "x/sound.wav": 404, root + "1/sound.wav?rate=12345": 422, "/library/programmes/none/rounds/1/sound.wav": 404} {
		if w := get(t, h, path); w.Code != status {
			t.Errorf("%s: status %d, want %d", path, w.Code, status)
		}
	}
	head := httptest.NewRecorder()
	h.ServeHTTP(head, request(http.MethodHead, root+"1/sound.wav", nil))
	if head.Code != 200 || head.Body.Len() != 0 || head.Header().Get("Content-Length") == "" {
		t.Errorf("HEAD: %d, %d bytes, %v", head.Code, head.Body.Len(), head.Header())
	}
}

func itoa(n int) string { return tracksText([]int{n}) }

func TestOddSoundIsPadded(t *testing.T) {
	head, size, err := wavHead(capture.Spec{Encoding: capture.PCM, Bits: 24, Channels: 1, SampleRate: 48000}, 3)
	if err != nil || size != int64(len(head))+10 {
		t.Errorf("3 frames of 3 bytes after %d: %d bytes, %v; RIFF (1991) pads chunks to even lengths", len(head), size, err)
	}
	if _, _, err := wavHead(capture.Spec{Encoding: capture.PCM, Bits: 24, Channels: 32, SampleRate: 192000}, math.MaxUint32/96); err == nil {
		t.Error("a file over 4 GiB was begun")
	}
}

// TestStandardProgrammeFromTheForm makes one, and keeps what was typed where it cannot.
func TestStandardProgrammeFromTheForm(t *testing.T) {
	b := newStoryBench()
	h := newStoryServer(b).handler()
	w := post(t, h, "/library/programmes/standard", url.Values{"tracks": {"8"}, "speed": {"38,1"}, "at_once": {"4"}, "staircase": {"1"}})
	if w.Code != http.StatusSeeOther {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	page := parse(t, get(t, h, w.Header().Get("Location")).Body.String())
	for _, want := range []string{"8 tracks at 38.1 cm/s, in 2 rounds", "Round 2 of 2: tracks 5, 6, 7, 8", "Staircase, from", "bias and erase points carry"} {
		if !strings.Contains(page.text, want) {
			t.Errorf("the programme's page does not say %q", want)
		}
	}
	p, err := programme.Load("p.yaml", get(t, h, w.Header().Get("Location")+"/yaml").Body.Bytes())
	if err != nil || p.Tracks != 8 || len(p.Rounds) != 2 {
		t.Errorf("the file: %+v, %v", p, err)
	}
	for name, form := range map[string]url.Values{
		"too many":    {"tracks": {"99"}, "speed": {"38.1"}, "at_once": {"7"}},
		"no number":   {"tracks": {"many"}, "speed": {"38.1"}},
		"no speed":    {"tracks": {"8"}, "speed": {"fast"}},
		"once":        {"tracks": {"8"}, "speed": {"19.05"}, "at_once": {"few"}},
		"all at once": {"tracks": {"2"}, "speed": {"19.05"}, "at_once": {"9"}},
	} {
		w := post(t, h, "/library/programmes/standard", form)
		body := w.Body.String()
		if w.Code != http.StatusUnprocessableEntity || !strings.Contains(body, `role="alert"`) || !strings.Contains(body, `value="`+form.Get("tracks")+`"`) || !strings.Contains(body, `value="`+form.Get("at_once")+`"`) {
			t.Errorf("%s: status %d, or what was typed is lost", name, w.Code)
		}
	}
	if got := must(b.Programmes(t.Context())); len(got) != 1 {
		t.Errorf("%d programmes are kept", len(got))
	}
}

// TestInterfaceIsLoopedBackAndTakenOff goes the whole way with real bytes: make a
// programme, take its sound, loop it back, and measure a capture of it through that
// interface. A sound that comes back as it went out has a flat response.
func TestInterfaceIsLoopedBackAndTakenOff(t *testing.T) {
	b := newStoryBench()
	c := newClient(t, newStoryServer(b).handler())
	made := c.json("POST", "/programmes", o{"tracks": 1, "speed_cm_s": 9.525, "kinds": []string{"comb"}, "name": "Short comb"}, 201, "Programme")
	if made["id"] != "short-comb" {
		t.Fatalf("made %v", made)
	}
	yaml := must(shortProgramme(t).Encode())
	if again := c.call("POST", "/programmes?name=p.yaml", "application/yaml", yaml, 201, "Programme"); again["sha256"] != made["sha256"] {
		t.Errorf("the same programme as YAML is %v", again)
	}
	if n := len(c.get("/programmes", 200, "Programmes")["programmes"].([]any)); n != 1 {
		t.Errorf("%d programmes", n)
	}
	c.get("/programmes/short-comb", 200, "")
	c.get("/programmes/short-comb/rounds/1/erase-pass.wav", 404, "Problem")
	rounds := c.get("/programmes/short-comb/instructions", 200, "Instructions")["rounds"].([]any)
	if steps := rounds[0].(o)["steps"].([]any); !strings.HasPrefix(steps[0].(string), "Caution") {
		t.Errorf("the first step is %q", steps[0])
	}
	audio := get(t, c.h, apiRoot+"/programmes/short-comb/rounds/1/sound.wav").Body.Bytes()

	ctype, body := formBody([][2]string{{"interface", "Bench box"}, {"programme", "short-comb"}}, "loop.wav", audio)
	kept := c.call("POST", "/interfaces", ctype, body, 201, "InterfaceAnswer")
	id := kept["interface"].(o)["id"].(string)
	c.get("/interfaces", 200, "Interfaces")
	channels := c.get("/interfaces/"+id, 200, "Loopback")["response"].(o)["channels"].([]any)
	for _, p := range channels[0].(o)["points"].([]any) {
		hz, db := number64(t, p.(o)["x"]), number64(t, p.(o)["y"])
		if math.Abs(db) > 0.02 {
			t.Errorf("an unchanged sound has %g dB at %g Hz", db, hz)
		}
	}
	if page := parse(t, get(t, c.h, "/library/interfaces/"+id).Body.String()); !strings.Contains(page.text, "loop.wav") {
		t.Error("the interface's page does not name the file")
	}

	j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
	root := "/jobs/" + j.ID + "/captures"
	q := "?name=own.wav&programme=short-comb&tracks=1&interface=" + id
	e := c.call("POST", root+q+"&while_recording=true", "audio/wav", audio, 201, "CaptureAnswer")["entry"].(o)["capture"].(o)
	if e["programme"] != "Short comb" || e["programme_sha256"] != made["sha256"] || e["interface"] != "Bench box" || e["interface_sha256"] != kept["interface"].(o)["sha256"] ||
		e["while_recording"] != true || e["tape"] != "" || e["function"] != "record-play" {
		t.Errorf("capture %v", e)
	}
	page := parse(t, get(t, c.h, "/jobs/"+j.ID+"/captures/1").Body.String())
	for _, want := range []string{"Record programme: Short comb, captured while it was recorded", "Bench box, looped back on", "its response is taken off", "Response"} {
		if !strings.Contains(page.text, want) {
			t.Errorf("the capture's page does not say %q", want)
		}
	}
	for name, q := range map[string]string{
		"both":         "?name=a.wav&programme=short-comb&tape=pendle-brook-cassette",
		"tick":         "?name=a.wav&programme=short-comb&while_recording=perhaps",
		"tape, tick":   "?name=a.wav&tape=pendle-brook-cassette&while_recording=true",
		"no programme": "?name=a.wav&programme=none",
		"no interface": "?name=a.wav&programme=short-comb&interface=none",
	} {
		status := map[bool]int{true: 404, false: 422}[strings.HasPrefix(name, "no ")]
		if w := rawPost(c.h, apiRoot+root+q, audio[:100]); w.Code != status {
			t.Errorf("%s: status %d, want %d: %s", name, w.Code, status, w.Body)
		}
	}
}

func rawPost(h http.Handler, path string, body []byte) *httptest.ResponseRecorder {
	r := request("POST", path, body)
	r.Header.Set("Content-Type", "audio/wav")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func number64(t *testing.T, v any) float64 {
	t.Helper()
	f, err := v.(interface{ Float64() (float64, error) }).Float64()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// TestRefusedLoopbackKeepsWhatWasTyped: silence is no loop-back.
func TestRefusedLoopbackKeepsWhatWasTyped(t *testing.T) {
	b := newStoryBench()
	must(b.AddProgramme(t.Context(), "p.yaml", must(shortProgramme(t).Encode())))
	h := newStoryServer(b).handler()
	ctype, body := formBody([][2]string{{"interface", "Box \"7\""}, {"programme", "short-comb"}}, "not-audio.wav", []byte("no audio"))
	r := request("POST", "/library/interfaces", body)
	r.Header.Set("Content-Type", ctype)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	if w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "Box &#34;7&#34;") || !strings.Contains(w.Body.String(), `role="alert"`) {
		t.Errorf("status %d: %.500s", w.Code, w.Body)
	}
	if got := must(b.Interfaces(t.Context())); len(got) != 0 {
		t.Errorf("%d interfaces are kept", len(got))
	}
}

// TestCaptureFormSaysWhatWasPlayed: a page sends one choice, the API one of two fields.
func TestCaptureFormSaysWhatWasPlayed(t *testing.T) {
	b := newStoryBench()
	j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
	var got job.CaptureUpload
	b.capture = func(up job.CaptureUpload) (job.Entry, error) {
		got = up
		return job.Entry{}, &job.InvalidError{Field: "story", Problem: "ends here"}
	}
	h := newStoryServer(b).handler()
	must(b.AddProgramme(t.Context(), "p.yaml", must(shortProgramme(t).Encode())))
	for name, c := range map[string]struct {
		fields [][2]string
		want   job.CaptureUpload
		said   []string // on the page that comes back
	}{
		"programme": {[][2]string{{"played", "programme/short-comb"}, {"interface", "box"}, {"while_recording", "1"}, {"function", ""}},
			job.CaptureUpload{Programme: "short-comb", Interface: "box", WhileRecording: true}, []string{`value="programme/short-comb" selected`, "value=\"1\" checked"}},
		"tape": {[][2]string{{"played", "tape/pendle-brook-cassette"}, {"function", "play"}},
			job.CaptureUpload{Tape: "pendle-brook-cassette", Function: "play"}, []string{`value="tape/pendle-brook-cassette" selected`}},
	} {
		ctype, body := formBody(c.fields, "a.wav", []byte("x"))
		r := request("POST", "/jobs/"+j.ID+"/captures", body)
		r.Header.Set("Content-Type", ctype)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if got.Tape != c.want.Tape || got.Programme != c.want.Programme || got.Interface != c.want.Interface || got.WhileRecording != c.want.WhileRecording || got.Function != c.want.Function {
			t.Errorf("%s: sent on as %+v", name, got)
		}
		for _, s := range c.said {
			if !strings.Contains(w.Body.String(), s) {
				t.Errorf("%s: the form lost %s", name, s)
			}
		}
	}
}

// TestTheDocumentListsTheMeasures: whoever programs against it finds each name there.
func TestTheDocumentListsTheMeasures(t *testing.T) {
	doc, _ := document(t)
	var got, want []string
	for _, x := range doc.Components.Schemas["Measure"].Value.Properties["name"].Value.Examples {
		got = append(got, x.(string))
	}
	for _, h := range measure.Headings() {
		want = append(want, h.Name)
	}
	if !slices.Equal(got, want) {
		t.Errorf("openapi.yaml lists %q\nmeasure lists     %q", got, want)
	}
}

// TestACapturesPageStaysLight: with many tracks the levels against time are elsewhere.
func TestACapturesPageStaysLight(t *testing.T) {
	b, id := enormousStory()
	h := newStoryServer(b).handler()
	page := get(t, h, "/jobs/"+id+"/captures/47").Body.String()
	if strings.Contains(page, `id="p-level-`) || !strings.Contains(page, "/captures/47/level-time") {
		t.Error("the levels against time of 24 tracks are on the capture's page")
	}
	size := 0
	for _, svg := range strings.Split(page, "<svg ")[1:] {
		at := strings.Index(svg, "</svg>")
		size += at
	}
	if size > lightPage {
		t.Errorf("%d bytes of pictures", size)
	}
	if w := get(t, h, "/jobs/"+id+"/captures/47/level-time?of=none"); w.Code != 404 {
		t.Errorf("a section that is not there: %d", w.Code)
	}
	if p := parse(t, get(t, h, "/jobs/"+id+"/captures/46/level-time").Body.String()); !strings.Contains(p.text, "No level against time was measured") {
		t.Error("a capture without levels against time does not say so")
	}
}
