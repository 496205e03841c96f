package handout

import (
	"cmp"
	"fmt"
	"time"

	"headstack/job"
	"headstack/machine"
	"headstack/paper"
	"headstack/unit"
)

// RecordTime is the date of a document: that of the last entry of the record, else of the
// opening of the job.
func RecordTime(v *job.View) time.Time {
	at := v.Job.Opened
	for _, e := range v.Entries {
		if e.At.After(at) {
			at = e.At
		}
	}
	return at.UTC()
}

// penRow is the height of a row that is filled in by hand, mm.
const penRow = 8.0

// CheckSheet is the blank check sheet: the controls in signal-flow order under the board
// that carries them, then the functions by track, each with boxes to tick and room for a
// remark.
func CheckSheet(v *job.View, size paper.Size) ([]byte, error) {
	title := "Check sheet, " + v.Job.Name
	return paper.Compose(size, paper.Info{Title: title, When: RecordTime(v)}, title+", "+footOf(v), func(f *paper.Flow) {
		f.Heading(1, title)
		f.Blanks([][2]string{{"job", v.Job.ID}, {"serial", v.Job.Serial}, {"date", ""}, {"initials", ""}}, 2, paper.Plain)
		f.Gap(1)
		f.Para("Case, one box: ☐ closed   ☐ propped   ☐ open. A fault that shows in one state only is a fault of contact: a sheet for each state.", paper.Small)
		f.Heading(3, "Before anything is touched")
		for _, c := range machine.Cautions(v.Def) {
			f.Item("▲", c, paper.Small)
		}
		f.Heading(3, "How to fill it in")
		f.Para("In the order of the sheet, one box a line. OK: works; F: faulty; I: comes and goes; N: not fitted; none: not tried. What it does stands in the remark: dead, weak, dull, thin, noisy.", paper.Small)
		sheetControls(f, v)
		sheetFunctions(f, v)
		f.Gap(3)
		f.Ruler(f.Left, f.Y()+1)
		f.Skip(7)
	})
}

var ticks = paper.Cell{Ticks: []string{"OK", "F", "I", "N"}}

func sheetControls(f *paper.Flow, v *job.View) {
	f.Heading(1, "Controls")
	type group struct {
		title    string
		cautions []string
		rows     []paper.Row
		minutes  unit.Minutes
	}
	var groups []*group
	board := "\x00"
	for _, it := range v.Sheet {
		if it.Board != board {
			board = it.Board
			g := &group{title: cmp.Or(board, "no board")}
			if b, ok := v.Def.Board(board); ok {
				g.title = join(", ", cmp.Or(b.Name, b.ID), b.Place)
			}
			groups = append(groups, g)
		}
		g := groups[len(groups)-1]
		for _, c := range it.Cautions {
			once(&g.cautions, c)
		}
		g.minutes += it.Minutes
		g.rows = append(g.rows, paper.Row{Height: penRow, Cells: []paper.Cell{{Text: it.Name, Bold: true}, {Text: it.Try}, ticks, {}}})
	}
	if len(groups) == 0 {
		f.Para("The definition lists no control.", paper.Plain)
	}
	for _, g := range groups {
		f.Gap(2.5)
		for _, c := range g.cautions {
			f.Item("▲", c, paper.Small)
		}
		f.Table(paper.Table{Caption: fmt.Sprintf("%s: %s, about %.0f min", g.title, count(len(g.rows), "control", "controls"), float64(g.minutes)), Rows: g.rows, Columns: []paper.Column{
			{Head: "control", Width: 32}, {Head: "try it", Share: 1.3}, {Head: "found", Width: 40}, {Head: "remark", Share: 1, Pen: true}}})
	}
}

func sheetFunctions(f *paper.Flow, v *job.View) {
	if len(v.Functions) == 0 {
		return
	}
	f.Heading(1, "Functions, by ear or meter")
	var rows []paper.Row
	name := ""
	for _, fn := range v.Functions {
		if fn.Name != name {
			name = fn.Name
			rows = append(rows, paper.Row{Over: true, Keep: true, Cells: []paper.Cell{{Text: name, Bold: true}}})
		}
		key := cmp.Or(fn.Key, "all")
		rows = append(rows, paper.Row{Height: penRow, Cells: []paper.Cell{{Text: key, Bold: true}, ticks, {}}})
	}
	f.Table(paper.Table{Caption: "Functions", Rows: rows, Columns: []paper.Column{{Head: "track", Width: 18}, {Head: "found", Width: 44}, {Head: "remark", Pen: true}}})
}

// once appends what is not there yet.
func once(list *[]string, s string) {
	for _, o := range *list {
		if o == s {
			return
		}
	}
	if s != "" {
		*list = append(*list, s)
	}
}
