package web

import (
	"context"
	"errors"
	"net/http"
	"strings"

	"headstack/job"
	"headstack/lineup"
	"headstack/teardown"
)

type openingsModel struct {
	jobData
	Plan      *teardown.Plan
	NoPlan    string // why there is none
	Planning  bool   // it is still being worked out
	Total     string // with its interval
	Proved    shape
	Parts     []costPart
	Decisions []decisionView
	Visits    []visitView
	Spreads   string // where the intervals of the times are from
	Quick     bool   // without what is only worth doing while inside
	Photos    photos
}

type decisionView struct {
	teardown.Decision
	Mark shape
	Sum  [][2]string
}

func (s *server) openingsPage(w http.ResponseWriter, r *http.Request) error {
	d, err := s.jobData(r, "openings", "Openings planned")
	if err != nil {
		return err
	}
	d.Card = nil // here the plan says what is next
	m := openingsModel{jobData: d, Photos: photosOf(d.View), Quick: r.URL.Query().Get("only") == "needed"}
	wait, cancel := context.WithTimeout(r.Context(), s.patience(r))
	defer cancel()
	plan, err := s.plansFor(r).within(r.Context(), wait, s.bench, d.View)
	if err != nil && r.Context().Err() != nil {
		return err
	}
	if e, ok := errors.AsType[*job.NoTasksError](err); ok {
		m.NoPlan = strings.TrimPrefix(e.Error(), e.Job+" has ")
		return render(w, http.StatusOK, "openings", m)
	}
	if errors.Is(err, errWorking) {
		m.Planning = true
		return render(w, http.StatusOK, "openings", m)
	}
	if err != nil {
		m.NoPlan = err.Error()
		return render(w, http.StatusOK, "openings", m)
	}
	m.Plan, m.Spreads = plan, plan.SpreadText()
	m.Total, m.Parts = plan.Total.Figure().String(), costParts(plan.Cost)
	m.Proved = shape{"suspect", "▲", "not proved"}
	if plan.Proved {
		m.Proved = shape{"proved", "■", "proved"}
	}
	for _, x := range plan.Decisions {
		m.Decisions = append(m.Decisions, decisionView{x, decisionMark(x), decisionRows(x)})
	}
	m.Visits = visitViews(d.View.Def, plan)
	m.markSteps()
	return render(w, http.StatusOK, "openings", m)
}

// plansFor are the plans that a request wants: all, or without what is only worth doing
// while inside. They rest on the diagnosis, which can take seconds on a large recorder.
func (s *server) plansFor(r *http.Request) *thoughts[*teardown.Plan] {
	if p, ok := s.plans[r.URL.Query().Get("only")]; ok {
		return p
	}
	return s.plans[""]
}

func asNoLineUp(err error) (*job.NoLineUpError, bool) { return errors.AsType[*job.NoLineUpError](err) }

// papers

type paperModel struct {
	jobData
	Paper   lineup.Printed
	Rounds  int
	Refused string
	Hear    []choice
	Heard   string
	Blanks  []blank
}

// linesOnPaper is how many lines an A4 sheet holds beside heading, cautions and the terms at
// its foot: measured on the sheets of both built-in recorders.
const linesOnPaper = 17

type blank struct{ Name, Value string }

// hearings are the ways in which tracks reach an interface or a meter.
func hearings(l *job.LineUp, tracks int) ([]choice, map[string]lineup.Hearing) {
	by := map[string]lineup.Hearing{"captures": l.Hearing, "one": {AtOnce: 1}, "bus": {AtOnce: 2, Bus: true}, "all": {AtOnce: tracks}}
	list := []choice{{"captures", "as the captures were taken", ""}, {"one", "one after the other", ""}, {"bus", "two, over a stereo bus", ""}, {"all", "all, an input each", ""}}
	return list, by
}

func (s *server) paperSheetPage(w http.ResponseWriter, r *http.Request) error {
	d, err := s.jobData(r, "line-up", "Line-up sheet")
	if err != nil {
		return err
	}
	d.Card = nil
	m := paperModel{jobData: d, Heard: r.URL.Query().Get("hear")}
	l, v, err := s.bench.LineUp(r.Context(), d.View.Job.ID)
	if e, ok := asNoLineUp(err); ok {
		m.Refused = e.Err.Error()
		return render(w, http.StatusOK, "papersheet", m)
	}
	if err != nil {
		return err
	}
	sheet, err := paperSheet(l, v, m.Heard, &m.Hear)
	if err != nil {
		m.Refused = err.Error()
		return render(w, http.StatusOK, "papersheet", m)
	}
	m.Rounds, m.Paper = len(sheet.Pages), sheet.Print().Paged(linesOnPaper)
	filled := map[string]string{"job": v.Job.ID, "serial": v.Job.Serial}
	for _, h := range sheet.Head {
		m.Blanks = append(m.Blanks, blank{h, filled[h]})
	}
	return render(w, http.StatusOK, "papersheet", m)
}

func paperSheet(l *job.LineUp, v *job.View, heard string, list *[]choice) (*lineup.Sheet, error) {
	choices, by := hearings(l, v.Def.Tracks.Count)
	*list = choices
	h, ok := by[heard]
	if !ok {
		return l.Sheet()
	}
	return l.Order.Sheet(lineup.SheetOptions{Hearing: h})
}
