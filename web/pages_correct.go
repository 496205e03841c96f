package web

import (
	"cmp"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/machine"
	"headstack/report"
)

type correctModel struct {
	jobData
	Entry job.Entry
	Line  report.Line
	What  string // "note", "check", "reading"
	Form  correctForm
	Name  string // of the control, function or test point

	Openings []choice
	Tapes    []choice   // of a pass
	LineUp   stepForm   // of an entry of the line-up, as typed
	StepHref string     // where the step of such an entry is worked on
	Travel   string     // the unit that a turn without one is taken in
	Photo    *photoView // of a photograph
}

// correctForm is the replacement as typed.
type correctForm struct {
	Outcome, Symptom, Value, Tone, Instrument, Provoked, Case, Remark string
	Kind, Part, With, Opening, Minutes                                string
	Caption                                                           string
}

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
		m.Form.Outcome, m.Form.Symptom, m.Form.Provoked = string(c.Outcome), string(c.Symptom), string(c.Provoked)
	}
	if w := e.Work; w != nil {
		alone := *w
		alone.With = ""
		m.Form.Kind, m.Form.Part, m.Form.With = string(w.Kind), alone.Part(d.View.Def), w.With
	}
	if o := e.Opening; o != nil {
		m.Form.Opening = o.Opening
	}
	if p := e.Photograph; p != nil {
		m.Form.Opening, m.Form.Caption = cmp.Or(p.Opening, machine.Closed), p.Caption
		view := photoOf(d.View.Job.ID, e)
		m.Photo = &view
		m.Openings = append(m.Openings, choice{machine.Closed, "closed, nothing opened", ""})
	}
	if e.Minutes > 0 {
		m.Form.Minutes = strconv.FormatFloat(float64(e.Minutes), 'g', -1, 64)
	}
	for _, o := range d.View.Def.Openings {
		m.Openings = append(m.Openings, choice{o.ID, o.Name, ""})
	}
	if err := s.correctLineUp(r, &m); err != nil {
		return m, err
	}
	if rd := e.Reading; rd != nil {
		m.Form.Value = strings.NewReplacer("\u2009", " ", "\u2212", "-").Replace(report.Typed(*rd))
		m.Form.Instrument, m.Form.Provoked = rd.Instrument, string(rd.Provoked)
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
	if m.Entry.Closing != nil {
		http.Redirect(w, r, "/jobs/"+url.PathEscape(m.View.Job.ID)+"/closing", http.StatusSeeOther)
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
		Instrument: r.PostFormValue("instrument"), Case: r.PostFormValue("case"), Remark: r.PostFormValue("remark"),
		Kind: r.PostFormValue("kind"), Part: r.PostFormValue("part"), With: r.PostFormValue("with"), Opening: r.PostFormValue("opening"),
		Minutes: r.PostFormValue("minutes"), Caption: r.PostFormValue("caption"), Provoked: r.PostFormValue("provoked")}
	m.LineUp = typedStep(r)
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
	minutes, merr := parseMinutes(m.Form.Minutes)
	err = cmp.Or(err, merr)
	out := job.Entry{Kind: m.Entry.Kind, Case: state, Remark: m.Form.Remark, Minutes: minutes}
	switch {
	case m.Entry.Check != nil:
		c := *m.Entry.Check
		c.Outcome, c.Symptom = diagnosis.Outcome(m.Form.Outcome), diagnosis.Symptom(m.Form.Symptom)
		if c.Outcome != diagnosis.Faulty && c.Outcome != diagnosis.Intermittent {
			c.Symptom = ""
		}
		c.Provoked = diagnosis.Provocation(m.Form.Provoked)
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
		rd.Provoked = diagnosis.Provocation(m.Form.Provoked)
		out.Reading = &rd
	case m.Entry.Work != nil:
		w := job.Work{Kind: diagnosis.WorkKind(m.Form.Kind), Stage: m.Form.Part, Back: m.Entry.Work.Back}
		if w.Kind == diagnosis.WorkSwap {
			w.With = m.Form.With
		}
		out.Work = &w
	case m.Entry.Photograph != nil:
		out.Photograph = &job.Photograph{Opening: m.Form.Opening, Caption: m.Form.Caption}
	case m.Entry.Opening != nil:
		out.Opening = &job.Opening{Opening: m.Form.Opening, Closed: m.Entry.Opening.Closed}
	default:
		err = cmp.Or(err, m.LineUp.correct(m.Entry, &out))
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
