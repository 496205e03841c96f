package web

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"headstack/job"
	"headstack/measure"
	"headstack/report"
)

type captureModel struct {
	jobData
	captureChoices
	lossModel
	Entry    job.Entry
	Row      captureRow
	Means    []string
	Sections []measure.SectionFound
	Missing  []measure.SectionFound
	Chapters []report.Chapter
	// Over are the levels against time, one for each section, where the page has room for
	// them; else they have a page of their own.
	Over     []report.Picture
	OverPage string // its address
	OverN    int
	Form     captureForm
	Looked   bool // the file was read to its end for this page, and is whole
}

// lightPage is how much of pictures and their tables a page carries, in bytes of markup:
// a phone at the far end of a workshop has to load it.
const lightPage = 600_000

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
	m := captureModel{jobData: d, Entry: e, Row: captureRowOf(d.View, e), Sections: c.Report.Sections}
	m.Means = report.MeansOf(*c, report.LoopedBack(r.Context(), &job.View{Entries: []job.Entry{e}}, s.bench))
	m.Missing = slices.DeleteFunc(slices.Clone(m.Sections), func(s measure.SectionFound) bool { return s.Found })
	m.Title = e.Ref + ", " + d.View.Job.Name
	if m.Looked, err = s.lookThrough(r, e, &m.Row); err != nil {
		return m, err
	}
	m.Form = captureForm{Tape: c.Tape, Programme: c.Programme, Interface: c.Interface, Function: c.Function, Tracks: tracksText(c.Tracks), Case: string(e.Case), Remark: e.Remark}
	if c.WhileRecording {
		m.Form.WhileRecording = "1"
	}
	m.draw()
	if m.lossModel, err = s.lossModel(r, d.View, e); err != nil {
		return m, err
	}
	m.captureChoices, err = s.captureChoices(r, d.View)
	return m, err
}

// draw sets out figures and pictures, and puts the levels against time aside.
func (m *captureModel) draw() {
	m.Chapters = report.Chapters(m.Entry.Capture.Report, report.Centres(m.View.Def), "p-")
	size := 0
	for i := range m.Chapters {
		c := &m.Chapters[i]
		var stay []report.Picture
		for _, p := range c.Pictures {
			size += len(p.SVG) + len(p.Table.HTML())
			if p.Over {
				m.Over = append(m.Over, p)
			} else {
				stay = append(stay, p)
			}
		}
		c.Pictures = stay
	}
	m.OverN = len(m.Over)
	if m.OverN > 0 && size > lightPage {
		m.OverPage = "/jobs/" + url.PathEscape(m.View.Job.ID) + "/captures/" + strconv.FormatInt(m.Entry.Seq, 10) + "/level-time"
	}
}

func (s *server) capturePage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.captureModel(r)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "capture", m)
}

type levelTimeModel struct {
	captureModel
	Shown *report.Picture // nil: there is none
}

// levelTimePage shows the level against time of one section of a capture, with the way
// to the others.
func (s *server) levelTimePage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.captureModel(r)
	if err != nil {
		return err
	}
	l := levelTimeModel{captureModel: m}
	l.Title = "Level against time, " + m.Title
	of := r.URL.Query().Get("of")
	for i := range l.Over {
		if l.Over[i].ID == of || of == "" {
			l.Shown = &l.Over[i]
			return render(w, http.StatusOK, "leveltime", l)
		}
	}
	if of != "" {
		return &job.NotFoundError{What: "level against time", ID: of}
	}
	return render(w, http.StatusOK, "leveltime", l)
}

// measureAgain measures a kept file once more, with other track numbers or as the
// replay of something else; the new entry takes the place of the old.
func (s *server) measureAgain(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	m, err := s.captureModel(r)
	if err != nil {
		return err
	}
	form := formOf(r.PostFormValue)
	up, err := form.upload()
	var e job.Entry
	if err == nil {
		up.Name, up.SHA256, up.Corrects, up.Voids = m.Entry.Capture.File, m.Entry.Capture.SHA256, m.Entry.Seq, m.Entry.Capture.Voids
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
