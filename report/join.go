package report

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"headstack/measure"
)

// joinSingles puts the measures of a chapter that have one figure a track into one
// table, a column for each: a page of short tables is long to read. The level and the
// response stay by themselves, and so do pairs of tracks.
func joinSingles(title string, tables []Table) []Table {
	single := func(t Table) bool {
		return len(t.Columns) == 1 && t.RowHead == "track" && !t.Matrix && t.Name != "level" && t.Name != "response"
	}
	var of, out []Table
	at := -1
	for _, t := range tables {
		if !single(t) {
			out = append(out, t)
			continue
		}
		if at < 0 {
			at = len(out)
		}
		of = append(of, t)
	}
	if len(of) < 2 {
		return tables
	}
	return slices.Insert(out, at, joined(title, of))
}

func joined(title string, of []Table) Table {
	j := Table{Name: of[0].Name, Title: title + ", track by track", RowHead: "track"}
	for _, t := range of {
		j.Columns = append(j.Columns, t.Title)
		j.Measures = append(j.Measures, t.Measures...)
		j.Details = append(j.Details, detailOf(t))
		for _, r := range t.Rows {
			if !slices.ContainsFunc(j.Rows, func(o Row) bool { return o.Label == r.Label }) {
				j.Rows = append(j.Rows, Row{Label: r.Label})
			}
		}
	}
	// "all" comes first: it is no number.
	number := func(r Row) int { n, _ := strconv.Atoi(r.Label); return n }
	slices.SortStableFunc(j.Rows, func(a, b Row) int { return cmp.Compare(number(a), number(b)) })
	for i := range j.Rows {
		for _, t := range of {
			j.Rows[i].Cells = append(j.Rows[i].Cells, j.take(t, j.Rows[i].Label))
		}
	}
	return j
}

// take is the figure of a row of another table, with its notes as notes of this one.
func (t *Table) take(from Table, label string) Cell {
	i := slices.IndexFunc(from.Rows, func(r Row) bool { return r.Label == label })
	if i < 0 {
		return Cell{Text: "–", Empty: true}
	}
	c := from.Rows[i].Cells[0]
	var letters []string
	for _, n := range from.Notes {
		if slices.Contains(c.Notes, n.Letter) {
			letters = append(letters, t.note(n.Text))
		}
	}
	c.Notes = letters
	return c
}

// detailOf says of a column what else the heading of its own table would.
func detailOf(t Table) string {
	s := t.Title
	if where := t.Columns[0]; where != "all sections" {
		s += " (" + where + ")"
	}
	if t.About != "" {
		s += ": " + t.About
	}
	if zero := t.Zero(); zero != "" {
		s += "; " + zero
	}
	if t.Method != "" {
		s += "; how: " + t.Method
	}
	return s + "."
}

// nothingIn says in one line that a measure was refused everywhere for the same reason:
// a table would say it in every cell. ok is false where the table tells more.
func nothingIn(t Table, measures []measure.Result) (line string, ok bool) {
	reason, n := "", 0
	for _, r := range measures {
		if r.Name != t.Name {
			continue
		}
		if r.Refused == "" || reason != "" && r.Refused != reason {
			return "", false
		}
		reason, n = r.Refused, n+1
	}
	if n < 2 || t.Matrix {
		return "", false
	}
	return fmt.Sprintf("%s: not measured at any of %d places: %s", t.Title, n, reason), true
}
