package web

import (
	"net/http"
	"net/url"

	"headstack/job"
)

// maxForm bounds a form without a file, in bytes.
const maxForm = 1 << 20

type jobsModel struct {
	base
	Jobs []job.Summary
	Defs []job.DefinitionInfo
	New  job.NewJob // as typed
	Demo bool       // the demo can be made
	Away bool       // the bench can be taken away whole
}

func (s *server) jobsModel(r *http.Request) (jobsModel, error) {
	m := jobsModel{base: base{Title: "Jobs", Here: "jobs", Back: "/"}}
	m.Demo, m.Away = s.opt.Demo != nil, s.opt.Export != nil
	var err error
	if m.Jobs, err = s.bench.Jobs(r.Context()); err != nil {
		return m, err
	}
	m.Defs, err = s.bench.Definitions(r.Context())
	return m, err
}

func (s *server) jobsPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.jobsModel(r)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "jobs", m)
}

func (s *server) openJob(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	state, err := parseCase(r.PostFormValue("case"))
	n := job.NewJob{Definition: r.PostFormValue("definition"), Serial: r.PostFormValue("serial"),
		Owner: r.PostFormValue("owner"), Claim: r.PostFormValue("claim"), Case: state}
	var j job.Job
	if err == nil {
		j, err = s.bench.OpenJob(r.Context(), n)
	}
	if err == nil {
		http.Redirect(w, r, "/jobs/"+url.PathEscape(j.ID)+"/intake", http.StatusSeeOther)
		return nil
	}
	m, err2 := s.jobsModel(r)
	if err2 != nil {
		return err
	}
	m.New = n
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "jobs", m)
}

func parseForm(w http.ResponseWriter, r *http.Request) error {
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	if err := r.ParseForm(); err != nil {
		return formError(err)
	}
	return nil
}

func formError(err error) error {
	if e := explain(err); e.status == http.StatusRequestEntityTooLarge || e.status == http.StatusRequestTimeout {
		return e
	}
	return &pageError{status: http.StatusBadRequest, title: "The form could not be read", what: err.Error(),
		hint: "Go back, what was typed is still there, and send it again.", kept: "Nothing was written.", err: err}
}
