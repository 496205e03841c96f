package handout

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"headstack/lineup"
	"headstack/measure"
	"headstack/paper"
	"headstack/report"
	"headstack/unit"
)

// Card writes one page for who buys the recorder: what it is, what it was set to, how it
// measures as left, what was done, and what is wrong with it. What does not fit is counted,
// and stands in the hand-over report.
func Card(d Data, size paper.Size) ([]byte, error) {
	if d.View == nil || d.View.Def == nil {
		return nil, fmt.Errorf("handout: no job or definition given")
	}
	stamp, err := StampOf(d.View)
	if err != nil {
		return nil, err
	}
	v := d.View
	title := v.Job.Name + join(" ", ", serial", v.Job.Serial)
	info := paper.Info{Title: "Card: " + title, Keywords: stamp.keywords(), When: RecordTime(v)}
	foot := fmt.Sprintf("%s; record of %d entries, SHA-256 %s", v.Job.ID, stamp.Entries, stamp.SHA256)
	for most := 12; ; most-- {
		pages := 0
		pdf, err := paper.Compose(size, info, foot, func(f *paper.Flow) {
			c := card{handOver: handOver{Data: d, f: f, stamp: stamp}, most: most}
			c.set(title)
			pages = f.Pages()
		})
		if err != nil || pages == 1 || most == 0 {
			return pdf, err
		}
	}
}

// card sets one card; of each list most lines are shown.
type card struct {
	handOver
	most int
}

func (c *card) set(title string) {
	f, v := c.f, c.View
	f.Para(title, paper.Title)
	f.Gap(1)
	f.Pairs(c.facts(), paper.Plain)
	f.Gap(1)
	f.Para("Not an electrical safety test. Before it is used, have earth continuity, insulation and the supply tested as local electrical codes require, by licensed practice.", paper.Strong)
	f.Heading(2, "As left, "+report.CaseWord(c.caseLeft()))
	c.figures()
	c.list("What is wrong with it", "■ Nothing that was tried was found wrong.", c.wrong())
	c.list("What may come back", "", c.unprovenShort())
	c.list("What was done", "Nothing that was recorded.", c.done())
	open, _ := report.NotDone(v)
	c.list("Not tried", "", open)
	f.Gap(2)
	f.Para(fmt.Sprintf("The hand-over report of %s has all figures with their intervals. SHA-256 of the record: %s", v.Job.ID, c.stamp.SHA256), paper.Note)
}

// caseLeft is the case state of the last capture or figure, else that of the job.
func (c *card) caseLeft() measure.CaseState {
	s := c.View.Case
	for _, e := range c.View.Current {
		if e.Capture != nil || e.Figure != nil {
			s = e.Case
		}
	}
	return s
}

func (c *card) facts() [][2]string {
	v := c.View
	def := v.Def
	tape := fmt.Sprintf("%s, %g mm, %s", def.Medium.Kind, def.Medium.WidthMm, count(def.Tracks.Count, "track", "tracks"))
	if def.Medium.Type != "" {
		tape += ", type " + def.Medium.Type
	}
	var speeds []string
	for _, s := range def.Speeds {
		eq := fmt.Sprintf("%g µs", s.HighUs)
		if s.LowUs > 0 {
			eq = fmt.Sprintf("%g + %g µs", s.LowUs, s.HighUs)
		}
		speeds = append(speeds, fmt.Sprintf("%g cm/s (%s)", s.CmS, eq))
	}
	ref := def.Reference
	out := [][2]string{{"Tape", tape}, {"Speeds", strings.Join(speeds, "; ")},
		{"Operating level", fmt.Sprintf("%g nWb/m, %s, at %g Hz: %s", ref.FluxivityNWbM, ref.Convention, ref.ToneHz, ref.Output)},
		{"Supply", cmp.Or(def.Supply.Text, "not stated")}, {"Record", fmt.Sprintf("%s, %s to %s", v.Job.ID, v.Job.Opened.UTC().Format(day), RecordTime(v).Format(day))}}
	if c.LineUp != nil {
		var used []string
		for _, t := range c.LineUp.Tapes {
			if t.Passes > 0 {
				used = append(used, fmt.Sprintf("%s (%s)", t.Name, count(t.Passes, "pass", "passes")))
			}
		}
		out = append(out, [2]string{"Test tape", cmp.Or(strings.Join(used, "; "), "none played")})
	}
	return out
}

