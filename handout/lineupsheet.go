package handout

import (
	"cmp"
	"fmt"
	"strings"

	"headstack/job"
	"headstack/lineup"
	"headstack/paper"
)

// LineUpSheet is the line-up on paper: a page, or more, for each round, its lines numbered,
// with two columns for the pen.
func LineUpSheet(v *job.View, s *lineup.Sheet, size paper.Size) ([]byte, error) {
	p := s.Print()
	return paper.Compose(size, paper.Info{Title: p.Title, When: RecordTime(v)}, p.Title+", "+footOf(v), func(f *paper.Flow) {
		lineUpHead(f, v, &p)
		for i := range p.Pages {
			f.Break()
			lineUpPage(f, &p.Pages[i])
		}
		f.Heading(2, "At the end")
		f.Blanks(blanks(p.Signature, nil), 1, paper.Plain)
	})
}

func blanks(names []string, filled map[string]string) [][2]string {
	var out [][2]string
	for _, n := range names {
		out = append(out, [2]string{n, filled[n]})
	}
	return out
}

func lineUpHead(f *paper.Flow, v *job.View, p *lineup.Printed) {
	f.Heading(1, p.Title)
	f.Para(p.Reference+".", paper.Plain)
	f.Blanks(blanks(p.Head, map[string]string{"job": v.Job.ID, "serial": v.Job.Serial}), 2, paper.Plain)
	f.Gap(2)
	if len(p.Tapes) > 0 {
		f.Heading(3, "Test tapes")
		f.Items(p.Tapes, paper.Small)
	}
	f.Heading(3, "Before anything is touched")
	for _, c := range p.Cautions {
		f.Item("▲", c, paper.Small)
	}
	f.Heading(3, "How to follow it")
	for i, s := range []string{
		"One line after the other, page after page. A box is ticked when it is so; nothing behind an empty box counts.",
		"Write what is read before anything is turned, then turn, then write what is read after. Both with unit.",
		"Letters after a target are what it adds up from; they stand at the end of the round. Numbers such as 3.4 name round and line.",
		"What stands under “again if it is off” is taken again when the line reads out of its tolerance."} {
		f.Item(fmt.Sprintf("%d", i+1), s, paper.Small)
	}
	f.Heading(3, "Rounds")
	for _, page := range p.Pages {
		f.Item(fmt.Sprint(page.Number), page.Title, paper.Small)
	}
	f.Gap(2)
	f.Need(8)
	f.Ruler(f.Left, f.Y())
	f.Skip(7)
}

func lineUpPage(f *paper.Flow, p *lineup.PrintedPage) {
	f.Heading(1, fmt.Sprintf("%d of %d. %s", p.Number, p.Of, p.Title))
	for i, h := range p.How {
		f.Item(fmt.Sprint(i+1), h, paper.Small)
	}
	for i, c := range p.Cautions {
		f.Item(fmt.Sprintf("▲ %d", i+1), c, paper.Small)
	}
	f.Gap(1)
	var rows []paper.Row
	for i := range p.Groups {
		rows = append(rows, groupRows(&p.Groups[i])...)
	}
	f.Table(paper.Table{Caption: p.Title, Rows: rows, Columns: []paper.Column{{Head: "line", Width: 11}, {Head: "track", Width: 16}, {Head: "turn", Width: 16}, {Head: "at", Width: 20},
		{Head: "is to read"}, {Head: "before", Width: 24, Pen: true}, {Head: "after", Width: 24, Pen: true}}})
	if len(p.Sums) > 0 {
		f.Heading(3, "What the targets add up from")
		for _, s := range p.Sums {
			f.Item(s.Letter, s.Text, paper.Small)
		}
	}
}

// groupRows are the heading of a group and its lines.
func groupRows(g *lineup.PrintedGroup) []paper.Row {
	head := g.What
	if len(g.Cautions) > 0 {
		var n []string
		for _, c := range g.Cautions {
			n = append(n, fmt.Sprint(c))
		}
		head += " ▲ " + strings.Join(n, ", ")
	}
	var under []string
	if g.Trim != "" {
		where := "The same place."
		if !g.Stays {
			where = "Where: " + g.Reach + "."
		}
		under = append(under, "turn "+g.Turn+". "+where)
	}
	read, plays := "", ""
	if g.At != "" {
		read = "read " + g.At
	}
	if g.Plays != "" {
		plays = "plays " + g.Plays
	}
	if s := join("; ", read, plays); s != "" {
		under = append(under, s+".")
	}
	if len(g.Before) > 0 {
		under = append(under, "first "+strings.Join(g.Before, "; ")+".")
	}
	if len(g.Again) > 0 {
		under = append(under, "again if it is off "+strings.Join(g.Again, ", ")+".")
	}
	if g.Note != "" {
		under = append(under, g.Note)
	}
	rows := []paper.Row{{Over: true, Keep: true, Cells: []paper.Cell{{Text: head, Bold: true, Under: strings.Join(under, "\n")}}}}
	for i := range g.Rows {
		rows = append(rows, lineRow(&g.Rows[i]))
	}
	return rows
}

func lineRow(r *lineup.PrintedRow) paper.Row {
	target := paper.Cell{}
	switch {
	case r.Target != "—":
		target.Text = r.Target
		if r.Sum != "" {
			target.Text += " = " + r.Sum
		}
		target.Bold = true
	case r.Box:
	default:
		target.Text = "by eye"
	}
	if r.Box {
		target.Ticks = []string{"so"}
	}
	var under []string
	for _, x := range [][2]string{{"plays", r.Own}, {"shows", r.Shows}, {"start at", r.Start}} {
		if x[1] != "" {
			under = append(under, x[0]+" "+x[1])
		}
	}
	target.Under = strings.Join(under, "\n")
	return paper.Row{Height: 6.5, Cells: []paper.Cell{{Text: r.No, Bold: true}, {Text: cmp.Or(r.Track, "all")}, {Text: cmp.Or(r.Part, "–")}, {Text: cmp.Or(r.At, "–")}, target, {}, {}}}
}

// LineUpSheetOf lays the sheet of a line-up out for paper.
func LineUpSheetOf(v *job.View, l *job.LineUp, size paper.Size) ([]byte, error) {
	s, err := l.Sheet()
	if err != nil {
		return nil, err
	}
	return LineUpSheet(v, s, size)
}
