package web

import (
	"net/http"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/report"
)

type overviewModel struct {
	jobData
	Explanations []diagnosis.Explanation
	Suspects     []diagnosis.StageState
	Proved       int
	Unknown      int
	Faulty       []faultLine
	NoteText     string // as typed
	Case         string // as typed
	Captures     int
	BadFiles     []badFile // captures whose file is gone or altered
	LineUp       step
	Closed       bool // a closed-case capture follows the work
	Past         []pastJob
}

type faultLine struct{ Ref, Name, Text, Remark string }

func (s *server) overviewModel(r *http.Request) (overviewModel, error) {
	d, err := s.jobData(r, "", "Job")
	if err != nil {
		return overviewModel{}, err
	}
	m := overviewModel{jobData: d, LineUp: d.Steps[4], Closed: d.Steps[5].Done, Case: string(d.View.Case)}
	m.Title = d.View.Job.Name
	if m.Past, err = s.pastJobs(r, d.View.Job); err != nil {
		return overviewModel{}, err
	}
	if v := d.Verdict; v != nil {
		m.Explanations = v.Explanations[:min(5, len(v.Explanations))]
		m.Suspects, m.Proved, m.Unknown = tally(v)
	}
	for _, it := range d.View.Sheet {
		if f, ok := faultOf(it.Name, it.Latest); ok {
			m.Faulty = append(m.Faulty, f)
		}
	}
	for _, f := range d.View.Functions {
		name := f.Name
		if f.Key != "" {
			name += " " + f.Key
		}
		if l, ok := faultOf(name, f.Latest); ok {
			m.Faulty = append(m.Faulty, l)
		}
	}
	m.BadFiles = s.badFiles(d.View)
	for _, e := range d.View.Current {
		m.Captures += btoi(e.Capture != nil)
	}
	return m, nil
}

func faultOf(name string, e *job.Entry) (faultLine, bool) {
	if e == nil || e.Check == nil {
		return faultLine{}, false
	}
	switch e.Check.Outcome {
	case diagnosis.Faulty, diagnosis.Intermittent:
		return faultLine{e.Ref, name, outcomeText(*e.Check), e.Remark}, true
	}
	return faultLine{}, false
}

// tally splits the stages by what is known; suspects most probable first.
func tally(v *diagnosis.Verdict) (suspects []diagnosis.StageState, proved, unknown int) {
	for _, st := range v.Stages {
		switch st.Status {
		case diagnosis.Suspect:
			suspects = append(suspects, st)
		case diagnosis.Proved:
			proved++
		default:
			unknown++
		}
	}
	sortByP(suspects)
	return suspects, proved, unknown
}

func (s *server) overviewPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.overviewModel(r)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "overview", m)
}

func (s *server) recordNote(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	state, err := parseCase(r.PostFormValue("case"))
	var e job.Entry
	if err == nil {
		e, err = s.bench.RecordNote(r.Context(), r.PathValue("job"), state, r.PostFormValue("text"))
	}
	if err == nil {
		return goTo(w, r, r.PostFormValue("back"), e)
	}
	m, err2 := s.overviewModel(r)
	if err2 != nil {
		return err
	}
	m.NoteText, m.Case = r.PostFormValue("text"), r.PostFormValue("case")
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "overview", m)
}

type recordModel struct {
	jobData
	Rows []recordRow
}

type recordRow struct {
	report.Line
	Seq     int64
	Counts  bool // not corrected, not withdrawn, no withdrawal
	Capture bool
}

func (s *server) recordPage(w http.ResponseWriter, r *http.Request) error {
	d, err := s.jobData(r, "record", "Record")
	if err != nil {
		return err
	}
	m := recordModel{jobData: d}
	for i := len(d.View.Entries) - 1; i >= 0; i-- {
		e := d.View.Entries[i]
		l := report.LineOf(d.View, e)
		l.At = whenText(e.At) // the heading says UTC
		if !e.Withdraw && (e.Check != nil || e.Work != nil || e.Opening != nil || e.LineUpText(d.View.Def) != "") {
			l.Text = entryLine(d.View, e)
		}
		if e.Minutes > 0 {
			l.Text += ", " + minutesText(e.Minutes)
		}
		m.Rows = append(m.Rows, recordRow{l, e.Seq, l.Struck == "" && !e.Withdraw, e.Capture != nil})
	}
	return render(w, http.StatusOK, "record", m)
}
