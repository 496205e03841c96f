package web

import (
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"headstack/job"
	"headstack/measure"
	"headstack/plot"
	"headstack/report"
)

type capturesModel struct {
	jobData
	Tapes     []job.TapeInfo
	Functions []choice
	Form      captureForm
	Rows      []captureRow
	Token     string // names this upload for its progress
	MaxUpload int64
}

// captureForm is the form as typed; a browser does not give the file back.
type captureForm struct{ Tape, Function, Tracks, Case, Remark, File string }

type captureRow struct {
	Seq                             int64
	Ref, File, Heading, At, Remark  string
	Struck                          string
	Bytes                           int64
	Found, Sections, Given, Refused int
	Again                           []string // refs of entries that measure the same file
	NotMeasured                     string
	Warnings                        []string
}

func (s *server) capturesModel(r *http.Request) (capturesModel, error) {
	d, err := s.jobData(r, "captures", "Captures")
	if err != nil {
		return capturesModel{}, err
	}
	m := capturesModel{jobData: d, MaxUpload: s.opt.MaxUpload, Token: s.progress.newToken()}
	if m.Tapes, err = s.bench.Tapes(r.Context()); err != nil {
		return m, err
	}
	m.Functions = captureFunctions(d.View)
	m.Form = captureForm{Function: "play", Case: string(lastCase(d.View))}
	for _, e := range slices.Backward(d.View.Entries) {
		if e.Capture != nil {
			if len(m.Rows) == 0 {
				m.Form.Tape = e.Capture.Tape
			}
			m.Rows = append(m.Rows, captureRowOf(d.View, e))
		}
	}
	return m, nil
}

// captureFunctions are the functions that a capture can be of.
func captureFunctions(v *job.View) []choice {
	out := []choice{}
	for _, id := range []string{"play", "record-play"} {
		if f, ok := v.Def.Function(id); ok {
			out = append(out, choice{Value: id, Text: f.Name})
		}
	}
	for _, f := range v.Def.Functions {
		if f.ID != "play" && f.ID != "record-play" {
			out = append(out, choice{Value: f.ID, Text: f.Name})
		}
	}
	return out
}

func captureRowOf(v *job.View, e job.Entry) captureRow {
	c := e.Capture
	row := captureRow{Seq: e.Seq, Ref: e.Ref, File: c.File, At: whenText(e.At), Bytes: c.Bytes, Remark: e.Remark,
		Heading: report.EntryText(v.Def, e), Struck: report.LineOf(v, e).Struck, Warnings: c.Report.Warnings}
	for _, sec := range c.Report.Sections {
		row.Sections++
		row.Found += btoi(sec.Found)
	}
	for _, x := range c.Report.Measures {
		if x.Refused != "" {
			row.Refused++
		} else {
			row.Given++
		}
	}
	return row
}

func (s *server) capturesPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.capturesModel(r)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "captures", m)
}

func (s *server) uploadCapture(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("job")
	form, e, err := s.takeUpload(w, r, id)
	// Kept but not measured: its page says so, with the reason.
	if nm, ok := errors.AsType[*job.NotMeasuredError](err); ok {
		e, err = nm.Entry, nil
	}
	if err == nil {
		return goTo(w, r, "/jobs/"+url.PathEscape(id)+"/captures/"+strconv.FormatInt(e.Seq, 10), e)
	}
	if explain(err).status == statusClientGone {
		return err
	}
	m, err2 := s.capturesModel(r)
	if err2 != nil {
		return err
	}
	m.Form = form
	var status int
	m.Problem, status = problemOf(err)
	// The rest of the upload was not read: the connection is of no more use.
	w.Header().Set("Connection", "close")
	return render(w, status, "captures", m)
}

type captureModel struct {
	jobData
	Entry    job.Entry
	Row      captureRow
	Sections []measure.SectionFound
	Plot     template.HTML
	Tables   []report.Table
	Tapes    []job.TapeInfo
	Form     captureForm
}

func (s *server) captureModel(r *http.Request) (captureModel, error) {
	d, err := s.jobData(r, "captures", "Capture")
	if err != nil {
		return captureModel{}, err
	}
	e, err := entryOf(d.View, r.PathValue("seq"))
	if err != nil {
		return captureModel{}, err
	}
	if e.Capture == nil {
		return captureModel{}, &job.NotFoundError{What: "capture", ID: r.PathValue("seq")}
	}
	c := e.Capture
	m := captureModel{jobData: d, Entry: e, Row: captureRowOf(d.View, e), Sections: c.Report.Sections, Tables: report.Tables(c.Report.Measures)}
	m.Plot = plot.Response(c.Report.Measures, plot.Options{Title: "Response, " + c.File})
	m.Title = e.Ref + ", " + d.View.Job.Name
	m.Form = captureForm{Tape: c.Tape, Function: c.Function, Tracks: tracksText(c.Tracks), Case: string(e.Case), Remark: e.Remark}
	m.Tapes, err = s.bench.Tapes(r.Context())
	return m, err
}

func (s *server) capturePage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.captureModel(r)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "capture", m)
}

// measureAgain measures a kept file once more, with other track numbers or
// another tape; the new entry takes the place of the old.
func (s *server) measureAgain(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	m, err := s.captureModel(r)
	if err != nil {
		return err
	}
	form := captureForm{Tape: r.PostFormValue("tape"), Function: r.PostFormValue("function"), Tracks: r.PostFormValue("tracks"), Case: r.PostFormValue("case"), Remark: r.PostFormValue("remark")}
	up, err := form.upload()
	var e job.Entry
	if err == nil {
		up.Name, up.SHA256, up.Corrects = m.Entry.Capture.File, m.Entry.Capture.SHA256, m.Entry.Seq
		e, err = s.bench.AddCapture(r.Context(), m.View.Job.ID, up)
	}
	if nm, ok := errors.AsType[*job.NotMeasuredError](err); ok {
		e, err = nm.Entry, nil
	}
	if err == nil {
		return goTo(w, r, "/jobs/"+url.PathEscape(m.View.Job.ID)+"/captures/"+strconv.FormatInt(e.Seq, 10), e)
	}
	m.Form = form
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "capture", m)
}
