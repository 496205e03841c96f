package web

import (
	"slices"

	"headstack/job"
	"headstack/machine"
)

// region is a board of the check sheet as a drawing: each control a cell, kinds as rows and
// what they repeat over as columns, so that a channel strip stands as it does on the panel.
type region struct {
	Title, Place string
	Left, Total  int
	Faulty       int
	First        string // anchor of the first control that was not tried, else of the first
	Lines        []regionLine
	Width        int // of the drawing, in its own units
	Height       int
}

type regionLine struct {
	Name  string
	Y     int
	Cells []regionCell
}

type regionCell struct {
	X       int
	Class   string // proved, suspect, unknown
	Glyph   string
	Name    string
	Covered bool
}

const (
	cellStep  = 26 // of a cell to the next
	cellLabel = 118
)

// regionsOf draws the controls board by board, in the order of the signal flow.
func regionsOf(v *job.View, rows []sheetRow) []region {
	var out []region
	at := map[string]int{}
	kinds := map[string]machine.Control{}
	for _, c := range v.Def.Controls {
		kinds[c.ID] = c
	}
	for i, row := range rows {
		board := v.Sheet[i].Board
		n, ok := at[board]
		if !ok {
			n = len(out)
			at[board] = n
			r := region{Title: row.Board, First: row.ID}
			if b, ok := v.Def.Board(board); ok {
				r.Place = b.Place
			}
			out = append(out, r)
		}
		out[n].put(kindOf(row.Item), kinds[kindOf(row.Item)], row)
	}
	for i := range out {
		out[i].lay()
	}
	return out
}

// kindOf is the control of a check item: "fader" of "fader/3".
func kindOf(item string) string {
	for i := range item {
		if item[i] == '/' {
			return item[:i]
		}
	}
	return item
}

func (r *region) put(id string, c machine.Control, row sheetRow) {
	r.Total++
	switch {
	case row.open():
		if r.Left == 0 {
			r.First = row.ID
		}
		r.Left++
	case row.Mark.Class == "suspect":
		r.Faulty++
	}
	name := lineName(c)
	i := slices.IndexFunc(r.Lines, func(l regionLine) bool { return l.Name == name })
	if i < 0 {
		i = len(r.Lines)
		r.Lines = append(r.Lines, regionLine{Name: name})
	}
	r.Lines[i].Cells = append(r.Lines[i].Cells, regionCell{Class: row.Mark.Class, Glyph: row.Mark.Glyph, Name: row.Name, Covered: row.Covered})
}

// lineName is the name of a control without what it repeats over.
func lineName(c machine.Control) string {
	var out []rune
	depth := 0
	for _, x := range c.Name {
		switch {
		case x == '{':
			depth++
		case x == '}':
			depth--
		case depth == 0:
			out = append(out, x)
		}
	}
	name := string(out)
	for _, tail := range []string{" on ", " of ", " "} {
		if len(name) > len(tail) && name[len(name)-len(tail):] == tail {
			name = name[:len(name)-len(tail)]
			break
		}
	}
	return name
}

// lay gives each cell its place.
func (r *region) lay() {
	y := 0
	for i := range r.Lines {
		l := &r.Lines[i]
		l.Y = y
		for j := range l.Cells {
			l.Cells[j].X = cellLabel + j*cellStep
		}
		r.Width = max(r.Width, cellLabel+len(l.Cells)*cellStep)
		y += cellStep
	}
	r.Height = y
}

// LabelEnd is where the name of a line of a drawing ends.
func (sheetModel) LabelEnd() int { return cellLabel - 8 }
