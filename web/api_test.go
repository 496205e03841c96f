package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"headstack/job"
	"headstack/machine"
	"headstack/measure"
	"headstack/signature"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

func document(t *testing.T) (*openapi3.T, routers.Router) {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(openAPIJSON)
	if err != nil {
		t.Fatal(err)
	}
	if err := doc.Validate(t.Context()); err != nil {
		t.Fatalf("openapi.yaml is not a valid OpenAPI document: %v", err)
	}
	router, err := gorillamux.NewRouter(doc)
	if err != nil {
		t.Fatal(err)
	}
	return doc, router
}

func TestEachRouteIsInTheDocumentAndBack(t *testing.T) {
	doc, _ := document(t)
	if !strings.HasPrefix(doc.OpenAPI, "3.1") {
		t.Errorf("openapi: %s, want 3.1", doc.OpenAPI)
	}
	var written []string
	for path, item := range doc.Paths.Map() {
		for method := range item.Operations() {
			written = append(written, method+" "+path)
		}
	}
	served := slices.Clone(newStoryServer(newStoryBench()).patterns)
	slices.Sort(written)
	slices.Sort(served)
	if !slices.Equal(written, served) {
		t.Errorf("document: %q\n  served: %q", written, served)
	}
}

// apiClient calls the API and holds each request and answer against the document.
type apiClient struct {
	t       *testing.T
	h       http.Handler
	router  routers.Router
	schemas *jsonschema.Compiler // a second reading of the schemas, by another library
	doc     any
}

func newClient(t *testing.T, h http.Handler) *apiClient {
	t.Helper()
	_, router := document(t)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(openAPIJSON))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	if err := c.AddResource("mem:///openapi.json", doc); err != nil {
		t.Fatal(err)
	}
	return &apiClient{t, h, router, c, doc}
}

// call sends body (JSON unless ctype says otherwise) and returns the answer.
func (c *apiClient) call(method, path, ctype string, body []byte, status int, schema string) map[string]any {
	c.t.Helper()
	send := func() *http.Request {
		r := request(method, apiRoot+path, body)
		if ctype != "" {
			r.Header.Set("Content-Type", ctype)
		}
		return r
	}
	w := httptest.NewRecorder()
	c.h.ServeHTTP(w, send())
	if w.Code != status {
		c.t.Fatalf("%s %s: status %d, want %d: %s", method, path, w.Code, status, w.Body)
	}
	check := send()
	route, params, err := c.router.FindRoute(check)
	if err != nil {
		c.t.Fatalf("%s %s is not in the document: %v", method, path, err)
	}
	in := &openapi3filter.RequestValidationInput{Request: check, PathParams: params, Route: route, Options: &openapi3filter.Options{ExcludeRequestBody: !strings.HasPrefix(ctype, "application/json")}}
	if err := openapi3filter.ValidateRequest(c.t.Context(), in); err != nil && status < 300 {
		c.t.Errorf("%s %s: request that was taken is not as documented: %v", method, path, err)
	}
	if err := openapi3filter.ValidateResponse(c.t.Context(), &openapi3filter.ResponseValidationInput{RequestValidationInput: in, Status: w.Code,
		Header: w.Header(), Body: io.NopCloser(bytes.NewReader(w.Body.Bytes())), Options: &openapi3filter.Options{ExcludeResponseBody: true}}); err != nil {
		c.t.Errorf("%s %s: answer is not as documented: %v", method, path, err)
	}
	if schema == "" {
		return nil
	}
	return c.validate(w, schema)
}

func (c *apiClient) validate(w *httptest.ResponseRecorder, schema string) map[string]any {
	c.t.Helper()
	want := "application/json"
	if schema == "Problem" {
		want = "application/problem+json"
	}
	if got := w.Header().Get("Content-Type"); got != want {
		c.t.Errorf("Content-Type %q, want %q", got, want)
	}
	sch, err := c.schemas.Compile("mem:///openapi.json#/components/schemas/" + schema)
	if err != nil {
		c.t.Fatal(err)
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(w.Body.Bytes()))
	if err != nil {
		c.t.Fatal(err)
	}
	if err := sch.Validate(v); err != nil {
		c.t.Errorf("answer does not fit %s: %v\n%s", schema, err, w.Body)
	}
	return v.(map[string]any)
}

