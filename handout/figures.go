package handout

import (
	"fmt"
	"slices"
	"strings"

	"headstack/paper"
	"headstack/report"
)

// all are all figures that were captured, as found and as left, with their pictures.
func (h *handOver) all() {
	f := h.f
	first, _ := touched(h.View)
	for _, x := range []struct {
		title string
		found []report.Found
	}{{"All captured figures as found", h.asFound()}, {"All captured figures as left", h.asLeft()}} {
		left := strings.HasSuffix(x.title, "left")
		if left && first == 0 {
			continue
		}
		f.Heading(1, x.title)
		if len(x.found) == 0 {
			when := "before anything was turned or worked on"
			if left {
				when = "after the last work or turn: as left is not known by a capture"
			}
			f.Para("Nothing was captured "+when+".", paper.Plain)
		}
		for i := range x.found {
			h.found(&x.found[i], left)
		}
	}
}

func (h *handOver) found(x *report.Found, left bool) {
	f := h.f
	f.Heading(2, x.Heading)
	which := "first"
	if left {
		which = "last"
	}
	f.Para(fmt.Sprintf("From %s. %s. Intervals are 95 %%. Of several figures for one place the %s taken is shown.", strings.Join(x.Captures, "; "), strings.Join(x.Means, ". "), which), paper.Small)
	for _, w := range x.Warnings {
		f.Item("▲", w, paper.Small)
	}
	for _, m := range x.Missing {
		f.Item("○", m, paper.Small)
	}
	over := 0
	for _, c := range x.Whole {
		pictures := slices.DeleteFunc(slices.Clone(c.Pictures), func(p report.Picture) bool {
			return p.Over || p.Name == "response" && x.First.Tape != "" // the response stands above, in its field
		})
		for _, p := range c.Pictures {
			if p.Over {
				over++
			}
		}
		if len(pictures) > 0 { // the heading stays with the first of them
			f.Need(14 + f.Height(pictures[0].Drawing))
		}
		f.Heading(3, c.Title)
		for _, s := range c.Doubts {
			f.Item("▲", s, paper.Small)
		}
		for _, p := range pictures {
			f.Draw(p.Drawing)
		}
		for _, t := range c.Tables {
			if n := len(t.Rows) * len(t.Columns); t.Name == "delay" && n > manyDelays {
				f.Para(fmt.Sprintf("%s: the picture above; its %d figures are in the report as HTML.", t.Title, n), paper.Small)
				continue
			}
			figureTables(f, t)
		}
		for _, s := range c.Nothing {
			f.Para(strings.TrimSuffix(s, ".")+".", paper.Small)
		}
	}
	if over > 0 {
		f.Para(count(over, "picture", "pictures")+" of level against time: in the report as HTML.", paper.Small)
	}
}

// manyDelays is how many delays of pairs at tones are printed, as in the HTML report.
const manyDelays = 100

// figureType is that of tables of measures.
var figureType = paper.Type{Size: 7}

// labelWidth is that of the column with the tracks, mm.
const labelWidth = 15.0

// figureTables sets a table of measures, the value over its interval, in as many parts as
// its columns take.
func figureTables(f *paper.Flow, t report.Table) {
	widths := make([]float64, len(t.Columns))
	for i := range widths {
		widths[i] = columnWidth(f, t, i)
	}
	parts := 1
	for parts < len(widths) && !fits(widths, parts, f.Wide()) {
		parts++
	}
	for i := range parts {
		from, to := i*len(widths)/parts, (i+1)*len(widths)/parts
		part := t
		part.Columns, part.Rows = t.Columns[from:to], nil
		for _, r := range t.Rows {
			part.Rows = append(part.Rows, report.Row{Label: r.Label, Cells: r.Cells[from:to]})
		}
		if from > 0 {
			part.Title += ", continued"
			part.About, part.Reference = "", "" // the first part says it
		}
		if to < len(widths) {
			part.Notes, part.Method, part.Details = nil, "", nil // once, under the last part
		}
		figureTable(f, part, widths[from:to])
	}
}

// fits says whether each of so many parts is no wider than wide.
func fits(widths []float64, parts int, wide float64) bool {
	for i := range parts {
		sum := labelWidth
		for _, w := range widths[i*len(widths)/parts : (i+1)*len(widths)/parts] {
			sum += w
		}
		if sum > wide {
			return false
		}
	}
	return true
}

// columnWidth is what a column takes so that no figure is broken, mm.
func columnWidth(f *paper.Flow, t report.Table, i int) float64 {
	bold, small := figureType, paper.Type{Size: figureType.Size - 1}
	bold.Bold = true
	wide := f.Width(t.Columns[i], bold) / 3 // of a heading in three lines
	for _, word := range strings.Split(t.Columns[i], " ") {
		wide = max(wide, f.Width(word, bold))
	}
	for _, r := range t.Rows {
		c := r.Cells[i]
		if c.Refused {
			wide = max(wide, 18)
			continue
		}
		wide = max(wide, f.Width(c.Value+notesText(c), bold), f.Width(c.Spread, small))
	}
	return wide + 2.5
}

func notesText(c report.Cell) string {
	if len(c.Notes) == 0 {
		return ""
	}
	return " (" + strings.Join(c.Notes, ", ") + ")"
}

// figureTable sets one part.
func figureTable(f *paper.Flow, t report.Table, widths []float64) {
	caption := join(", ", t.Title, t.Unit)
	if t.About != "" {
		caption += ": " + t.About
	}
	out := paper.Table{Caption: join("; ", caption, t.Zero()), Type: figureType, Columns: []paper.Column{{Head: t.RowHead, Width: labelWidth}}}
	for i, c := range t.Columns {
		out.Columns = append(out.Columns, paper.Column{Head: c, Share: widths[i]})
	}
	for _, r := range t.Rows {
		row := paper.Row{Cells: []paper.Cell{{Text: r.Label, Bold: true}}}
		for _, c := range r.Cells {
			notes := notesText(c)
			cell := paper.Cell{Text: c.Text + notes}
			if c.Value != "" {
				cell = paper.Cell{Text: c.Value + notes, Bold: true, Under: c.Spread}
			}
			row.Cells = append(row.Cells, cell)
		}
		out.Rows = append(out.Rows, row)
	}
	f.Table(out)
	if t.Method != "" {
		f.Para("How, for the first figure of each kind: "+t.Method+".", paper.Note)
	}
	for _, n := range t.Notes {
		f.Item("("+n.Letter+")", n.Text, paper.Note)
	}
	for _, s := range t.Details {
		f.Item("•", s, paper.Note)
	}
}
