package report

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"headstack/measure"
	"headstack/unit"
)

// Table is one measure of all tracks as a person reads it: tracks (or pairs of
// tracks) are rows, tones are columns, in the same order everywhere.
type Table struct {
	Name      string // measure: "response"
	Title     string // "Response"
	Unit      string // as printed: "µs"
	Reference string // what 0 is, for the heading
	Method    string
	RowHead   string // "track" or "tracks"
	Columns   []string
	Rows      []Row
	Notes     []Note // warnings, lettered
}

// Row is one track or pair.
type Row struct {
	Label string
	Cells []Cell
}

// Cell is one figure or the reason why there is none.
type Cell struct {
	Text    string // the whole figure, or the refusal
	Value   string // the figure without its interval; empty when refused
	Spread  string // the interval
	Refused bool
	Empty   bool     // nothing was asked for here
	Notes   []string // letters of Table.Notes
}

// Note is a warning that belongs to the cells with its letter.
type Note struct{ Letter, Text string }

var titles = map[string]string{
	"level": "Level", "response": "Response", "noise": "Noise", "speed_error": "Speed error",
	"azimuth": "Azimuth", "delay": "Delay between tracks",
}

var order = []string{"response", "level", "speed_error", "azimuth", "delay", "noise"}

// Tables sets out results as tables, one for each measure: response, level,
// speed, azimuth, delay, noise, then any others by name. Of several results for
// one cell the first stands.
func Tables(measures []measure.Result) []Table {
	var names []string
	for _, r := range measures {
		if !slices.Contains(names, r.Name) {
			names = append(names, r.Name)
		}
	}
	rank := func(n string) int {
		if i := slices.Index(order, n); i >= 0 {
			return i
		}
		return len(order)
	}
	slices.SortStableFunc(names, func(a, b string) int {
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a, b))
	})
	var out []Table
	for _, n := range names {
		var of []measure.Result
		for _, r := range measures {
			if r.Name == n {
				of = append(of, r)
			}
		}
		out = append(out, tableOf(n, of))
	}
	return out
}

type place struct {
	track, trackB int
}

type column struct {
	hz      float64
	section string
}

func tableOf(name string, of []measure.Result) Table {
	t := Table{Name: name, Title: titles[name], RowHead: "track"}
	if t.Title == "" {
		t.Title = strings.ReplaceAll(name, "_", " ")
	}
	var rows []place
	var cols []column
	for _, r := range of {
		if p := (place{r.Track, r.TrackB}); !slices.Contains(rows, p) {
			rows = append(rows, p)
		}
		if c := (column{r.ToneHz, r.Section}); !slices.Contains(cols, c) {
			cols = append(cols, c)
		}
		if r.TrackB != 0 {
			t.RowHead = "tracks"
		}
	}
	slices.SortFunc(rows, func(a, b place) int {
		return cmp.Or(cmp.Compare(a.track, b.track), cmp.Compare(a.trackB, b.trackB))
	})
	slices.SortStableFunc(cols, func(a, b column) int {
		return cmp.Or(cmp.Compare(a.hz, b.hz), cmp.Compare(a.section, b.section))
	})
	for _, c := range cols {
		t.Columns = append(t.Columns, columnName(c, cols))
	}
	t.Unit, t.Reference, t.Method = headings(of)
	for _, p := range rows {
		row := Row{Label: p.label()}
		for _, c := range cols {
			row.Cells = append(row.Cells, t.cell(of, p, c))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func (p place) label() string {
	switch {
	case p.track == 0:
		return "all"
	case p.trackB != 0:
		return fmt.Sprintf("%d and %d", p.track, p.trackB)
	}
	return strconv.Itoa(p.track)
}

func columnName(c column, all []column) string {
	if c.hz == 0 {
		return cmp.Or(c.section, "all sections")
	}
	for _, o := range all {
		if o.hz == c.hz && o.section != c.section {
			return unit.Frequency(unit.Hertz(c.hz)) + ", " + cmp.Or(c.section, "all sections")
		}
	}
	return unit.Frequency(unit.Hertz(c.hz))
}

// headings gives unit, reference and method for the table's heading. Methods and
// references that differ in their figures only, from tone to tone or pair to pair,
// are named once: each figure carries its own in full.
func headings(of []measure.Result) (units, reference, method string) {
	var us, rs, ms []string
	add := func(list *[]string, s string) {
		same := func(o string) bool { return shape(o) == shape(s) }
		if s != "" && !slices.ContainsFunc(*list, same) {
			*list = append(*list, s)
		}
	}
	for _, r := range of {
		add(&us, r.Unit)
		add(&rs, r.Reference)
		add(&ms, r.Method)
	}
	return strings.Join(us, ", "), strings.Join(rs, "; "), strings.Join(ms, "; ")
}

var figures = regexp.MustCompile(`[+\x{2212}-]?\d+(\.\d+)?`)

// shape is a text without its figures.
func shape(s string) string { return figures.ReplaceAllString(s, "#") }

func (t *Table) cell(of []measure.Result, p place, c column) Cell {
	for _, r := range of {
		if (place{r.Track, r.TrackB}) != p || (column{r.ToneHz, r.Section}) != c {
			continue
		}
		f := r.Figure()
		cell := Cell{Text: f.String(), Refused: r.Refused != ""}
		if !cell.Refused {
			cell.Value, cell.Spread = f.Parts()
		}
		for _, w := range r.Warnings {
			cell.Notes = append(cell.Notes, t.note(w))
		}
		return cell
	}
	return Cell{Text: "–", Empty: true}
}

func (t *Table) note(text string) string {
	for _, n := range t.Notes {
		if n.Text == text {
			return n.Letter
		}
	}
	t.Notes = append(t.Notes, Note{Letter: letter(len(t.Notes)), Text: text})
	return t.Notes[len(t.Notes)-1].Letter
}

// letter gives a, b ... z, aa, ab ...
func letter(n int) string {
	if n < 26 {
		return string(rune('a' + n))
	}
	return letter(n/26-1) + string(rune('a'+n%26))
}

// paperColumns is how many tones fit an A4 sheet upright.
const paperColumns = 6

// paper cuts tables that are too wide for a sheet into ones that are not, with
// the tracks again at the left of each.
func paper(tables []Table) []Table {
	var out []Table
	for _, t := range tables {
		for from := 0; from < len(t.Columns); from += paperColumns {
			to := min(from+paperColumns, len(t.Columns))
			part := t
			part.Columns, part.Rows = t.Columns[from:to], nil
			for _, r := range t.Rows {
				part.Rows = append(part.Rows, Row{r.Label, r.Cells[from:to]})
			}
			if from > 0 {
				part.Title += ", continued"
			}
			if to < len(t.Columns) {
				part.Notes = nil // once, under the last part
			}
			out = append(out, part)
		}
	}
	return out
}
