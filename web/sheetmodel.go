package web

import (
	"cmp"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/machine"
	"headstack/unit"
)

type sheetModel struct {
	jobData
	Groups  []sheetGroup
	Regions []region
	Now     *setupNow // nil: nothing left that needs one
	Case    string
	Left    int
	Total   int
	LeftMin unit.Minutes
	Pace    pace
	Next    string // anchor of the next item that was not tried
	At      string // anchor of the row that gets the focus; empty: none
	Part    string // the only row that is wanted; empty: all
	Undo    *undo
}

// sheetGroup is what is tried under one set-up, on one board where the definition knows no
// set-ups, or as one function on its tracks.
type sheetGroup struct {
	ID           string // anchor
	Title, Place string
	Function     bool
	Setup        string // instance of it; empty: none
	Left         int
	Cautions     []string
	Rows         []sheetRow
}

// Open are the rows that were not tried.
func (g sheetGroup) Open() []sheetRow {
	return slices.DeleteFunc(slices.Clone(g.Rows), func(r sheetRow) bool { return !r.open() })
}

type sheetRow struct {
	ID                  string // anchor; stays with the item whatever the order
	Item, Function, Key string
	Name, Try           string
	Board               string
	Minutes             unit.Minutes
	Mark                shape
	Outcome             diagnosis.Outcome
	Symptom             diagnosis.Symptom
	Fault               int
	Ref, Remark         string
	Covered             bool   // by the set-up that is next
	After               string // anchor to go to once this is recorded
}

func (r sheetRow) open() bool { return r.Outcome == "" || r.Outcome == diagnosis.NotTried }

// setupNow says what is to be set up next, or stands already.
type setupNow struct {
	machine.SetupInstance
	Stands  bool // the last control was tried under it
	Covers  int
	Minutes unit.Minutes
	First   string // anchor
	Rows    string // anchors of all that it covers, with spaces between
	Further int    // changes after it
}

// undo is what one key takes back: the entries kept last.
type undo struct {
	Seqs []int64 // newest first
	Text string
}

func (s *server) sheetModel(r *http.Request) (sheetModel, error) {
	d, err := s.jobData(r, "sheet", "Check sheet")
	if err != nil {
		return sheetModel{}, err
	}
	q := r.URL.Query()
	m := sheetModel{jobData: d, Case: q.Get("case"), At: q.Get("at"), Part: q.Get("part")}
	if m.Case == "" {
		m.Case = string(d.View.Case)
	}
	m.Pace = paceOf(d.View)
	rows := m.rows()
	m.plan(rows)
	m.group(rows)
	for _, f := range d.View.Functions {
		m.addFunction(f)
	}
	m.link()
	m.Regions = regionsOf(d.View, rows)
	m.Undo = undoOf(d.View, q.Get("since"))
	if u := m.Undo; u != nil && len(u.Seqs) > 1 {
		m.Saved = &saved{Text: u.Text}
	}
	return m, nil
}

// rows are those of the controls, in signal-flow order.
func (m *sheetModel) rows() []sheetRow {
	out := make([]sheetRow, len(m.View.Sheet))
	for i, it := range m.View.Sheet {
		row := rowOf(it.Latest)
		row.ID = "r" + strconv.Itoa(i+1)
		row.Item, row.Name, row.Try, row.Minutes, row.Board = it.Item, it.Name, it.Try, it.Minutes, boardName(m.View, it.Board)
		out[i] = row
	}
	return out
}

// plan finds what to set up next so that what is left takes the fewest changes, and marks
// what it covers. What somebody chose not to try waits until the rest is done.
func (m *sheetModel) plan(rows []sheetRow) {
	now := standingSetup(m.View)
	for _, only := range []diagnosis.Outcome{"", diagnosis.NotTried} {
		var items []machine.CheckItem
		var index []int
		for i, row := range rows {
			if row.Outcome == only {
				items, index = append(items, checkItem(m.View.Sheet[i])), append(index, i)
			}
		}
		groups := machine.PlanSetups(items, now)
		if len(groups) == 0 || groups[0].ID == "" {
			continue
		}
		g := groups[0]
		n := &setupNow{SetupInstance: g.SetupInstance, Stands: g.ID == now, First: rows[index[g.Items[0]]].ID}
		for _, i := range g.Items {
			rows[index[i]].Covered = true
			n.Covers++
			n.Rows = strings.TrimSpace(n.Rows + " " + rows[index[i]].ID)
			n.Minutes += m.Pace.of(rows[index[i]].Minutes)
		}
		for _, o := range groups[1:] {
			if o.ID != "" {
				n.Further++
				m.LeftMin += o.Minutes
			}
		}
		if !n.Stands {
			m.LeftMin += g.Minutes
		}
		m.Now = n
		return
	}
}

