package report

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"headstack/measure"
	"headstack/unit"
)

// Table is one measure of all tracks as a person reads it: tracks (or pairs of
// tracks) are rows, tones are columns, in the same order everywhere.
type Table struct {
	Name      string   // measure: "response"
	Measures  []string // all that stand in it; more than one where each has a column of its own
	Title     string   // "Response", as [measure.HeadingOf] has it
	About     string   // one line: what it is
	Unit      string   // as printed: "µs"
	Reference string   // what 0 is, for the heading
	Method    string
	RowHead   string // "track", "tracks", or "from" where the rows act on the columns
	Columns   []string
	Matrix    bool // from each track into each other: figures stand without their unit
	Rows      []Row
	Notes     []Note   // warnings, lettered
	Details   []string // what each column of several measures is
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

// Zero says what 0 is, for the table's heading: "0 is: the track's own level". A reference
// that tells its figures itself ("0: independent, 1: together") stands as it is.
func (t Table) Zero() string {
	if head, _, ok := strings.Cut(t.Reference, ":"); ok {
		if _, err := strconv.ParseFloat(head, 64); err == nil {
			return t.Reference
		}
	}
	if t.Reference == "" {
		return ""
	}
	return "0 is: " + t.Reference
}

// Tables sets out results as tables, one for each measure and of crosstalk one for each
// tone: in the order of [measure.Headings], then any others by name. Of several results
// for one cell the first stands.
func Tables(measures []measure.Result) []Table {
	var out []Table
	for _, n := range namesOf(measures) {
		var of []measure.Result
		for _, r := range measures {
			if r.Name == n {
				of = append(of, r)
			}
		}
		if matrices[n] {
			out = append(out, matricesOf(n, of)...)
			continue
		}
		out = append(out, tableOf(n, of))
	}
	return out
}

// namesOf lists the measures that there are, in the order of a report.
func namesOf(measures []measure.Result) []string {
	var names []string
	for _, r := range measures {
		if !slices.Contains(names, r.Name) {
			names = append(names, r.Name)
		}
	}
	order := measure.Headings()
	rank := func(n string) int {
		if i := slices.IndexFunc(order, func(h measure.Heading) bool { return h.Name == n }); i >= 0 {
			return i
		}
		return len(order)
	}
	slices.SortStableFunc(names, func(a, b string) int {
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a, b))
	})
	return names
}

// titled is a table without rows.
func titled(name string) Table {
	h := measure.HeadingOf(name)
	t := Table{Name: name, Measures: []string{name}, Title: h.Title, About: h.About, RowHead: "track"}
	if h.Title == name && name != "" { // not listed
		t.Title = strings.ToUpper(name[:1]) + strings.ReplaceAll(name[1:], "_", " ")
	}
	return t
}

type place struct {
	track, trackB int
}

type column struct {
	hz      float64
	section string
}

func tableOf(name string, of []measure.Result) Table {
	t := titled(name)
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
	// Sections of one tone stay as they come on the tape: level steps rise.
	slices.SortStableFunc(cols, func(a, b column) int { return cmp.Compare(a.hz, b.hz) })
	for _, c := range cols {
		t.Columns = append(t.Columns, columnName(c, cols))
	}
	t.Unit, t.Reference, t.Method = headings(of)
	if name == "identity" || name == "polarity" { // their cells are words
		t.Unit, t.Reference = "", ""
	}
	if name == "polarity" {
		t.About = "upright or reversed"
	}
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

// columnName is the tone, and the section where several have that tone.
func columnName(c column, all []column) string {
	section := cmp.Or(c.section, "all sections")
	if c.hz == 0 {
		return section
	}
	tone := unit.Frequency(unit.Hertz(c.hz))
	if !slices.ContainsFunc(all, func(o column) bool { return o.hz == c.hz && o.section != c.section }) {
		return tone
	}
	if strings.Contains(section, strings.ReplaceAll(tone, unit.ThinSpace, " ")) {
		return section // it names its tone
	}
	return section + ", " + tone
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
		cell := t.figure(r)
		for _, w := range r.Warnings {
			cell.Notes = append(cell.Notes, t.note(w))
		}
		return cell
	}
	return Cell{Text: "–", Empty: true}
}

// shortReason is how many letters of a refusal stand in a cell; a longer one is
// lettered, and stands in full under the table.
const shortReason = 40

func (t *Table) figure(r measure.Result) Cell {
	f := r.Figure()
	cell := Cell{Text: f.String(), Refused: r.Refused != ""}
	if cell.Refused {
		short, rest, cut := strings.Cut(r.Refused, ": ")
		if utf8.RuneCountInString(short) > shortReason {
			cell.Text, cut = "not measured", true
		} else if cut && rest != "" {
			cell.Text = "not measured: " + short
		}
		if cut {
			cell.Notes = append(cell.Notes, t.note("not measured: "+r.Refused))
		}
		return cell
	}
	cell.Value, cell.Spread = f.Parts()
	switch {
	case r.Name == "identity":
		cell.Value = "track " + f.Number()
	case r.Name == "polarity" && r.Value < 0:
		cell.Value = "reversed"
	case r.Name == "polarity":
		cell.Value = "upright"
	}
	return cell
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
