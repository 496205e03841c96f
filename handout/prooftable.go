package handout

import (
	"fmt"
	"slices"
	"strings"

	"headstack/job"
	"headstack/lineup"
	"headstack/measure"
	"headstack/paper"
	"headstack/report"
)

// verdictMark is shape and word of a judgement.
func verdictMark(v lineup.Verdict) string {
	switch v {
	case lineup.In:
		return "■ in"
	case lineup.Out:
		return "▲ out"
	case lineup.Doubt:
		return "◆ in doubt"
	}
	return "○ not known"
}

// proof is the table of what was found and what is left against tolerances.
func (h *handOver) proof() {
	f := h.f
	f.Heading(1, "As found and as left, against tolerance")
	if h.LineUp == nil {
		f.Para("No tolerances: "+h.NoLineUp+". All figures follow further on.", paper.Plain)
		return
	}
	p, all := h.LineUp.Proof, h.rows()
	in, out, other := tally(all)
	f.Para(fmt.Sprintf("Of %s ■ %d are in tolerance as left, ▲ %d out, ○ %d in doubt or not known. The closing proof, with the case closed, is %s.", count(len(p.Rows), "figure", "figures"), in, out, other,
		map[bool]string{true: "done", false: "not done; what is missing stands below"}[p.Done]), paper.Strong)
	t := paper.Table{Caption: "As found: first read, before anything was touched. As left: last read. With 95 % intervals", Columns: []paper.Column{
		{Head: "track"}, {Head: "is to read", Width: 29}, {Head: "as found", Width: 34}, {Head: "", Width: 23}, {Head: "as left", Width: 34}, {Head: "", Width: 23}}}
	for len(all) > 0 {
		n := 1
		for n < len(all) && rowHeading(all[n].ProofRow) == rowHeading(all[0].ProofRow) {
			n++
		}
		group, r := all[:n], all[0].ProofRow
		all = all[n:]
		under := join("; ", zeroOf(r), toleranceOf(r), unjudged(group))
		t.Rows = append(t.Rows, paper.Row{Over: true, Keep: true, Cells: []paper.Cell{{Text: rowHeading(r), Bold: true, Under: under}}})
		if !slices.ContainsFunc(group, row.read) { // nothing to compare track by track
			t.Rows = append(t.Rows, paper.Row{Cells: []paper.Cell{{Text: tracksOf(group)}, {Text: r.Target.Text()}, {Text: "–"}, {Text: "○ not read"}, {Text: "–"}, {Text: "○ not read"}}})
			continue
		}
		for _, x := range group {
			t.Rows = append(t.Rows, paper.Row{Cells: []paper.Cell{{Text: tracksOf([]row{x})}, {Text: x.Target.Text()}, figureCell(x.found, x.foundRef), {Text: verdictOf(x.found, x.foundVerdict)},
				figureCell(x.left, x.leftRef), {Text: verdictOf(x.left, x.leftVerdict), Bold: x.leftVerdict != lineup.In, Under: x.note()}}})
		}
	}
	f.Table(t)
}

// row is a row of the closing proof. Where the line-up was not followed step by step, so
// that the proof does not count what was read, the readings stand all the same.
type row struct {
	*lineup.ProofRow
	found, left               *measure.Result
	foundVerdict, leftVerdict lineup.Verdict
	foundRef, leftRef         string
	aside                     bool // read outside the order of the line-up
}

func (x row) read() bool { return x.found != nil || x.left != nil || x.Signed != nil }

// rows are the rows of the proof with what was read before anything was touched, and after
// everything was.
func (h *handOver) rows() []row {
	first, last := touched(h.View)
	var out []row
	for i := range h.LineUp.Proof.Rows {
		r := &h.LineUp.Proof.Rows[i]
		x := row{ProofRow: r, found: r.AsFound, left: r.AsLeft, foundVerdict: r.Found.Verdict, leftVerdict: r.Verdict}
		if s, ok := h.LineUp.Step(r.Step); ok {
			x.foundRef, x.leftRef = s.Found, s.Last
		}
		for j := range h.LineUp.Log {
			e := &h.LineUp.Log[j]
			if e.Kind != lineup.Measured || e.Step != r.Step || e.Result == nil {
				continue
			}
			t := &r.Target
			if e.Target != nil {
				t = e.Target
			}
			if seq := int64(e.Seq); r.AsFound == nil && x.found == nil && (first == 0 || seq < first) {
				x.found, x.foundRef, x.foundVerdict = e.Result, refOf(h.View, seq), lineup.Judge(t, e.Result).Verdict
			}
			if seq := int64(e.Seq); r.AsLeft == nil && seq > last {
				x.left, x.leftRef, x.leftVerdict, x.aside = e.Result, refOf(h.View, seq), lineup.Judge(t, e.Result).Verdict, true
			}
		}
		out = append(out, x)
	}
	return out
}

func refOf(v *job.View, seq int64) string {
	for _, e := range v.Entries {
		if e.Seq == seq {
			return e.Ref
		}
	}
	return ""
}

// tracksOf names the tracks of rows: "tracks 1 to 6".
func tracksOf(rows []row) string {
	first, last := rows[0].Track, rows[len(rows)-1].Track
	switch {
	case first == 0:
		return "recorder"
	case first == last:
		return fmt.Sprintf("track %d", first)
	}
	return fmt.Sprintf("tracks %d to %d", first, last)
}

// unjudged says why figures of a group that were read are not held against the target.
func unjudged(group []row) string {
	for _, x := range group {
		for _, m := range []*measure.Result{x.left, x.found} {
			if m == nil || m.Refused != "" || x.Target.Refused != "" {
				continue
			}
			if j := lineup.Judge(&x.Target, m); j.Verdict == lineup.NotMeasured {
				return "not judged: " + j.Why
			}
		}
	}
	return ""
}