func checkItem(it job.SheetItem) machine.CheckItem {
	return machine.CheckItem{ID: it.Item, Setups: it.Setups}
}

// standingSetup is the set-up under which a control was tried last, where only one would
// do; else it is not known.
func standingSetup(v *job.View) string {
	for _, e := range slices.Backward(v.Current) {
		if e.Check == nil || e.Check.Item == "" {
			continue
		}
		for _, it := range v.Sheet {
			if it.Item == e.Check.Item && len(it.Setups) == 1 {
				return it.Setups[0].ID
			}
		}
	}
	return ""
}

// group puts the controls under the set-ups that cover the whole sheet with the fewest
// changes, the same ones whatever is left: a page that shuffles its rows is lost in.
func (m *sheetModel) group(rows []sheetRow) {
	items := make([]machine.CheckItem, len(rows))
	for i, it := range m.View.Sheet {
		items[i] = checkItem(it)
	}
	for _, g := range machine.PlanSetups(items, "") {
		if g.ID != "" {
			m.Groups = append(m.Groups, sheetGroup{Title: g.Name, Setup: g.ID, Cautions: slices.Clone(g.Cautions)})
		}
		for _, i := range g.Items {
			n := len(m.Groups)
			if title := rows[i].Board; g.ID == "" && (n == 0 || m.Groups[n-1].Setup != "" || m.Groups[n-1].Title != title) {
				b := sheetGroup{Title: title}
				if x, ok := m.View.Def.Board(m.View.Sheet[i].Board); ok {
					b.Place = x.Place
				}
				m.Groups = append(m.Groups, b)
				n++
			}
			m.add(&m.Groups[n-1], rows[i], m.View.Sheet[i].Cautions)
		}
	}
}

func (m *sheetModel) addFunction(f job.FunctionItem) {
	n := len(m.Groups)
	if n == 0 || !m.Groups[n-1].Function || m.Groups[n-1].Title != f.Name {
		m.Groups = append(m.Groups, sheetGroup{Title: f.Name, Function: true, Place: "as a function, by ear or meter"})
		n++
	}
	row := rowOf(f.Latest)
	row.ID = "r" + strconv.Itoa(m.Total+1)
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
	for _, c := range cautions {
		if !slices.Contains(g.Cautions, c) {
			g.Cautions = append(g.Cautions, c)
		}
	}
	if row.open() {
		m.Left++
		g.Left++
		if row.Function == "" {
			m.LeftMin += m.Pace.of(row.Minutes)
		} else { // the pace was learned on controls
			m.LeftMin += row.Minutes
		}
	}
	g.Rows = append(g.Rows, row)
}

// link says for each row where to go once it is recorded: the next one that was
// not tried, else the end.
func (m *sheetModel) link() {
	after := "end"
	for i := len(m.Groups) - 1; i >= 0; i-- {
		m.Groups[i].ID = "s" + strconv.Itoa(i+1)
		rows := m.Groups[i].Rows
		for j := len(rows) - 1; j >= 0; j-- {
			rows[j].After = after
			if rows[j].open() {
				after, m.Next = rows[j].ID, rows[j].ID
			}
		}
	}
	if m.Now != nil {
		m.Next = m.Now.First
	}
}

func rowOf(e *job.Entry) sheetRow {
	r := sheetRow{Mark: outcomeMark("")}
	if e != nil && e.Check != nil {
		c := e.Check
		r.Outcome, r.Symptom, r.Fault, r.Ref, r.Remark = c.Outcome, c.Symptom, c.Fault, e.Ref, e.Remark
		r.Mark = outcomeMark(c.Outcome)
	}
	return r
}

// undoOf is the check that was kept last, or all since the entry since where several were
// kept at once.
func undoOf(v *job.View, since string) *undo {
	from, err := strconv.ParseInt(since, 10, 64)
	var u *undo
	for _, e := range slices.Backward(v.Current) {
		if e.Check == nil {
			continue
		}
		switch {
		case u == nil:
			u = &undo{Seqs: []int64{e.Seq}, Text: e.Ref + ", " + entryLine(v, e)}
		case err == nil && e.Seq >= from:
			u.Seqs = append(u.Seqs, e.Seq)
			u.Text = plural(len(u.Seqs), "check", "checks") + ", from " + e.Ref + " on"
		}
	}
	return u
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
