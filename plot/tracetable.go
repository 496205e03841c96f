package plot

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"headstack/measure"
	"headstack/unit"
)

// figure writes a point's value with its interval, or alone where it has none.
func figure(p measure.Point, f family) string {
	if p.Lo == p.Hi && p.Lo == p.Y {
		return value(p.Y, f.y.Unit, f.ylo < 0)
	}
	if f.extremes {
		return value(p.Y, f.y.Unit, f.ylo < 0) + ", " + value(p.Lo, "", f.ylo < 0) + " to " + value(p.Hi, f.y.Unit, f.ylo < 0)
	}
	return unit.Figure{Value: p.Y, Lo: p.Lo, Hi: p.Hi, Unit: f.y.Unit, Difference: f.ylo < 0}.String()
}

// traceTable lists the courses: with the abscissa at the left and one column a course
// where they have it in common, else one row a point.
func traceTable(fs []family, opt Options) Table {
	t := Table{Caption: opt.Title}
	var all []course
	var owner []family
	for _, f := range fs {
		for _, fc := range f.facets {
			for _, c := range fc.courses {
				c.label = tableName(fc, c)
				all, owner = append(all, c), append(owner, f)
			}
		}
	}
	if len(all) == 0 {
		t.Head, t.Notes = []string{"course"}, []string{"No course was measured."}
		return t
	}
	if r := referencesOf(tracesOf(all)); r != "" {
		t.Caption += "; " + r
	}
	if len(fs) == 1 && sameAbscissa(all) && (len(all) == 1 || !named(all)) {
		t.wide(all, fs[0], opt)
	} else {
		t.long(all, owner, opt)
	}
	t.courseNotes(all)
	return t
}

func tableName(fc facet, c course) string {
	s := strings.TrimSuffix(strings.TrimPrefix(fc.name+", "+spoken(c), ", "), ", ")
	if s == "" {
		return trackName(c.Trace)
	}
	return s
}

func tracesOf(cs []course) []measure.Trace {
	var out []measure.Trace
	for _, c := range cs {
		out = append(out, c.Trace)
	}
	return out
}

func sameAbscissa(cs []course) bool {
	for _, c := range cs[1:] {
		if len(c.Points) != len(cs[0].Points) {
			return false
		}
		for i, p := range c.Points {
			if cmp.Compare(p.X, cs[0].Points[i].X) != 0 {
				return false
			}
		}
	}
	return true
}

func named(cs []course) bool {
	return slices.ContainsFunc(cs, func(c course) bool { return len(c.Marks) > 0 })
}

// listed are the indices of the points that the table shows: evenly spaced, with the
// lowest and highest of each course.
func listed(cs []course, f family, rows int) []int {
	n := 0
	for _, c := range cs {
		n = max(n, len(c.Points))
	}
	var out []int
	if rows == 0 {
		rows = 40
	}
	if rows < 0 || n <= rows {
		for i := range n {
			out = append(out, i)
		}
		return out
	}
	for i := range rows {
		out = append(out, i*(n-1)/max(1, rows-1))
	}
	for _, c := range cs {
		if lo, hi := c.extremes(f); lo >= 0 {
			out = append(out, lo, hi)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func (t *Table) wide(cs []course, f family, opt Options) {
	t.Head = []string{cmp.Or(f.x.Label, "at")}
	for _, c := range cs {
		name := c.label
		if len(cs) == 1 {
			name = cmp.Or(f.y.Label, name)
		}
		t.Head = append(t.Head, name)
	}
	marks := len(cs) == 1 && named(cs)
	if marks {
		t.Head = append(t.Head, "named")
	}
	show := listed(cs, f, opt.TableRows)
	places := f.places(cs[0], show)
	for n, i := range show {
		row := []string{places[n]}
		for _, c := range cs {
			row = append(row, figure(c.Points[i], f))
		}
		if marks {
			row = append(row, "")
		}
		t.Rows = append(t.Rows, row)
	}
	if marks {
		t.Rows = append(markRows(cs[0], f), t.Rows...)
	}
	t.omitted(len(show), len(cs[0].Points))
}

// places writes the abscissas of the points that are listed.
func (f family) places(c course, show []int) []string {
	var xs []float64
	var out []string
	for _, i := range show {
		xs = append(xs, c.Points[i].X)
		out = append(out, value(c.Points[i].X, f.x.Unit, f.xlo < 0))
	}
	if f.x.Log {
		return out
	}
	return evenly(xs, f.x.Unit, f.xlo < 0)
}

// markRows are the named places, first in the table: they are what is looked for.
func markRows(c course, f family) [][]string {
	var out [][]string
	for _, m := range c.Marks {
		out = append(out, []string{value(m.X, f.x.Unit, f.xlo < 0), value(m.Y, f.y.Unit, f.ylo < 0), m.Label})
	}
	return out
}

func (t *Table) long(cs []course, owner []family, opt Options) {
	t.Head = []string{"course", "at", "figure"}
	marks := named(cs)
	if marks {
		t.Head = append(t.Head, "named")
	}
	shown, all := 0, 0
	for i, c := range cs {
		f := owner[i]
		name := c.label
		if len(owner) > 1 && owner[0].name != owner[len(owner)-1].name {
			name = titleOfName(f.name) + ", " + name
		}
		for _, m := range markRows(c, f) {
			t.Rows = append(t.Rows, append([]string{name}, m...))
		}
		show := listed([]course{c}, f, opt.TableRows)
		places := f.places(c, show)
		for n, j := range show {
			row := []string{name, places[n], figure(c.Points[j], f)}
			if marks {
				row = append(row, "")
			}
			t.Rows = append(t.Rows, row)
		}
		shown, all = shown+len(show), all+len(c.Points)
	}
	t.omitted(shown, all)
}

func (t *Table) omitted(shown, all int) {
	if shown < all {
		t.Notes = append(t.Notes, fmt.Sprintf("%d of %d points are listed, evenly spaced, with the highest and the lowest.", shown, all))
	}
}

// courseNotes are intervals, methods and warnings.
func (t *Table) courseNotes(cs []course) {
	add := func(s string) {
		if s != "" && !slices.Contains(t.Notes, s) {
			t.Notes = append(t.Notes, s)
		}
	}
	without, with := 0, 0
	for _, c := range cs {
		for _, p := range c.Points {
			if p.Lo == p.Hi {
				without++
			} else {
				with++
			}
		}
	}
	if with > 0 && slices.ContainsFunc(cs, func(c course) bool { return !boundsAreExtremes(c.Trace) }) {
		add("Intervals are 95 %.")
	}
	if slices.ContainsFunc(cs, func(c course) bool { return boundsAreExtremes(c.Trace) }) {
		add("What stands after a figure is the least and the most within its stretch, not an interval.")
	}
	if without > 0 {
		add("Where no interval stands the measure gives none for single points.")
	}
	for _, c := range cs {
		if c.Method != "" {
			add("How: " + c.Method + ".")
		}
	}
	for _, c := range cs {
		for _, w := range c.Warnings {
			add(c.label + ": " + w)
		}
	}
}
