package web

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"math"
	"net/http"
	"net/url"
	"strings"

	"headstack/diagnosis"
	"headstack/instrument"
	"headstack/job"
	"headstack/unit"
)

// meterBench asks the instruments of the register.
type meterBench interface {
	TakeReading(ctx context.Context, jobID string, t job.Taking) (job.Entry, job.Taken, error)
	AskInstrument(ctx context.Context, id string, q instrument.Quantity, seen func(instrument.Seen)) (instrument.Identity, job.Taken, error)
}

func (s *server) meterPages(page func(pattern string, h func(w http.ResponseWriter, r *http.Request) error)) {
	page("POST /jobs/{job}/readings/meter", s.takeReading)
	page("POST /library/instruments/ask", s.askInstrument)
}

func (s *server) meterAPI(route func(method, path string, h func(w http.ResponseWriter, r *http.Request) error)) {
	route("POST", "/jobs/{job}/readings/meter", s.apiTakeReading)
	route("POST", "/instruments/{instrument}/ask", s.apiAskInstrument)
}

// metersOf are the instruments of the register that can be asked.
func metersOf(v *job.View) []diagnosis.Instrument {
	var out []diagnosis.Instrument
	for _, in := range v.Instruments {
		if in.Address != "" {
			out = append(out, in)
		}
	}
	return out
}

// explainMeter says what to do about an instrument that gave no value.
func explainMeter(err error) (*pageError, bool) {
	const kept = "Nothing was entered in the record."
	if e, ok := errors.AsType[*instrument.Error](err); ok {
		return &pageError{status: http.StatusBadGateway, title: "The instrument did not answer as it should", what: e.Error(), hint: sentence(e.Hint()), kept: kept, field: "from", err: err}, true
	}
	if e, ok := errors.AsType[*instrument.NotSteadyError](err); ok {
		return &pageError{status: http.StatusGatewayTimeout, title: "No value stood for long enough", what: e.Error(), hint: sentence(e.Hint()), kept: kept, field: "from", err: err}, true
	}
	return nil, false
}

// sentence makes a hint of the command line one of a page.
func sentence(s string) string {
	if s == "" {
		return ""
	}
	s = strings.ToUpper(s[:1]) + s[1:]
	if strings.HasSuffix(s, "?") {
		return s
	}
	return strings.TrimSuffix(s, ".") + "."
}

// takeReading takes a reading from an instrument and goes the way of a typed one. A page
// with scripts asks for the values as they come; one without waits.
func (s *server) takeReading(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	id := r.PathValue("job")
	t, err := s.takingOf(r)
	if err != nil {
		return s.notTaken(w, r, err)
	}
	say := streamOf(w, r)
	if say != nil {
		t.Seen = say.seen
	}
	e, _, err := s.bench.TakeReading(r.Context(), id, t)
	if err != nil && say == nil {
		return s.notTaken(w, r, err)
	}
	if err != nil {
		say.problem(err)
		return nil
	}
	to := url.Values{"function": {r.PostFormValue("show")}, "key": {r.PostFormValue("show_key")}, "taken": {e.Reading.Instrument}}
	address := "/jobs/" + url.PathEscape(id) + "/path?" + to.Encode()
	if say != nil {
		say.line(map[string]any{"to": savedAt(address, e)})
		return nil
	}
	return goTo(w, r, address, e)
}

// takingOf reads the form: that of a typed reading, without its value.
func (s *server) takingOf(r *http.Request) (job.Taking, error) {
	v := r.PostFormValue
	t := job.Taking{Same: v("same") != "", Reading: job.Reading{Instrument: v("from"), Session: strings.TrimSpace(v("session")), Provoked: diagnosis.Provocation(v("provoked"))}}
	t.TestPoint, t.Key, _ = strings.Cut(v("point"), "/")
	t.Entry.Remark = v("remark")
	var err, err2, err3 error
	if tone := strings.TrimSpace(v("tone")); tone != "" {
		t.ToneHz, err = parseTone(tone)
	}
	t.Entry.Case, err2 = parseCase(v("case"))
	t.Entry.Minutes, err3 = parseMinutes(v("minutes"))
	return t, cmp.Or(err, err2, err3)
}

// notTaken shows the path again with what was typed and why nothing was taken.
func (s *server) notTaken(w http.ResponseWriter, r *http.Request, err error) error {
	if _, ok := errors.AsType[*job.NotFoundError](err); ok && !strings.Contains(err.Error(), "no instrument") {
		return err
	}
	if errors.Is(err, context.Canceled) {
		return err
	}
	m, err2 := s.pathModel(r, r.PostFormValue("show"), r.PostFormValue("show_key"))
	if err2 != nil {
		return err
	}
	m.Form = typedForm(r)
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "path", m)
}

// valueStream sends what is seen, a JSON object a line.
type valueStream struct {
	w    http.ResponseWriter
	send *http.ResponseController
}

