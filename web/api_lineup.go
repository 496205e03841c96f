package web

import (
	"net/http"

	"headstack/job"
	"headstack/trim"
	"headstack/unit"
)

// apiLineUp answers with the line-up as it is: its form is itself the contract.
func (s *server) apiLineUp(w http.ResponseWriter, r *http.Request) error {
	l, _, err := s.bench.LineUp(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, l)
}

// apiReadOut answers with what the large read-out shows; the step of the query, else the
// next.
func (s *server) apiReadOut(w http.ResponseWriter, r *http.Request) error {
	l, v, err := s.bench.LineUp(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	here := l.Status.Next
	if q := r.URL.Query().Get("step"); q != "" {
		if here, err = job.ParseStep(v.Def, q); err != nil {
			return err
		}
	}
	o, ok := readOutOf(&lining{l, here})
	if !ok {
		return &pageError{status: http.StatusNotFound, title: "Nothing of the line-up can be worked on now", hint: "The line-up says what is blocked, and by what.", kept: "Nothing was written."}
	}
	return sendJSON(w, http.StatusOK, o)
}

func (s *server) apiPaperSheet(w http.ResponseWriter, r *http.Request) error {
	l, v, err := s.bench.LineUp(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	var hear []choice
	sheet, err := paperSheet(l, v, r.URL.Query().Get("hear"), &hear)
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, sheet)
}

// apiOpenings answers with the plan of openings.
func (s *server) apiOpenings(w http.ResponseWriter, r *http.Request) error {
	v, err := s.bench.View(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	plan, err := s.plansFor(r).of(r.Context(), s.bench, v)
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, plan)
}

// apiLineUpEntry is what an entry of a line-up carries: one of these.
type apiLineUpEntry struct {
	Figure  *apiFigure  `json:"figure,omitempty"`
	Turn    *apiTurn    `json:"turn,omitempty"`
	Gate    *apiGate    `json:"gate,omitempty"`
	Pass    *apiPass    `json:"pass,omitempty"`
	SignOff *apiSignOff `json:"sign_off,omitempty"`
	Soak    *apiSoak    `json:"soak,omitempty"`
}

type apiFigure struct {
	Step       string  `json:"step"`
	Value      float64 `json:"value"`
	Unit       string  `json:"unit"`
	Half       float64 `json:"half,omitempty"` // of the 95 % interval; 0: not said
	Instrument string  `json:"instrument,omitempty"`
}

type apiTurn struct {
	Trim    string          `json:"trim"` // id or designator
	Key     string          `json:"key,omitempty"`
	By      float64         `json:"by"` // clockwise positive
	Unit    trim.TravelUnit `json:"unit,omitempty"`
	From    *float64        `json:"from,omitempty"`
	To      *float64        `json:"to,omitempty"`
	Stopped bool            `json:"stopped,omitempty"`
	Travel  float64         `json:"travel,omitempty"` // from stop to stop as seen; 0: nobody looked
}

type apiGate struct {
	Step string `json:"step"`
	Lost bool   `json:"lost,omitempty"`
}

type apiPass struct {
	Tape string `json:"tape"`
}

type apiSignOff struct {
	Step   string `json:"step"`
	Reason string `json:"reason"`
	By     string `json:"by,omitempty"`
}

type apiSoak struct {
	AtMinutes float64 `json:"at_minutes"`
	Measure   string  `json:"measure"`
	Track     int     `json:"track,omitempty"`
	Value     float64 `json:"value"`
	Unit      string  `json:"unit"`
	Half      float64 `json:"half,omitempty"`
}

func lineUpEntry(e job.Entry) (out apiLineUpEntry) {
	if f := e.Figure; f != nil {
		out.Figure = &apiFigure{f.Step, f.Value, f.Unit, f.Half, f.Instrument}
	}
	if t := e.Turn; t != nil {
		out.Turn = &apiTurn{t.Trim, t.Key, t.By, t.Unit, t.From, t.To, t.Stopped, t.Travel}
	}
	if g := e.Gate; g != nil {
		out.Gate = &apiGate{g.Step, g.Lost}
	}
	if p := e.Pass; p != nil {
		out.Pass = &apiPass{p.Tape}
	}
	if x := e.SignOff; x != nil {
		out.SignOff = &apiSignOff{x.Step, x.Reason, x.By}
	}
	if x := e.Soak; x != nil {
		out.Soak = &apiSoak{x.AtMinutes, x.Measure, x.Track, x.Value, x.Unit, x.Half}
	}
	return out
}

// apiAbout is what a caller may say beside each of them.
type apiAbout struct {
	Case    string  `json:"case"`
	Remark  string  `json:"remark"`
	Minutes float64 `json:"minutes"`
}

func (s *server) apiRecordFigure(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		apiFigure
		apiAbout
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	f := job.Figure(in.apiFigure)
	return s.keepLineUp(w, r, job.Entry{Figure: &f}, in.apiAbout)
}

func (s *server) apiRecordTurn(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		apiTurn
		apiAbout
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	t := job.Turn(in.apiTurn)
	return s.keepLineUp(w, r, job.Entry{Turn: &t}, in.apiAbout)
}

func (s *server) apiRecordGate(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		apiGate
		apiAbout
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	g := job.Gate(in.apiGate)
	return s.keepLineUp(w, r, job.Entry{Gate: &g}, in.apiAbout)
}

func (s *server) apiRecordSignOff(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		apiSignOff
		apiAbout
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	x := job.SignOff(in.apiSignOff)
	return s.keepLineUp(w, r, job.Entry{SignOff: &x}, in.apiAbout)
}

func (s *server) apiRecordPass(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		apiPass
		apiAbout
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	p := job.Pass(in.apiPass)
	return s.keepLineUp(w, r, job.Entry{Pass: &p}, in.apiAbout)
}

func (s *server) keepLineUp(w http.ResponseWriter, r *http.Request, e job.Entry, about apiAbout) error {
	var err error
	if e.Case, err = parseCase(about.Case); err != nil {
		return err
	}
	e.Remark, e.Minutes = about.Remark, unit.Minutes(about.Minutes)
	kept, err := s.bench.Record(r.Context(), r.PathValue("job"), e)
	return created(w, kept, err)
}
