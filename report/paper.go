package report

import (
	"strings"
	"unicode/utf8"
)

// Widths on an A4 sheet upright less its margins, in mm. A letter's is that of the widest
// font in common use, bold for a figure, at the sizes of the style sheet.
const (
	sheetWidth  = 182.0
	labelWidth  = 22.0 // of the first column: "12 and 13"
	boldLetter  = 2.0  // 8 pt
	smallLetter = 1.65 // 7.5 pt
	padding     = 2.5  // of a cell, with its line
	headLines   = 3    // that a heading may take
	refusedCell = 20.0
)

// paper cuts tables that are too wide for a sheet into ones that are not, of about equal
// numbers of columns, with the tracks again at the left of each.
func paper(tables []Table) []Table {
	var out []Table
	for _, t := range tables {
		parts := 1
		for parts < len(t.Columns) && !t.fits(parts) {
			parts++
		}
		for i := range parts {
			from, to := cut(len(t.Columns), i, parts)
			part := t
			part.Columns, part.Rows = t.Columns[from:to], nil
			for _, r := range t.Rows {
				part.Rows = append(part.Rows, Row{r.Label, r.Cells[from:to]})
			}
			if from > 0 {
				part.Title += ", continued"
				part.About, part.Reference = "", "" // the first part says it
			}
			if to < len(t.Columns) {
				part.Notes, part.Method, part.Details = nil, "", nil // once, under the last part
			}
			out = append(out, part)
		}
	}
	return out
}

// cut gives the columns of part i of so many.
func cut(columns, i, parts int) (from, to int) { return i * columns / parts, (i + 1) * columns / parts }

// fits says whether each of so many parts fits the sheet.
func (t *Table) fits(parts int) bool {
	for i := range parts {
		from, to := cut(len(t.Columns), i, parts)
		wide := labelWidth
		for c := from; c < to; c++ {
			wide += t.width(c)
		}
		if wide > sheetWidth {
			return false
		}
	}
	return true
}

// width is that of a column in mm.
func (t *Table) width(c int) float64 {
	head := float64(utf8.RuneCountInString(t.Columns[c])) / headLines
	for _, word := range strings.Fields(t.Columns[c]) { // a thin space is one too
		head = max(head, float64(utf8.RuneCountInString(word)))
	}
	wide := head * boldLetter
	for _, r := range t.Rows {
		cell := r.Cells[c]
		switch {
		case cell.Refused && t.Matrix:
			wide = max(wide, 10*smallLetter) // "below" over "−87.1"
		case cell.Refused:
			wide = max(wide, refusedCell)
		}
		wide = max(wide, float64(utf8.RuneCountInString(cell.Value)+len(cell.Notes))*boldLetter, float64(utf8.RuneCountInString(cell.Spread))*smallLetter)
	}
	return wide + padding
}
