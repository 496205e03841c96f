package web

import (
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strconv"
	"strings"

	"headstack/job"

	"github.com/goccy/go-yaml"
)

//go:embed openapi.yaml
var openAPIYAML []byte

const apiRoot = "/api/v1"

// api registers the routes of the API; the test that compares them with the
// document reads s.patterns.
func (s *server) api() {
	route := func(method, path string, h func(w http.ResponseWriter, r *http.Request) error) {
		s.patterns = append(s.patterns, method+" "+path)
		s.mux.HandleFunc(method+" "+apiRoot+path, func(w http.ResponseWriter, r *http.Request) {
			if err := h(w, r); err != nil {
				s.problem(w, r, err)
			}
		})
	}
	route("GET", "/openapi.yaml", s.openAPI)
	route("GET", "/openapi.json", s.openAPI)
	route("GET", "/definitions", s.apiDefinitions)
	route("POST", "/definitions", s.apiAddDefinition)
	route("GET", "/definitions/{definition}", s.apiDefinitionYAML)
	route("GET", "/tapes", s.apiTapes)
	route("POST", "/tapes", s.apiAddTape)
	route("GET", "/tapes/{tape}", s.apiTapeYAML)
	route("GET", "/programmes", s.apiProgrammes)
	route("POST", "/programmes", s.apiAddProgramme)
	route("GET", "/programmes/{programme}", s.programmeYAML)
	route("GET", "/programmes/{programme}/instructions", s.apiInstructions)
	route("GET", "/programmes/{programme}/rounds/{round}/sound.wav", s.roundSound)
	route("GET", "/programmes/{programme}/rounds/{round}/erase-pass.wav", s.erasePassSound)
	route("GET", "/interfaces", s.apiInterfaces)
	route("POST", "/interfaces", s.apiAddInterface)
	route("GET", "/interfaces/{interface}", s.apiInterface)
	route("GET", "/instruments", s.apiInstruments)
	route("POST", "/instruments", s.apiAddInstrument)
	route("GET", "/jobs", s.apiJobs)
	route("POST", "/jobs", s.apiOpenJob)
	route("GET", "/jobs/{job}", s.apiJobView)
	route("POST", "/jobs/{job}/checks", s.apiRecordCheck)
	route("POST", "/jobs/{job}/readings", s.apiRecordReading)
	route("POST", "/jobs/{job}/notes", s.apiRecordNote)
	route("POST", "/jobs/{job}/works", s.apiRecordWork)
	route("POST", "/jobs/{job}/openings", s.apiRecordOpening)
	route("POST", "/jobs/{job}/captures", s.apiAddCapture)
	route("GET", "/jobs/{job}/captures/{seq}/explanation", s.apiExplanation)
	route("POST", "/jobs/{job}/entries/{seq}/correction", s.apiCorrect)
	route("POST", "/jobs/{job}/entries/{seq}/withdrawal", s.apiWithdraw)
	route("GET", "/jobs/{job}/closing", s.apiClosingOf)
	route("POST", "/jobs/{job}/closing", s.apiClose)
	route("GET", "/definitions/{definition}/found", s.apiFound)
	route("GET", "/counts", s.apiCounts)
	route("GET", "/export", s.takeAway)
	route("POST", "/counts", s.apiMergeCounts)
	route("GET", "/jobs/{job}/verdict", s.apiVerdict)
	route("GET", "/jobs/{job}/next", s.apiNext)
	route("GET", "/jobs/{job}/line-up", s.apiLineUp)
	route("GET", "/jobs/{job}/line-up/read-out", s.apiReadOut)
	route("GET", "/jobs/{job}/line-up/sheet", s.apiPaperSheet)
	route("POST", "/jobs/{job}/line-up/figures", s.apiRecordFigure)
	route("POST", "/jobs/{job}/line-up/turns", s.apiRecordTurn)
	route("POST", "/jobs/{job}/line-up/gates", s.apiRecordGate)
	route("POST", "/jobs/{job}/line-up/sign-offs", s.apiRecordSignOff)
	route("POST", "/jobs/{job}/line-up/passes", s.apiRecordPass)
	route("GET", "/jobs/{job}/openings", s.apiOpenings)
	s.listenAPI(route)
	s.pictureAPI(route)
	route("GET", "/jobs/{job}/wear", s.apiWear)
	route("GET", "/jobs/{job}/report", s.reportPage)
	s.paperAPI(route)
	s.meterAPI(route)
	s.mux.HandleFunc(apiRoot+"/", func(w http.ResponseWriter, r *http.Request) {
		s.problem(w, r, &pageError{status: http.StatusNotFound, title: "There is nothing at this address for this method",
			what: r.Method + " " + r.URL.Path, hint: "See " + apiRoot + "/openapi.yaml.", kept: "Nothing was written."})
	})
}

// problem answers an error as application/problem+json.
func (s *server) problem(w http.ResponseWriter, r *http.Request, err error) {
	e := explain(err)
	if e.status >= 500 {
		s.log(r, "API call failed", e.status, err)
	}
	if e.status == statusClientGone {
		return
	}
	p := apiProblem{Type: "about:blank", Title: http.StatusText(e.status), Status: e.status, Detail: e.Error(), Field: e.field, Hint: e.hint, Kept: e.kept}
	b, _ := json.Marshal(p) // strings and one number: cannot fail
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(e.status)
	_, _ = w.Write(append(b, '\n'))
}

func sendJSON(w http.ResponseWriter, status int, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("writing the answer: %w", err)
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(append(b, '\n'))
	return nil
}

