package web

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"headstack/job"
	"headstack/report"
)

type capturesModel struct {
	jobData
	captureChoices
	Form      captureForm
	Rows      []captureRow
	Token     string // names this upload for its progress
	MaxUpload int64
}

// captureChoices are what a capture form offers.
type captureChoices struct {
	Tapes      []job.TapeInfo
	Programmes []job.ProgrammeInfo
	Interfaces []job.InterfaceInfo
	Functions  []choice
}

func (s *server) captureChoices(r *http.Request, v *job.View) (c captureChoices, err error) {
	if c.Tapes, err = s.bench.Tapes(r.Context()); err != nil {
		return c, err
	}
	if c.Programmes, err = s.bench.Programmes(r.Context()); err != nil {
		return c, err
	}
	c.Functions = captureFunctions(v)
	c.Interfaces, err = s.bench.Interfaces(r.Context())
	return c, err
}

// Any says whether the bench knows anything that can be played.
func (c captureChoices) Any() bool { return len(c.Tapes)+len(c.Programmes) > 0 }

type captureRow struct {
	Seq                             int64
	Ref, File, Heading, At, Remark  string
	Struck                          string
	Bytes                           int64
	Found, Sections, Given, Refused int
	Again                           []string // refs of entries that measure the same file
	NotMeasured                     string
	Warnings                        []string
	Trouble                         *fileTrouble // with its file; nil: none that is seen
}

func (s *server) capturesModel(r *http.Request) (capturesModel, error) {
	d, err := s.jobData(r, "captures", "Captures")
	if err != nil {
		return capturesModel{}, err
	}
	m := capturesModel{jobData: d, MaxUpload: s.opt.MaxUpload, Token: s.progress.newToken()}
	if m.captureChoices, err = s.captureChoices(r, d.View); err != nil {
		return m, err
	}
	m.Form = captureForm{Case: string(d.View.Case)}
	for _, e := range slices.Backward(d.View.Entries) {
		if e.Capture != nil {
			if len(m.Rows) == 0 { // the next one is mostly of the same
				m.Form.Tape, m.Form.Programme, m.Form.Interface = e.Capture.Tape, e.Capture.Programme, e.Capture.Interface
			}
			row := captureRowOf(d.View, e)
			row.Trouble = s.fileTrouble(e)
			m.Rows = append(m.Rows, row)
		}
	}
	return m, nil
}

// captureFunctions are the functions that a capture can be of.
func captureFunctions(v *job.View) []choice {
	out := []choice{{Value: "", Text: "as is usual for what was played"}}
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