const streamType = "application/x-ndjson"

// streamOf is a stream where the caller asks for one, else nil.
func streamOf(w http.ResponseWriter, r *http.Request) *valueStream {
	if !strings.Contains(r.Header.Get("Accept"), streamType) {
		return nil
	}
	w.Header().Set("Content-Type", streamType)
	w.WriteHeader(http.StatusOK)
	s := &valueStream{w, http.NewResponseController(w)}
	s.line(map[string]any{"phase": "asked", "share": 0})
	return s
}

func (s *valueStream) line(v any) {
	b, _ := json.Marshal(v) // strings and finite numbers: cannot fail
	_, _ = s.w.Write(append(b, '\n'))
	_ = s.send.Flush() // the reader has gone: the request's context says so
}

func (s *valueStream) seen(x instrument.Seen) {
	value := "over-range"
	if v := x.Value.Value; !math.IsNaN(v) && !math.IsInf(v, 0) {
		value = engineering(v, x.Value.Unit)
	}
	s.line(map[string]any{"value": value, "phase": string(x.Phase), "share": x.Share})
}

func (s *valueStream) problem(err error) {
	e := explain(err)
	title := e.title
	if e.what != "" {
		title += ": " + e.what
	}
	s.line(map[string]any{"title": title + ".", "hint": strings.TrimSpace(e.hint + " " + e.kept)})
}

// asked is what an instrument of the library answered.
type askedModel struct {
	ID, Is, Text string
	Quantity     instrument.Quantity
}

// askInstrument tries the line to an instrument of the library.
func (s *server) askInstrument(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	a := askedModel{ID: r.PostFormValue("instrument"), Quantity: instrument.Quantity(r.PostFormValue("quantity"))}
	what, taken, err := s.bench.AskInstrument(r.Context(), a.ID, a.Quantity, nil)
	a.Is = what.String()
	if err != nil {
		p, status := problemOf(err)
		return s.refusedShelf(w, r, p, status, func(m *shelfModel) { m.Asked = &a })
	}
	a.Text = engineering(taken.Value, taken.Unit) + ", " + taken.Text()
	return s.refusedShelf(w, r, nil, http.StatusOK, func(m *shelfModel) { m.Asked = &a })
}

// newTakingJSON asks for a reading from an instrument.
type newTakingJSON struct {
	Instrument string  `json:"instrument"`
	TestPoint  string  `json:"test_point"`
	Key        string  `json:"key"`
	ToneHz     float64 `json:"tone_hz"`
	Session    string  `json:"session"`
	Setting    string  `json:"setting"`
	Same       bool    `json:"same"`
	Provoked   string  `json:"provoked"`
	Case       string  `json:"case"`
	Remark     string  `json:"remark"`
	Minutes    float64 `json:"minutes"`
}

// apiTaken is how a value was come by.
type apiTaken struct {
	Quantity instrument.Quantity `json:"quantity"`
	Value    float64             `json:"value"` // in unit, rounded to what it is worth
	Unit     string              `json:"unit"`
	BaseUnit string              `json:"base_unit"`
	Low      float64             `json:"low"` // in base_unit, as high
	High     float64             `json:"high"`
	Seconds  float64             `json:"seconds"`
	Values   int                 `json:"values"`
	Asked    int                 `json:"asked"`
	Restarts int                 `json:"restarts"`
	Wanders  bool                `json:"wanders"`
	Coarse   bool                `json:"coarse"`
}

func takenJSON(t job.Taken) apiTaken {
	return apiTaken{t.Quantity, t.Shown, t.ShownUnit, t.Unit, t.Low, t.High, t.Held.Seconds(), t.Count, t.Asked, t.Restarts, t.Wanders, t.Coarse}
}

func (s *server) apiTakeReading(w http.ResponseWriter, r *http.Request) error {
	var in newTakingJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	state, err := parseCase(in.Case)
	if err != nil {
		return err
	}
	e, taken, err := s.bench.TakeReading(r.Context(), r.PathValue("job"), job.Taking{Same: in.Same,
		Reading: job.Reading{TestPoint: in.TestPoint, Key: in.Key, ToneHz: in.ToneHz, Instrument: in.Instrument, Session: in.Session, Setting: in.Setting,
			Provoked: diagnosis.Provocation(in.Provoked)},
		Entry: job.Entry{Case: state, Remark: in.Remark, Minutes: unit.Minutes(in.Minutes)}})
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusCreated, map[string]any{"entry": entryJSON(e), "taken": takenJSON(taken)})
}

func (s *server) apiAskInstrument(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		Quantity instrument.Quantity `json:"quantity"`
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	what, taken, err := s.bench.AskInstrument(r.Context(), r.PathValue("instrument"), in.Quantity, nil)
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, map[string]any{"says": map[string]string{"maker": what.Maker, "model": what.Model, "serial": what.Serial, "firmware": what.Firmware},
		"taken": takenJSON(taken)})
}
