package web

import (
	"errors"
	"net/http"
	"net/url"
	"path/filepath"
	"strconv"
	"time"

	"headstack/job"
	"headstack/lineup"
	"headstack/live"
)

// listenAPI are the routes of live capture.
func (s *server) listenAPI(route func(method, path string, h func(w http.ResponseWriter, r *http.Request) error)) {
	route("GET", "/devices", s.apiDevices)
	route("GET", "/jobs/{job}/listening", s.apiListening)
	route("POST", "/jobs/{job}/listening", s.apiListen)
	route("POST", "/jobs/{job}/listening/stop", s.apiStopListening)
	route("POST", "/jobs/{job}/listening/keep", s.apiKeepHeard)
	route("GET", "/jobs/{job}/line-up/read-out/live", s.apiReadOutLive)
	route("POST", "/jobs/{job}/line-up/read-out/live", s.apiKeepReadOut)
}

type apiHeard struct {
	Job      string      `json:"job"`
	Began    time.Time   `json:"began"`
	Via      string      `json:"via"`
	Source   string      `json:"source"`
	File     string      `json:"file"`
	Channels int         `json:"channels"`
	Tracks   []int       `json:"tracks"` // by channel, 0 none
	State    *live.State `json:"state,omitempty"`
	// Sound is where the blocks of a browser go; only who starts it is told.
	Sound string `json:"sound,omitempty"`
}

type apiUnkept struct {
	File   string    `json:"file"`
	Began  time.Time `json:"began"`
	Source string    `json:"source"`
	Cut    string    `json:"cut,omitempty"`
	SHA256 string    `json:"sha256,omitempty"`
	Notes  []string  `json:"notes"`
}

func heardJSON(h *hearing) *apiHeard {
	st := h.sess.State()
	st.File = filepath.Base(st.File) // where the bench keeps its files is no caller's business
	st.Channels, st.Sections = list(st.Channels), list(st.Sections)
	return &apiHeard{h.Job, h.Began, h.Via, h.Source, h.File, h.Channels, h.expect.Tracks, &st, ""}
}

func (s *server) apiDevices(w http.ResponseWriter, r *http.Request) error {
	devices, why := s.devices(r.Context())
	out := map[string]any{"devices": list(devices)}
	if why != "" {
		out["none"] = why
	}
	return sendJSON(w, http.StatusOK, out)
}

