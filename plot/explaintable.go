package plot

import (
	"fmt"
	"math"
	"slices"

	"headstack/signature"
	"headstack/unit"
)

// explainedTable has a row for each track and tone: measured, fitted, and what each
// cause makes of it.
func explainedTable(tracks []explained, causes []signature.Cause, x signature.Explanation, opt Options) Table {
	t := Table{Caption: opt.Title + ", dB; intervals are 95 %", Head: []string{"track and tone", "measured", "fitted"}}
	if x.Reference != "" {
		t.Caption += "; 0 dB is: " + x.Reference
	}
	for _, c := range causes {
		t.Head = append(t.Head, c.Words())
	}
	for _, e := range tracks {
		for i, p := range e.points {
			t.Rows = append(t.Rows, explainedRow(e, i, p, causes))
		}
		if len(e.points) == 0 {
			row := []string{e.name(), refusal + "no tone of it was"}
			for len(row) < len(t.Head) {
				row = append(row, none)
			}
			t.Rows = append(t.Rows, row)
		}
	}
	for _, a := range x.SetAside {
		t.Notes = append(t.Notes, "Set aside: "+a)
	}
	if len(causes) > 0 {
		t.Notes = append(t.Notes, "Fitted values and contributions are those of the most probable causes; the intervals of their sizes stand with the findings.")
	}
	t.Notes = append(t.Notes, x.Warnings...)
	return t
}

func explainedRow(e explained, i int, p signature.CurvePoint, causes []signature.Cause) []string {
	f := unit.Figure{Value: p.MeasuredDB, Lo: p.Lo, Hi: p.Hi, Unit: "dB", Difference: true}
	measured := f.String()
	if p.SetAside {
		measured += ", set aside"
	}
	row := []string{e.toneName(i), measured, withoutInterval(p.FittedDB)}
	for _, c := range causes {
		k := slices.IndexFunc(e.parts, func(k signature.Contribution) bool { return k.Cause == c })
		if k < 0 {
			row = append(row, none)
			continue
		}
		row = append(row, withoutInterval(e.parts[k].DB[i]))
	}
	return row
}

// toneName is "track 4, 10 kHz", with the section where two have one tone.
func (e explained) toneName(i int) string {
	p := e.points[i]
	s := fmt.Sprintf("%s, %s", e.name(), unit.Frequency(unit.Hertz(p.Hz)))
	same := 0
	for _, o := range e.points {
		if unit.Frequency(unit.Hertz(o.Hz)) == unit.Frequency(unit.Hertz(p.Hz)) {
			same++
		}
	}
	if same > 1 && p.Section != "" {
		s += ", " + p.Section
	}
	return s
}

// withoutInterval writes a computed level.
func withoutInterval(v float64) string {
	if !drawable(v, false) {
		return none
	}
	if math.Abs(v) >= 1e6 {
		return value(v, "dB", true)
	}
	return unit.Signed(v, 2) + unit.ThinSpace + "dB"
}