func toleranceOf(r *lineup.ProofRow) string {
	if r.Target.ToleranceWhy == "" {
		return ""
	}
	return "tolerance: " + r.Target.ToleranceWhy
}

func verdictOf(r *measure.Result, v lineup.Verdict) string {
	if r == nil {
		return "○ not read"
	}
	return verdictMark(v)
}

// note says what else is to be known of what is left.
func (x row) note() string {
	s := ""
	switch {
	case x.Signed != nil:
		s = join(" ", "◧ signed off", x.Signed.By)
	case x.aside && len(x.left.Conditions.Case) > 0 && x.left.Conditions.Case != measure.CaseClosed:
		s = "case " + string(x.left.Conditions.Case)
	case x.leftVerdict == lineup.NotMeasured && x.AsLeft != nil:
		s = "moved since"
	}
	return s
}

func rowHeading(r *lineup.ProofRow) string {
	s := strings.ToUpper(r.Title[:1]) + r.Title[1:]
	if r.SpeedCmS > 0 {
		s += fmt.Sprintf(", %g cm/s", r.SpeedCmS)
	}
	return s
}

func zeroOf(r *lineup.ProofRow) string {
	if r.Target.Refused != "" {
		return "no target: " + r.Target.Refused
	}
	if r.Target.Reference == "" {
		return ""
	}
	return "0 is " + r.Target.Reference
}

// figureCell is a figure over its interval and the entry that it is from.
func figureCell(r *measure.Result, ref string) paper.Cell {
	if r == nil {
		return paper.Cell{Text: "–"}
	}
	fig := r.Figure()
	if r.Refused != "" {
		return paper.Cell{Text: "not measured", Under: join("\n", r.Refused, ref)}
	}
	value, spread := fig.Parts()
	return paper.Cell{Text: value, Bold: true, Under: join("; ", spread, ref)}
}

// tally counts the rows of a proof by what is left.
func tally(rows []row) (in, out, other int) {
	for _, x := range rows {
		switch x.leftVerdict {
		case lineup.In:
			in++
		case lineup.Out:
			out++
		default:
			other++
		}
	}
	return in, out, other
}

// mostBlocks is how many open steps are named; more are counted.
const mostBlocks = 40

// open lists what is out of tolerance, not done or not measured.
func (h *handOver) open() {
	f := h.f
	f.Heading(1, "Not done, or out of tolerance")
	if faults := Faults(h.View); len(faults) > 0 {
		f.Heading(3, "Faults that stand")
		for _, x := range faults {
			f.Item("✕", x.text(), paper.Plain)
		}
	}
	if h.LineUp != nil {
		h.outOfTolerance()
		h.steps()
	}
	open, refused := report.NotDone(h.View)
	if len(open) > 0 {
		f.Heading(3, "Not tried")
		f.Items(open, paper.Small)
	}
	if len(refused) > 0 {
		f.Heading(3, "Not measured, with the reason")
		f.Items(refused, paper.Small)
	}
}

func (x Fault) text() string {
	s := x.Mark() + ", " + x.What
	if x.Track != "" {
		s += ", track " + x.Track
	}
	return join("; ", s+": "+x.Symptom, x.Remark) + " (" + x.Entry.Ref + ")"
}

func (h *handOver) outOfTolerance() {
	f := h.f
	first := true
	for _, r := range h.rows() {
		if r.leftVerdict != lineup.Out && r.leftVerdict != lineup.Doubt && r.Signed == nil {
			continue
		}
		if first {
			f.Heading(3, "Out of tolerance, in doubt, or signed off")
			first = false
		}
		f.Item(r.mark(), r.name()+": "+r.words(), paper.Plain)
	}
}

func (x row) name() string {
	if x.Track > 0 {
		return fmt.Sprintf("%s, track %d", rowHeading(x.ProofRow), x.Track)
	}
	return rowHeading(x.ProofRow)
}

// mark and words say how a row stands that is not plainly in.
func (x row) mark() string {
	if x.Signed != nil {
		return "◧"
	}
	m, _, _ := strings.Cut(verdictMark(x.leftVerdict), " ")
	return m
}

func (x row) words() string {
	_, word, _ := strings.Cut(verdictMark(x.leftVerdict), " ")
	s := word + " of tolerance"
	if x.leftVerdict != lineup.Out {
		s = word
	}
	if x.left != nil && x.left.Refused == "" {
		s += ": reads " + x.left.Figure().String() + ", is to read " + x.Target.Text()
	}
	if !x.aside {
		s = join("; ", s, x.Why)
	}
	return s
}

// steps lists the steps of the line-up that are open; where none was ever done it says so.
func (h *handOver) steps() {
	f, p := h.f, h.LineUp.Proof
	if p.Done {
		return
	}
	f.Heading(3, "Steps of the line-up that are open")
	done := 0
	for i := range h.LineUp.Steps {
		if h.LineUp.Steps[i].Standing.State == lineup.StateDone {
			done++
		}
	}
	if done == 0 {
		f.Para(fmt.Sprintf("The line-up was not done: none of its %d steps.", len(h.LineUp.Steps)), paper.Plain)
		return
	}
	f.Para(fmt.Sprintf("%d of %d steps are done.", done, len(h.LineUp.Steps)), paper.Small)
	for i, b := range p.Blocks {
		if i == mostBlocks {
			f.Para(fmt.Sprintf("And %d more.", len(p.Blocks)-i), paper.Small)
			return
		}
		f.Item("○", b.Why, paper.Small)
	}
}