func (s *server) apiListening(w http.ResponseWriter, r *http.Request) error {
	v, err := s.bench.View(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	unkept := []apiUnkept{}
	for _, o := range s.ear.unkept(v.Job.ID) {
		unkept = append(unkept, apiUnkept{o.File, o.Began, o.Source, o.Cut, o.SHA256, list(o.Notes)})
	}
	out := map[string]any{"unkept": unkept}
	if h := s.ear.of(v.Job.ID); h != nil {
		out["heard"] = heardJSON(h)
	}
	return sendJSON(w, http.StatusOK, out)
}

type newListeningJSON struct {
	Via            string `json:"via"`
	Device         string `json:"device"`
	SampleRate     int    `json:"sample_rate"`
	Channels       int    `json:"channels"`
	Tape           string `json:"tape"`
	Programme      string `json:"programme"`
	Interface      string `json:"interface"`
	WhileRecording bool   `json:"while_recording"`
	Function       string `json:"function"`
	Tracks         string `json:"tracks"`
	Case           string `json:"case"`
	Remark         string `json:"remark"`
}

func (s *server) apiListen(w http.ResponseWriter, r *http.Request) error {
	var in newListeningJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	some := func(n int) string {
		if n == 0 {
			return ""
		}
		return strconv.Itoa(n)
	}
	form := listenForm{Via: in.Via, Device: in.Device, Rate: some(in.SampleRate), Channels: some(in.Channels),
		captureForm: captureForm{Tape: in.Tape, Programme: in.Programme, Interface: in.Interface, Function: in.Function, Tracks: in.Tracks, Case: in.Case, Remark: in.Remark}}
	if in.WhileRecording {
		form.WhileRecording = "1"
	}
	h, err := s.listen(r.Context(), r.PathValue("job"), form)
	if err != nil {
		return err
	}
	out := heardJSON(h)
	if h.Via == viaBrowser {
		out.Sound = "/jobs/" + url.PathEscape(h.Job) + "/listen/sound?token=" + h.token
	}
	return sendJSON(w, http.StatusCreated, out)
}

func (s *server) apiStopListening(w http.ResponseWriter, r *http.Request) error {
	h := s.ear.of(r.PathValue("job"))
	if h == nil {
		return &pageError{status: http.StatusConflict, title: "Nothing is heard for this job now", what: r.PathValue("job"),
			hint: "What was stopped before is among the unkept of the listening, or in the record.", kept: "The record is as it was."}
	}
	s.ear.stop(h, errStopped)
	for _, o := range s.ear.unkept(h.Job) {
		if o.File == h.File {
			return s.apiKept(w, r, h.File, o.Form)
		}
	}
	return &pageError{status: http.StatusConflict, title: "Nothing was heard before it ended", what: h.Source, hint: "Look whether its sound arrives, and start again.", kept: "There is nothing to keep."}
}

func (s *server) apiKeepHeard(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		File string `json:"file"`
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	for _, o := range s.ear.unkept(r.PathValue("job")) {
		if o.File == in.File {
			return s.apiKept(w, r, in.File, o.Form)
		}
	}
	return &job.NotFoundError{What: "live capture that is not kept yet", ID: in.File}
}

func (s *server) apiKept(w http.ResponseWriter, r *http.Request, file string, form captureForm) error {
	e, err := s.ear.keep(r.Context(), s.bench, r.PathValue("job"), file, form, nil)
	out := map[string]any{}
	if nm, ok := errors.AsType[*job.NotMeasuredError](err); ok {
		out["not_measured"] = nm.Err.Error()
		e, err = nm.Entry, nil
	}
	if err != nil {
		return err
	}
	out["entry"] = entryJSON(e)
	return sendJSON(w, http.StatusCreated, out)
}

// readOutLive is a read-out with what the tape that runs now says of it.
type readOutLive struct {
	readOut
	Heard    bool    `json:"heard"` // the bench has a figure of it now
	Why      string  `json:"why,omitempty"`
	WindowMs int     `json:"window_ms,omitempty"`
	AgeMs    int     `json:"age_ms,omitempty"`
	Way      string  `json:"way,omitempty"` // clockwise, anticlockwise, stop
	By       string  `json:"by,omitempty"`  // 12 % of a turn
	Value    float64 `json:"value"`         // as an instrument would show it
	Half     float64 `json:"half"`          // of its 95 % interval
	Unit     string  `json:"unit,omitempty"`
}

func (s *server) apiReadOutLive(w http.ResponseWriter, r *http.Request) error {
	f, h, why, err := s.follow(r.Context(), r.PathValue("job"), r.URL.Query().Get("step"))
	switch {
	case err != nil:
		return err
	case h == nil:
		if _, err := s.bench.View(r.Context(), r.PathValue("job")); err != nil {
			return err
		}
		return notHeard("nothing is heard for this job")
	case f == nil:
		return notHeard(why)
	}
	m, ok := s.readNow(r.Context(), f)
	if !ok {
		return notHeard("no reading came")
	}
	out := readOutLive{readOut: m.readOut, Heard: m.Live.Figure != nil, Why: m.Live.Refused, WindowMs: m.Live.WindowMs, AgeMs: m.Live.AgeMs}
	if g := m.Live.Figure; g != nil {
		out.Value, out.Half, out.Unit = g.Value, g.Half, g.Unit
	}
	if m.Arrow != nil {
		out.Way, out.By = m.Arrow.Mark.Word, m.Arrow.By
	}
	if m.readOut.Verdict == "" {
		out.readOut.Verdict = lineup.NotMeasured
	}
	return sendJSON(w, http.StatusOK, out)
}

func notHeard(why string) error {
	return &pageError{status: http.StatusConflict, title: "No figure is heard now", what: why,
		hint: "See on the listen page whether the tape is heard, and take the figure again.", kept: "Nothing was written."}
}

func (s *server) apiKeepReadOut(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		Step string `json:"step"`
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	e, err := s.recordLive(r.Context(), r.PathValue("job"), in.Step)
	return created(w, e, err)
}
