package web

import (
	"cmp"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/report"
)

type correctModel struct {
	jobData
	Entry job.Entry
	Line  report.Line
	What  string // "note", "check", "reading"
	Form  correctForm
	Name  string // of the control, function or test point
}

// correctForm is the replacement as typed.
type correctForm struct{ Outcome, Symptom, Value, Tone, Instrument, Case, Remark string }

func entryOf(v *job.View, seq string) (job.Entry, error) {
	n, err := strconv.ParseInt(seq, 10, 64)
	if err == nil {
		for _, e := range v.Entries {
			if e.Seq == n {
				return e, nil
			}
		}
	}
	return job.Entry{}, &job.NotFoundError{What: "entry", ID: seq}
}

func (s *server) correctModel(r *http.Request) (correctModel, error) {
	d, err := s.jobData(r, "record", "Correct")
	if err != nil {
		return correctModel{}, err
	}
	e, err := entryOf(d.View, r.PathValue("seq"))
	if err != nil {
		return correctModel{}, err
	}
	m := correctModel{jobData: d, Entry: e, Line: report.LineOf(d.View, e), What: string(e.Kind)}
	m.Title = "Correct " + e.Ref + ", " + d.View.Job.Name
	m.Form = correctForm{Case: string(e.Case), Remark: e.Remark}
	m.Name = entryLine(d.View, e)
	if c := e.Check; c != nil {
		m.Form.Outcome, m.Form.Symptom = string(c.Outcome), string(c.Symptom)
	}
	if rd := e.Reading; rd != nil {
		m.Form.Value = strings.NewReplacer("\u2009", " ", "\u2212", "-").Replace(report.Typed(*rd))
		m.Form.Instrument = rd.Instrument
		if rd.ToneHz != 0 {
			m.Form.Tone = strconv.FormatFloat(rd.ToneHz, 'g', -1, 64)
		}
	}
	return m, nil
}

func (s *server) correctPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.correctModel(r)
	if err != nil {
		return err
	}
	if m.Entry.Capture != nil {
		http.Redirect(w, r, "/jobs/"+url.PathEscape(m.View.Job.ID)+"/captures/"+strconv.FormatInt(m.Entry.Seq, 10), http.StatusSeeOther)
		return nil
	}
	if v := r.URL.Query().Get("value"); v != "" {
		m.Form.Value = v
	}
	return render(w, http.StatusOK, "correct", m)
}

func (s *server) correct(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	m, err := s.correctModel(r)
	if err != nil {
		return err
	}
	m.Form = correctForm{Outcome: r.PostFormValue("outcome"), Symptom: r.PostFormValue("symptom"), Value: r.PostFormValue("value"), Tone: r.PostFormValue("tone"),
		Instrument: r.PostFormValue("instrument"), Case: r.PostFormValue("case"), Remark: r.PostFormValue("remark")}
	repl, err := m.replacement()
	var e job.Entry
	if err == nil {
		e, err = s.bench.Correct(r.Context(), m.View.Job.ID, m.Entry.Seq, repl)
	}
	if err == nil {
		return goTo(w, r, "/jobs/"+url.PathEscape(m.View.Job.ID)+"/record", e)
	}
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "correct", m)
}

// replacement is the entry that shall stand in the place of the corrected one.
func (m *correctModel) replacement() (job.Entry, error) {
	state, err := parseCase(m.Form.Case)
	out := job.Entry{Kind: m.Entry.Kind, Case: state, Remark: m.Form.Remark}
	switch {
	case m.Entry.Check != nil:
		c := *m.Entry.Check
		c.Outcome, c.Symptom = diagnosis.Outcome(m.Form.Outcome), diagnosis.Symptom(m.Form.Symptom)
		if c.Outcome != diagnosis.Faulty && c.Outcome != diagnosis.Intermittent {
			c.Symptom = ""
		}
		out.Check = &c
	case m.Entry.Reading != nil:
		rd := *m.Entry.Reading
		value, name, verr := job.ParseValue("value", m.Form.Value, rd.Unit)
		err = cmp.Or(err, verr)
		rd.Value, rd.Unit, rd.Instrument = value, name, m.Form.Instrument
		if m.Form.Tone != "" {
			tone, terr := parseTone(m.Form.Tone)
			err = cmp.Or(err, terr)
			rd.ToneHz = tone
		}
		out.Reading = &rd
	}
	return out, err
}

func (s *server) withdraw(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	seq, err := strconv.ParseInt(r.PathValue("seq"), 10, 64)
	if err != nil {
		return &job.NotFoundError{What: "entry", ID: r.PathValue("seq")}
	}
	e, err := s.bench.Withdraw(r.Context(), r.PathValue("job"), seq, r.PostFormValue("remark"))
	if err != nil {
		return err
	}
	return goTo(w, r, r.PostFormValue("back"), e)
}