func (c *apiClient) json(method, path string, body any, status int, schema string) map[string]any {
	c.t.Helper()
	b, err := json.Marshal(body)
	if err != nil {
		c.t.Fatal(err)
	}
	return c.call(method, path, "application/json", b, status, schema)
}

func (c *apiClient) get(path string, status int, schema string) map[string]any {
	c.t.Helper()
	return c.call("GET", path, "", nil, status, schema)
}

type o = map[string]any

func TestAPIDoesAJob(t *testing.T) {
	b := newStoryBench()
	b.verdict = storyVerdict
	c := newClient(t, newStoryServer(b).handler())
	c.get("/openapi.json", 200, "")
	c.get("/openapi.yaml", 200, "")
	c.get("/definitions", 200, "Definitions")
	c.get("/definitions/hexastrand", 200, "")
	tapes := c.get("/tapes", 200, "Tapes")["tapes"].([]any)
	c.get("/tapes/"+tapes[0].(o)["id"].(string), 200, "")
	c.get("/tapes/none", 404, "Problem")
	j := c.json("POST", "/jobs", o{"definition": "hexastrand", "serial": "Q-1", "claim": "plays dull", "case": "closed"}, 201, "Job")
	root := "/jobs/" + j["id"].(string)
	c.get("/jobs", 200, "Jobs")
	c.json("POST", root+"/checks", o{"function": "record-play", "key": "1", "outcome": "faulty", "symptom": "weak", "case": "closed"}, 201, "Entry")
	r := c.json("POST", root+"/readings", o{"test_point": "TP10", "key": "3", "value": 38, "unit": "mV", "tone_hz": 315, "instrument": "millivoltmeter", "case": "propped"}, 201, "Entry")
	c.json("POST", root+"/notes", o{"text": "lid propped"}, 201, "Entry")
	seq := r["seq"]
	fixed := c.json("POST", root+"/entries/"+numText(seq)+"/correction", o{"reading": o{"test_point": "TP10", "key": "3", "value": 37, "unit": "mV", "tone_hz": 315}, "remark": "misread"}, 201, "Entry")
	if fixed["corrects"] != seq {
		t.Errorf("corrects %v, want %v", fixed["corrects"], seq)
	}
	c.json("POST", root+"/entries/"+numText(seq)+"/withdrawal", o{"remark": "twice"}, 409, "Problem")
	c.json("POST", root+"/entries/"+numText(fixed["seq"])+"/withdrawal", o{"remark": "wrong track"}, 201, "Entry")
	view := c.get(root, 200, "View")
	if n := len(view["entries"].([]any)); n != 5 {
		t.Errorf("%d entries, want 5", n)
	}
	v := c.get(root+"/verdict", 200, "Verdict")
	if n := len(v["explanations"].([]any)); n != 3 {
		t.Errorf("%d explanations, want 3", n)
	}
	c.get(root+"/report", 200, "")
}

func numText(v any) string { return string(v.(json.Number)) }

