package web

import (
	"net/http"
	"strings"

	"headstack/job"
)

// flowPages are the pages of those steps of the line that have no other.
func (s *server) flowPages(page func(pattern string, h func(w http.ResponseWriter, r *http.Request) error)) {
	page("GET /jobs/{job}/intake", s.intakePage)
	page("POST /jobs/{job}/intake", s.recordIntake)
	page("GET /jobs/{job}/prove", s.provePage)
	page("POST /jobs/{job}/soak", s.recordSoak)
	page("GET /jobs/{job}/hand-over", s.handOverPage)
	page("POST /demo", s.makeDemo)
}

type intakeModel struct {
	jobData
	Missing    []string
	Cautions   []string
	Lists      []intakeGroup
	Conditions []job.Entry // notes of the state it came in
	Left       int
	What, Text string // as typed
	At         string // name of the item that gets the focus
}

type intakeGroup struct {
	Title, Lead string
	Items       []intakeRow
}

type intakeRow struct {
	intakeItem
	ID    string
	Focus bool
}

// conditions are what a note of the state can be about.
var conditions = []choice{{"outside", "outside", ""}, {"heads and path", "heads and path", ""}, {"controls and sockets", "controls and sockets", ""}, {"inside, as far as seen", "inside, as far as seen", ""}, {"owner said", "what the owner said", ""}}

func (s *server) intakeModel(r *http.Request) (intakeModel, error) {
	d, err := s.jobData(r, "intake", "Intake")
	if err != nil {
		return intakeModel{}, err
	}
	m := intakeModel{jobData: d, Cautions: firstCautions(d.View.Def)}
	for _, f := range []struct{ name, value string }{{"serial", d.View.Job.Serial}, {"owner", d.View.Job.Owner}, {"what the owner says is wrong", d.View.Job.Claim}, {"case state", string(d.View.Job.Case)}} {
		if f.value == "" {
			m.Missing = append(m.Missing, f.name)
		}
	}
	list := intakeList(d.View)
	m.Left = unseen(list)
	m.Lists = []intakeGroup{{Title: "Before it is switched on", Lead: "Nothing is cleaned, turned or opened yet."},
		{Title: "First power, class " + d.View.Def.Supply.Class, Lead: d.View.Def.Supply.Text}}
	after := r.URL.Query().Get("after")
	focus := false
	for i, it := range list {
		row := intakeRow{intakeItem: it, ID: "i" + anchor(it.Name)}
		if after != "" && !focus && it.Entry == nil && i > indexOfItem(list, after) {
			row.Focus, focus = true, true
		}
		g := &m.Lists[btoi(it.Power)]
		g.Items = append(g.Items, row)
	}
	for _, e := range d.View.Current {
		if e.Kind == job.KindNote && strings.HasPrefix(e.Remark, conditionPrefix) {
			m.Conditions = append(m.Conditions, e)
		}
	}
	return m, nil
}

const conditionPrefix = "Condition, "

func indexOfItem(list []intakeItem, name string) int {
	for i, it := range list {
		if it.Name == name {
			return i
		}
	}
	return -1
}

func (s *server) intakePage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.intakeModel(r)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "intake", m)
}

// recordIntake records that an item of the list was seen to, or the state of something.
func (s *server) recordIntake(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	v, err := s.bench.View(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	text := strings.TrimSpace(r.PostFormValue("text"))
	item, what := r.PostFormValue("item"), r.PostFormValue("what")
	back := jobRoot(v) + "/intake"
	note := ""
	switch {
	case item != "" && indexOfItem(intakeList(v), item) < 0:
		err = &job.InvalidError{Field: "item", Value: item, Problem: "is not on the list of this recorder's supply"}
	case item != "":
		note, back = intakePrefix+item, back+"?after="+strings.ReplaceAll(item, " ", "+")
		if text != "" {
			note += ": " + text
		}
	case text == "":
		err = &job.InvalidError{Field: "condition", Problem: "is empty; say what was seen"}
	default:
		note = conditionPrefix + what + ": " + text
	}
	var e job.Entry
	if err == nil {
		e, err = s.bench.RecordNote(r.Context(), v.Job.ID, v.Case, note)
	}
	if err == nil {
		return goTo(w, r, back, e)
	}
	m, err2 := s.intakeModel(r)
	if err2 != nil {
		return err
	}
	m.What, m.Text = what, text
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "intake", m)
}
