package web

import (
	"cmp"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
	"headstack/unit"
)

type sheetModel struct {
	jobData
	Groups  []sheetGroup
	Case    string
	Left    int
	Total   int
	LeftMin unit.Minutes
	Next    string // anchor of the next item that was not tried
}

// sheetGroup is a board's controls, or a function on its tracks.
type sheetGroup struct {
	Title, Place string
	Function     bool
	Left         int
	Cautions     []string
	Rows         []sheetRow
}

type sheetRow struct {
	ID                  string // anchor
	Item, Function, Key string
	Name, Try           string
	Minutes             unit.Minutes
	Cautions            []string
	Mark                shape
	Outcome             diagnosis.Outcome
	Symptom             diagnosis.Symptom
	Ref, Remark         string
	After               string // anchor to go to once this is recorded
}

func (s *server) sheetModel(r *http.Request) (sheetModel, error) {
	d, err := s.jobData(r, "sheet", "Check sheet")
	if err != nil {
		return sheetModel{}, err
	}
	m := sheetModel{jobData: d, Case: r.URL.Query().Get("case")}
	if m.Case == "" {
		m.Case = string(d.View.Case)
	}
	for _, it := range d.View.Sheet {
		m.addControl(it)
	}
	for _, f := range d.View.Functions {
		m.addFunction(f)
	}
	m.link()
	return m, nil
}

func (m *sheetModel) addControl(it job.SheetItem) {
	n := len(m.Groups)
	if n == 0 || m.Groups[n-1].Title != boardName(m.View, it.Board) {
		g := sheetGroup{Title: boardName(m.View, it.Board)}
		if b, ok := m.View.Def.Board(it.Board); ok {
			g.Place = b.Place
		}
		m.Groups = append(m.Groups, g)
		n++
	}
	row := rowOf(it.Latest)
	row.Item, row.Name, row.Try, row.Minutes = it.Item, it.Name, it.Try, it.Minutes
	m.add(&m.Groups[n-1], row, it.Cautions)
}

func (m *sheetModel) addFunction(f job.FunctionItem) {
	n := len(m.Groups)
	if n == 0 || !m.Groups[n-1].Function || m.Groups[n-1].Title != f.Name {
		m.Groups = append(m.Groups, sheetGroup{Title: f.Name, Function: true, Place: "as a function, by ear or meter"})
		n++
	}
	row := rowOf(f.Latest)
	row.Function, row.Key, row.Minutes = f.Function, f.Key, f.Minutes
	row.Name = f.Name
	if f.Key != "" {
		row.Name += " " + f.Key
	}
	m.add(&m.Groups[n-1], row, nil)
}

// add puts a row into a group. A caution that every row of a group repeats would
// not be read: it stands once, at the head of the group.
func (m *sheetModel) add(g *sheetGroup, row sheetRow, cautions []string) {
	m.Total++
	row.ID = "r" + strconv.Itoa(m.Total)
	for _, c := range cautions {
		if !slices.Contains(g.Cautions, c) {
			g.Cautions = append(g.Cautions, c)
		}
	}
	if row.Outcome == "" || row.Outcome == diagnosis.NotTried {
		m.Left++
		g.Left++
		m.LeftMin += row.Minutes
	}
	g.Rows = append(g.Rows, row)
}

// link says for each row where to go once it is recorded: the next one that was
// not tried, else the next one.
func (m *sheetModel) link() {
	after := "end"
	for i := len(m.Groups) - 1; i >= 0; i-- {
		rows := m.Groups[i].Rows
		for j := len(rows) - 1; j >= 0; j-- {
			rows[j].After = after
			if rows[j].Outcome == "" || rows[j].Outcome == diagnosis.NotTried {
				after, m.Next = rows[j].ID, rows[j].ID
			}
		}
	}
}

func rowOf(e *job.Entry) sheetRow {
	r := sheetRow{Mark: outcomeMark("")}
	if e != nil && e.Check != nil {
		r.Outcome, r.Symptom, r.Ref, r.Remark = e.Check.Outcome, e.Check.Symptom, e.Ref, e.Remark
		r.Mark = outcomeMark(e.Check.Outcome)
	}
	return r
}

func boardName(v *job.View, id string) string {
	if b, ok := v.Def.Board(id); ok {
		return cmp.Or(b.Name, b.ID)
	}
	return cmp.Or(id, "no board")
}

func sortByP(s []diagnosis.StageState) {
	slices.SortStableFunc(s, func(a, b diagnosis.StageState) int { return cmp.Compare(b.P, a.P) })
}

func (s *server) sheetPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.sheetModel(r)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "sheet", m)
}

func (s *server) recordCheck(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	id := r.PathValue("job")
	c, state, err := checkOf(r)
	var e job.Entry
	if err == nil {
		e, err = s.bench.RecordCheck(r.Context(), id, c, state, r.PostFormValue("remark"))
	}
	if err == nil {
		to := r.PostFormValue("back")
		if to == "" {
			to = "/jobs/" + url.PathEscape(id) + "/sheet?case=" + url.QueryEscape(string(state)) + "#" + url.PathEscape(r.PostFormValue("after"))
		}
		return goTo(w, r, to, e)
	}
	m, err2 := s.sheetModel(r)
	if err2 != nil {
		return err
	}
	var status int
	m.Problem, status = problemOf(err)
	m.Case = r.PostFormValue("case")
	m.keepTyped(r)
	return render(w, status, "sheet", m)
}

// keepTyped puts a refused remark back into its row.
func (m *sheetModel) keepTyped(r *http.Request) {
	for i := range m.Groups {
		for j := range m.Groups[i].Rows {
			row := &m.Groups[i].Rows[j]
			if row.Item == r.PostFormValue("item") && row.Function == r.PostFormValue("function") && row.Key == r.PostFormValue("key") {
				row.Remark = r.PostFormValue("remark")
			}
		}
	}
}

func checkOf(r *http.Request) (job.Check, measure.CaseState, error) {
	c := job.Check{Item: r.PostFormValue("item"), Function: r.PostFormValue("function"), Key: r.PostFormValue("key"),
		Outcome: diagnosis.Outcome(r.PostFormValue("outcome")), Symptom: diagnosis.Symptom(r.PostFormValue("symptom")),
		Provoked: diagnosis.Provocation(r.PostFormValue("provoked"))}
	// The choice of a symptom stands beside the buttons; it means something only
	// with what it can explain.
	if c.Outcome != diagnosis.Faulty && c.Outcome != diagnosis.Intermittent {
		c.Symptom = ""
	}
	state, err := parseCase(r.PostFormValue("case"))
	return c, state, err
}
