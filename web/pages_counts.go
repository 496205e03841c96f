package web

import (
	"cmp"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/learn"
)

type foundModel struct {
	base
	Found   *job.Found
	Counted *learn.Machines // of this type
	Stages  []job.FoundStage
	Words   []string // what it changed
	More    int      // numbers that are not told
	Rates   []rateRow
	Returns []rateRow
}

type rateRow struct {
	What string
	learn.Rate
}

// foundShown bounds the sentences of a page.
const foundShown = 30

// foundPage shows what closed jobs found so far on one type of recorder.
func (s *server) foundPage(w http.ResponseWriter, r *http.Request) error {
	f, err := s.bench.Found(r.Context(), r.PathValue("definition"))
	if err != nil {
		return err
	}
	m := foundModel{base: base{Title: "What was found so far, " + f.Info.Name, Here: "library"}, Found: f, Counted: f.Counts.Of(f.Info.ID), Stages: f.Stages()}
	told := f.Lesson.Largest(foundShown)
	for _, c := range told {
		m.Words = append(m.Words, c.Text(f.Def))
	}
	m.More = len(f.Lesson.Changes) - len(told)
	for of, list := range map[string][]learn.Rate{"reading ": f.Lesson.Rates.Readings, "check ": f.Lesson.Rates.Checks} {
		for _, x := range list {
			if x.Wrong > 0 || x.What == learn.AnyError {
				m.Rates = append(m.Rates, rateRow{of + x.What, x})
			}
		}
	}
	slices.SortFunc(m.Rates, func(a, b rateRow) int { return cmp.Or(cmp.Compare(b.Of, a.Of), cmp.Compare(a.What, b.What)) })
	for _, x := range f.Lesson.Rates.Returns {
		m.Returns = append(m.Returns, rateRow{x.What, x})
	}
	return render(w, http.StatusOK, "found", m)
}

type closingModel struct {
	jobData
	Standing  *job.Entry // nil: the job is open
	Text      string     // what stands, or is proposed
	Rows      []closingRow
	Complaint []tick
	Returned  string
	Remark    string
	Seen      int64 // entry up to which the form knows the job
	Parts     []string
}

// closingRow is one part of the form.
type closingRow struct {
	N                      int
	Part, Cause, Work, How string
	Causes                 []string // empty: typed
}

type tick struct {
	Word string
	On   bool
}

// The answers to what is known of a part.
const (
	howProven   = "proven"
	howUnproven = "unproven"
	howNot      = "not"
)

// blankRows are offered for parts that the record does not suggest.
const blankRows = 1

func (s *server) closingModel(r *http.Request) (closingModel, error) {
	d, err := s.jobData(r, "closing", "Close the job")
	if err != nil {
		return closingModel{}, err
	}
	c, v, err := s.bench.ProposeClosing(r.Context(), r.PathValue("job"))
	if err != nil {
		return closingModel{}, err
	}
	m := closingModel{jobData: d, Standing: v.Closing(), Text: c.Text(v.Def), Seen: v.Seen()}
	for _, in := range v.Def.Instances() {
		m.Parts = append(m.Parts, in.Part())
	}
	m.fill(v, c)
	return m, nil
}

// fill puts a closing into the form.
func (m *closingModel) fill(v *job.View, c job.Closing) {
	m.Rows, m.Complaint, m.Returned = nil, nil, c.Returned
	for i, f := range c.Faults {
		row := closingRow{N: i, Part: f.Part(v.Def), Cause: f.Cause, Work: string(f.Work), How: howUnproven, Causes: job.Causes(v.Def, f.Stage)}
		if f.Proven {
			row.How = howProven
		}
		m.Rows = append(m.Rows, row)
	}
	for range blankRows {
		m.Rows = append(m.Rows, closingRow{N: len(m.Rows), How: howNot, Work: string(diagnosis.WorkRepair)})
	}
	for _, w := range job.Complaints() {
		m.Complaint = append(m.Complaint, tick{string(w), slices.Contains(c.Complaint, w)})
	}
}

func (s *server) closingPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.closingModel(r)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "closing", m)
}

// closeJob keeps the closing that the form says, or puts the one that stands right.
func (s *server) closeJob(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	c := closingOf(r)
	e, err := s.keepClosing(r, job.Entry{Closing: &c, Remark: r.PostFormValue("remark"), Seen: seenOf(r)})
	if err == nil {
		return goTo(w, r, "/jobs/"+r.PathValue("job")+"/closing", e)
	}
	m, err2 := s.closingModel(r)
	if err2 != nil {
		return err
	}
	m.typed(r)
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "closing", m)
}

// typed keeps in the form what was sent.
func (m *closingModel) typed(r *http.Request) {
	m.Returned, m.Remark = r.PostFormValue("returned"), r.PostFormValue("remark")
	for i := range m.Complaint {
		m.Complaint[i].On = slices.Contains(r.PostForm["complaint"], m.Complaint[i].Word)
	}
	for i := range m.Rows {
		row, n := &m.Rows[i], strconv.Itoa(m.Rows[i].N)
		row.Part, row.Cause, row.Work, row.How = r.PostFormValue("part-"+n), r.PostFormValue("cause-"+n), r.PostFormValue("work-"+n), r.PostFormValue("how-"+n)
	}
}

// closingOf reads the rows of the form, which are numbered from 0.
func closingOf(r *http.Request) job.Closing {
	c := job.Closing{Returned: strings.TrimSpace(r.PostFormValue("returned"))}
	for _, w := range r.PostForm["complaint"] {
		c.Complaint = append(c.Complaint, diagnosis.Symptom(w))
	}
	for i := 0; r.PostForm.Has("part-" + strconv.Itoa(i)); i++ {
		n := strconv.Itoa(i)
		part, how := strings.TrimSpace(r.PostFormValue("part-"+n)), r.PostFormValue("how-"+n)
		if part == "" || how != howProven && how != howUnproven {
			continue
		}
		c.Faults = append(c.Faults, job.ClosedFault{Stage: part, Cause: r.PostFormValue("cause-" + n), Proven: how == howProven, Work: diagnosis.WorkKind(r.PostFormValue("work-" + n))})
	}
	return c
}

// keepClosing closes a job, or corrects the closing that stands.
func (s *server) keepClosing(r *http.Request, e job.Entry) (job.Entry, error) {
	v, err := s.bench.View(r.Context(), r.PathValue("job"))
	if err != nil {
		return job.Entry{}, err
	}
	if standing := v.Closing(); standing != nil {
		return s.bench.Correct(r.Context(), v.Job.ID, standing.Seq, e)
	}
	return s.bench.Record(r.Context(), v.Job.ID, e)
}