// figures are the proof by figure: the track farthest off is shown, with how many are in.
func (c *card) figures() {
	f := c.f
	if c.LineUp == nil {
		f.Para("Not judged: "+c.NoLineUp+".", paper.Plain)
		return
	}
	type line struct {
		name          string
		worst         *row
		in, read, all int
		out, unjudged bool
	}
	var lines []*line
	rowsOf := c.rows()
	for i := range rowsOf {
		r := &rowsOf[i]
		n := rowHeading(r.ProofRow)
		if len(lines) == 0 || lines[len(lines)-1].name != n {
			lines = append(lines, &line{name: n})
		}
		l := lines[len(lines)-1]
		l.all++
		if r.leftVerdict == lineup.In {
			l.in++
		}
		l.out = l.out || r.leftVerdict == lineup.Out
		l.unjudged = l.unjudged || r.left != nil
		if r.left == nil || r.left.Refused != "" || r.leftVerdict == lineup.NotMeasured {
			continue
		}
		l.read++
		if l.worst == nil || worse(r, l.worst) {
			l.worst = r
		}
	}
	var rows []paper.Row
	for _, l := range lines {
		value, target := paper.Cell{Text: "not read"}, "–"
		if l.unjudged {
			value.Text = "read, not judged"
		}
		if l.worst != nil {
			value = figureCell(l.worst.left, "")
			if l.worst.Track > 0 {
				value.Text += fmt.Sprintf(" (track %d)", l.worst.Track)
			}
			target = l.worst.Target.Text()
		}
		mark := "○"
		switch {
		case l.in == l.all:
			mark = "■"
		case l.out:
			mark = "▲"
		}
		in := fmt.Sprintf("%s %d of %d", mark, l.in, l.all)
		rows = append(rows, paper.Row{Cells: []paper.Cell{{Text: l.name}, value, {Text: target}, {Text: in}}})
	}
	f.Table(paper.Table{Rows: rows, Columns: []paper.Column{{Head: "figure"}, {Head: "farthest off", Width: 42}, {Head: "is to read", Width: 38}, {Head: "in tolerance", Width: 26}}})
}

// worse says whether a is farther off than b, in terms of their tolerance.
func worse(a, b *row) bool { return off(a) > off(b) }

func off(r *row) float64 {
	x := lineup.Judge(&r.Target, r.left).Error
	switch r.Target.Side {
	case lineup.AtMost:
		return x
	case lineup.AtLeast:
		return -x
	}
	if r.Target.Tolerance > 0 {
		return math.Abs(x) / r.Target.Tolerance
	}
	return math.Abs(x)
}

// list sets a list under a heading; an empty one is left out, or says none.
func (c *card) list(title, none string, lines []string) {
	if len(lines) == 0 && none == "" {
		return
	}
	f := c.f
	f.Gap(1.5)
	f.Para(title, paper.Strong)
	if len(lines) == 0 {
		f.Para(none, paper.Plain)
		return
	}
	for i, s := range lines {
		if i == c.most {
			f.Item("…", fmt.Sprintf("and %d more, in the report", len(lines)-i), paper.Small)
			return
		}
		f.Item("•", s, paper.Small)
	}
}

// wrong are figures that are out or signed off, and faults that stand.
func (c *card) wrong() []string {
	var out []string
	if c.LineUp != nil {
		for _, r := range c.rows() {
			if r.leftVerdict == lineup.Out || r.Signed != nil {
				out = append(out, r.name()+": "+r.words())
			}
		}
	}
	for _, x := range Faults(c.View) {
		out = append(out, x.text())
	}
	return out
}

func (c *card) unprovenShort() []string {
	var out []string
	for _, u := range c.Unproven {
		out = append(out, fmt.Sprintf("%s: gone after “%s”, cause not shown; comes back with about %s", u.Symptom, workText(c.View, u.Work), unit.Probability(u.Returns)))
	}
	return out
}

func (c *card) done() []string {
	var out []string
	turns := 0
	for _, e := range c.View.Current {
		switch {
		case e.Work != nil:
			out = append(out, join(": ", report.EntryText(c.View.Def, e), e.Remark)+" ("+e.At.UTC().Format(day)+")")
		case e.Turn != nil:
			turns++
		}
	}
	if turns > 0 {
		out = append(out, count(turns, "turn", "turns")+" of trims in the line-up")
	}
	return out
}