func TestAPIRefusals(t *testing.T) {
	b := newStoryBench()
	c := newClient(t, newStoryServer(b).handler())
	j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
	root := "/jobs/" + j.ID
	for name, f := range map[string]func() map[string]any{
		"no such job":        func() map[string]any { return c.get("/jobs/job-9999", 404, "Problem") },
		"no such definition": func() map[string]any { return c.json("POST", "/jobs", o{"definition": "hexastrnd"}, 404, "Problem") },
		"case state": func() map[string]any {
			return c.json("POST", root+"/notes", o{"text": "x", "case": "ajar"}, 422, "Problem")
		},
		"test point": func() map[string]any {
			return c.json("POST", root+"/readings", o{"test_point": "TP99", "value": 1, "unit": "V"}, 422, "Problem")
		},
		"no value": func() map[string]any {
			return c.json("POST", root+"/readings", o{"test_point": "TP1", "unit": "V"}, 422, "Problem")
		},
		"outcome": func() map[string]any {
			return c.json("POST", root+"/checks", o{"item": "x", "outcome": "fine"}, 422, "Problem")
		},
		"unknown member": func() map[string]any {
			return c.json("POST", root+"/notes", o{"text": "x", "txt": "y"}, 400, "Problem")
		},
		"not JSON": func() map[string]any {
			return c.call("POST", root+"/notes", "application/json", []byte("{"), 400, "Problem")
		},
		"two values": func() map[string]any {
			return c.call("POST", root+"/notes", "application/json", []byte(`{"text":"a"}{}`), 400, "Problem")
		},
		"media type": func() map[string]any { return c.call("POST", root+"/notes", "text/plain", []byte("x"), 415, "Problem") },
		"too large": func() map[string]any {
			return c.call("POST", root+"/notes", "application/json", []byte(`{"text":"`+strings.Repeat("x", maxForm)+`"}`), 413, "Problem")
		},
		"definition": func() map[string]any {
			return c.call("POST", "/definitions?name=my.yaml", "application/yaml", []byte("machine: 1\nid: [\n"), 422, "Problem")
		},
		"no upload name": func() map[string]any {
			return c.call("POST", root+"/captures?tape=x", "audio/wav", []byte("RIFF"), 422, "Problem")
		},
		"tracks": func() map[string]any {
			return c.call("POST", root+"/captures?tape=x&name=a.wav&tracks=0-3", "audio/wav", []byte("RIFF"), 422, "Problem")
		},
	} {
		t.Run(name, func(t *testing.T) {
			c.t = t
			p := f()
			if p["hint"] == nil || p["hint"] == "" || p["kept"] == nil {
				t.Errorf("no hint or no word on what was kept: %v", p)
			}
		})
	}
	if v := must(b.View(t.Context(), j.ID)); len(v.Entries) != 0 {
		t.Errorf("a refused call left %d entries", len(v.Entries))
	}
}

func TestDefinitionUpload(t *testing.T) {
	b := newStoryBench()
	c := newClient(t, newStoryServer(b).handler())
	src, _ := machine.BuiltinSource("hexastrand")
	own := bytes.Replace(src, []byte("id: hexastrand"), []byte("id: hexastrand-own"), 1)
	d := c.call("POST", "/definitions?name=own.yaml", "application/yaml", own, 201, "Definition")
	if d["id"] != "hexastrand-own" || d["builtin"] != false {
		t.Errorf("got %v", d)
	}
}

// TestCaptureUpload sends a capture as a form and bare; the story's bench takes
// the bytes, so that what is tested is that they arrive whole and streamed.
func TestCaptureUpload(t *testing.T) {
	b := newStoryBench()
	c := newClient(t, newStoryServer(b).handler())
	j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
	audio := bytes.Repeat([]byte("RIFFdata"), 200000)
	var got job.CaptureUpload
	var size int
	b.capture = func(up job.CaptureUpload) (job.Entry, error) {
		data, err := io.ReadAll(up.Data)
		size, got = len(data), up
		if err != nil {
			return job.Entry{}, err
		}
		e := job.Entry{Seq: 7, Ref: "capture 1", Job: j.ID, At: noon, Kind: job.KindCapture, Case: up.Case,
			Capture: &job.Capture{File: up.Name, SHA256: strings.Repeat("0f", 32), Bytes: int64(size), Tape: up.Tape, Tracks: up.Tracks, Report: storyReport(2)}}
		return e, &job.NotMeasuredError{Entry: e, Err: fmt.Errorf("no section was found")}
	}
	fields := [][2]string{{"tape", "pendle-brook-cassette"}, {"function", "play"}, {"tracks", "1,6"}, {"case", "closed"}, {"remark", "first pass"}}
	var body bytes.Buffer
	mw := multipart.NewWriter(&body)
	for _, f := range fields {
		_ = mw.WriteField(f[0], f[1])
	}
	part, _ := mw.CreateFormFile("file", "pass.wav")
	_, _ = part.Write(audio)
	_ = mw.Close()
	check := func(answer map[string]any) {
		t.Helper()
		if size != len(audio) || got.Name != "pass.wav" || !slices.Equal(got.Tracks, []int{1, 6}) || got.Case != measure.CaseClosed || got.Remark != "first pass" {
			t.Errorf("%d bytes of %d, upload %+v", size, len(audio), got)
		}
		if answer["not_measured"] != "no section was found" {
			t.Errorf("answer %v", answer["not_measured"])
		}
	}
	check(c.call("POST", "/jobs/"+j.ID+"/captures", mw.FormDataContentType(), body.Bytes(), 201, "CaptureAnswer"))
	check(c.call("POST", "/jobs/"+j.ID+"/captures?name=pass.wav&tape=pendle-brook-cassette&tracks=1,6&case=closed&remark=first+pass", "audio/wav", audio, 201, "CaptureAnswer"))
}