// readJSON reads a body strictly: an unknown member is a slip of the caller's
// that would else lose what was meant.
func readJSON(w http.ResponseWriter, r *http.Request, into any) error {
	if t, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || t != "application/json" {
		return &pageError{status: http.StatusUnsupportedMediaType, title: "The body must be application/json", what: r.Header.Get("Content-Type"),
			hint: "Set Content-Type: application/json.", kept: "Nothing was written."}
	}
	dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxForm))
	dec.DisallowUnknownFields()
	err := dec.Decode(into)
	if err == nil {
		if _, more := dec.Token(); more != io.EOF {
			err = errors.New("more than one JSON value")
		}
	}
	if err == nil {
		return nil
	}
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok || errors.Is(err, errSlow) {
		return err
	}
	return &pageError{status: http.StatusBadRequest, title: "The body could not be read", what: err.Error(),
		hint: "See " + apiRoot + "/openapi.yaml for what is taken here.", kept: "Nothing was written.", err: err}
}

// openAPIJSON is the document as JSON; the embedded YAML is checked by a test.
var openAPIJSON = func() []byte {
	b, err := yaml.YAMLToJSON(openAPIYAML)
	if err != nil {
		panic("web: openapi.yaml: " + err.Error())
	}
	return b
}()

func (s *server) openAPI(w http.ResponseWriter, r *http.Request) error {
	if strings.HasSuffix(r.URL.Path, ".json") {
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(openAPIJSON)
		return nil
	}
	w.Header().Set("Content-Type", "application/yaml")
	_, _ = w.Write(openAPIYAML)
	return nil
}

func (s *server) apiDefinitions(w http.ResponseWriter, r *http.Request) error {
	defs, err := s.bench.Definitions(r.Context())
	if err != nil {
		return err
	}
	out := []apiDefinition{}
	for _, d := range defs {
		out = append(out, apiDefinition(d))
	}
	return sendJSON(w, http.StatusOK, map[string]any{"definitions": out})
}

func (s *server) apiAddDefinition(w http.ResponseWriter, r *http.Request) error {
	name, data, err := readDocument(w, r)
	if err != nil {
		return err
	}
	info, err := s.bench.AddDefinition(r.Context(), name, data)
	if err != nil {
		return documentError(err)
	}
	return sendJSON(w, http.StatusCreated, apiDefinition(info))
}

// documentError is documentProblem for the API.
func documentError(err error) error {
	p, status := documentProblem(err)
	return &pageError{status: status, title: p.Title, what: p.What, hint: p.Hint, kept: p.Kept, field: p.Field, err: err}
}

func (s *server) apiDefinitionYAML(w http.ResponseWriter, r *http.Request) error {
	data, _, err := s.bench.DefinitionYAML(r.Context(), r.PathValue("definition"))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/yaml")
	_, _ = w.Write(data)
	return nil
}

func (s *server) apiTapeYAML(w http.ResponseWriter, r *http.Request) error {
	data, _, err := s.bench.TapeYAML(r.Context(), r.PathValue("tape"))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/yaml")
	_, _ = w.Write(data)
	return nil
}

func (s *server) apiTapes(w http.ResponseWriter, r *http.Request) error {
	tapes, err := s.bench.Tapes(r.Context())
	if err != nil {
		return err
	}
	out := []apiDefinition{}
	for _, t := range tapes {
		out = append(out, apiDefinition(t))
	}
	return sendJSON(w, http.StatusOK, map[string]any{"tapes": out})
}

func (s *server) apiAddTape(w http.ResponseWriter, r *http.Request) error {
	name, data, err := readDocument(w, r)
	if err != nil {
		return err
	}
	info, err := s.bench.AddTape(r.Context(), name, data)
	if err != nil {
		return documentError(err)
	}
	return sendJSON(w, http.StatusCreated, apiDefinition(info))
}

func (s *server) apiJobs(w http.ResponseWriter, r *http.Request) error {
	jobs, err := s.bench.Jobs(r.Context())
	if err != nil {
		return err
	}
	out := []apiSummary{}
	for _, j := range jobs {
		out = append(out, summaryJSON(j))
	}
	return sendJSON(w, http.StatusOK, map[string]any{"jobs": out})
}

func (s *server) apiOpenJob(w http.ResponseWriter, r *http.Request) error {
	var in newJobJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	state, err := parseCase(in.Case)
	if err != nil {
		return err
	}
	j, err := s.bench.OpenJob(r.Context(), job.NewJob{Definition: in.Definition, Serial: in.Serial, Owner: in.Owner, Claim: in.Claim, Case: state})
	if err != nil {
		return err
	}
	w.Header().Set("Location", apiRoot+"/jobs/"+j.ID)
	return sendJSON(w, http.StatusCreated, jobJSON(j))
}

func (s *server) apiJobView(w http.ResponseWriter, r *http.Request) error {
	v, err := s.bench.View(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, viewJSON(v))
}

func (s *server) apiVerdict(w http.ResponseWriter, r *http.Request) error {
	v, err := s.bench.View(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	verdict, err := s.verdicts.of(r.Context(), s.bench, v)
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, verdictJSON(verdict))
}

func seqParam(r *http.Request) (int64, error) {
	n, err := strconv.ParseInt(r.PathValue("seq"), 10, 64)
	if err != nil || n < 1 {
		return 0, &job.NotFoundError{What: "entry", ID: r.PathValue("seq")}
	}
	return n, nil
}