func TestUploadLimit(t *testing.T) {
	b := newStoryBench()
	h := newServer(b, Options{MaxUpload: 1000}).handler()
	j := must(b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"}))
	c := newClient(t, h)
	p := c.call("POST", "/jobs/"+j.ID+"/captures?name=a.wav&tape=pendle-brook-cassette", "audio/wav", make([]byte, 1001), 413, "Problem")
	if !strings.Contains(p["detail"].(string), "1000") {
		t.Errorf("the limit is not named: %v", p)
	}
}

func TestWearOverTheAPI(t *testing.T) {
	b, id := goodStory()
	c := newClient(t, newStoryServer(b).handler())
	x := c.get("/jobs/"+id+"/wear", 200, "Wear")
	if s := x["series"].([]any); len(s) != 2 || len(s[0].(o)["points"].([]any)) != 5 || len(s[0].(o)["tracks"].([]any)) != 6 {
		t.Errorf("%v", x)
	}
	c.get("/jobs/none/wear", 404, "Problem")
	failed, id := failedStory()
	c = newClient(t, newStoryServer(failed).handler())
	x = c.get("/jobs/"+id+"/wear", 200, "Wear")
	if tr := x["series"].([]any)[0].(o)["tracks"].([]any)[0].(o)["gap"].(o); tr["refused"] != "captures of 2 dates only: a trend wants 3" {
		t.Errorf("two dates: %v", tr)
	}
	empty, id := emptyStory()
	c = newClient(t, newStoryServer(empty).handler())
	if x = c.get("/jobs/"+id+"/wear", 200, "Wear"); x["refused"] == nil || len(x["series"].([]any)) != 0 {
		t.Errorf("one job: %v", x)
	}
}

func TestExplanationOverTheAPI(t *testing.T) {
	b, id := goodStory()
	c := newClient(t, newStoryServer(b).handler())
	root := "/jobs/" + id + "/captures/"
	x := c.get(root+"1/explanation", 200, "LossExplanation")
	if n := len(x["findings"].([]any)); n != 4 {
		t.Errorf("%d findings, want 4", n)
	}
	c.get(root+"42/explanation?against=1&doing=pressing+the+shell", 200, "LossExplanation")
	c.get(root+"42/explanation?against=42", 422, "Problem")
	c.get(root+"99/explanation", 404, "Problem")
	if p := c.get(root+"42/explanation?against=x", 422, "Problem"); p["field"] != "against" || p["hint"] == "" {
		t.Errorf("%v", p)
	}
	failed, id := failedStory()
	c = newClient(t, newStoryServer(failed).handler())
	if p := c.get("/jobs/"+id+"/captures/1/explanation", 422, "Problem"); !strings.Contains(fmt.Sprint(p["detail"]), "nothing was measured on it") {
		t.Errorf("%v", p)
	}
}

// The document's form of an explanation is that of the published schema: what one takes,
// the other does.
func TestTheExampleInTheDocumentIsAnExplanation(t *testing.T) {
	doc, _ := document(t)
	media := doc.Paths.Find("/jobs/{job}/captures/{seq}/explanation").Get.Responses.Value("200").Value.Content["application/json"]
	data, err := json.Marshal(media.Example)
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	schema, err := jsonschema.UnmarshalJSON(bytes.NewReader(signature.Schema))
	if err != nil {
		t.Fatal(err)
	}
	if err := c.AddResource("explanation.json", schema); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string][]byte{"the example": data, "the fixture": explanationJSON} {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		if err := c.MustCompile("explanation.json").Validate(v); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}
