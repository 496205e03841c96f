package plot

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/measure"
	"headstack/unit"
)

// Trace draws one measured course: the speed against time, its spectrum, drift, level
// against time, a staircase. Points have their 95 % bars, or the course its 95 % band,
// where the measure gives intervals; named places have a line up to their names.
func Trace(t measure.Trace, opt Options) Drawing {
	return Traces([]measure.Trace{t}, opt)
}

// Traces draws several courses in one picture. Up to four with equal axes lie over
// each other, told apart by dash and by name at their ends or in a key; more become
// small multiples with common axes, one for each track. Traces that show different
// things stand below each other. Points that are not finite, or not above 0 on a
// logarithmic axis, are gaps; the description says how many.
func Traces(ts []measure.Trace, opt Options) Drawing {
	families := familiesOf(ts)
	opt = opt.withDefaults("trace", titleOf(families))
	s := sheet{opt: opt, c: canvas{wide: opt.Width}}
	s.y = heading(&s.c, opt.Title, referencesOf(ts), 8, opt.Width-16) + 6
	for i, f := range families {
		if i > 0 {
			s.y += 18
		}
		if len(families) > 1 {
			s.y += 17
			s.c.text(8, s.y-3, "start", clip(titleOfName(f.name), s.opt.Width-16, titleInk), titleInk)
		}
		s.family(f)
	}
	if len(families) == 0 {
		s.y += 40
		s.c.text(opt.Width/2, s.y, "middle", "no course was measured", ink{})
		s.y += 30
	}
	lines := footLines(s.remarks, opt.Width-16)
	foot(&s.c, lines, 8, s.y+14)
	if len(lines) > 0 {
		s.y += footHigh*float64(len(lines)) + 4
	}
	return s.c.finish(Drawing{id: opt.ID, class: "plot plot-trace", w: opt.Width, h: math.Ceil(s.y + 6), title: opt.Title,
		desc: describeCourses(families), table: traceTable(families, opt)})
}

// sheet is a picture on which panels are set from the top down.
type sheet struct {
	c       canvas
	opt     Options
	y       float64 // free from here down
	remarks []string
}

// traceTitles are the names that [measure.Trace] documents.
var traceTitles = map[string]string{
	"speed": "Speed against time", "speed_spectrum": "Spectrum of the speed signal", "drift": "Drift of the speed",
	"level_time": "Level against time", "distortion_steps": "Third harmonic against level", "level_steps": "Level steps",
	"staircase": "Bias staircase",
}

func titleOfName(name string) string {
	if t := traceTitles[name]; t != "" {
		return t
	}
	if name == "" {
		return "Course"
	}
	return strings.ToUpper(name[:1]) + strings.ReplaceAll(name[1:], "_", " ")
}

func titleOf(fs []family) string {
	if len(fs) == 0 {
		return "Course"
	}
	var parts []string
	for _, f := range fs {
		if t := titleOfName(f.name); !slices.Contains(parts, t) {
			parts = append(parts, t)
		}
	}
	return strings.Join(parts, "; ")
}

// referencesOf says what 0 is.
func referencesOf(ts []measure.Trace) string {
	var out []string
	for _, t := range ts {
		if t.Reference != "" && !slices.Contains(out, t.Reference) {
			out = append(out, t.Reference)
		}
	}
	switch {
	case len(out) == 0:
		return ""
	case len(out) > 2:
		return "0 is: " + strings.Join(out[:2], "; ") + "; others in the table"
	}
	return "0 is: " + strings.Join(out, "; ")
}

// family draws one or many panels.
func (s *sheet) family(f family) {
	if len(f.facets) > 1 {
		s.multiples(f)
		return
	}
	s.single(f)
}

// single draws all courses over each other.
func (s *sheet) single(f family) {
	fc := f.facets[0]
	right := s.opt.Width - 14
	names := make([]string, len(fc.courses))
	widest := 0.0
	for i, c := range fc.courses {
		names[i] = c.label
		widest = math.Max(widest, textWidth(c.label, ink{bold: true, size: 14}))
	}
	keyed := widest > 64
	if !keyed && len(fc.courses) > 1 {
		right = s.opt.Width - widest - 20
	}
	if keyed {
		s.y += key(&s.c, longNames(fc.courses), 8, s.y+2, s.opt.Width-16) + 6
	}
	high := s.opt.Height
	if high == 0 {
		high = math.Max(240, math.Min(320, s.opt.Width*0.75))
	}
	p := panel{}
	p.x, p.y = f.axes(right-60, high, false)
	left := 26 + p.y.labelled(ink{}) + 10
	p.x.a, p.x.b = left, right
	flags := flagsOf(f, p)
	if rows := setFlags(flags, left, right); rows > 0 {
		s.y += flagHigh*float64(rows) + 4
	}
	p.y.b, p.y.a = s.y+8, s.y+8+high
	p.axes(&s.c)
	turnedName(&s.c, p.y.name, p)
	s.c.text((left+right)/2, p.y.a+37, "middle", clip(p.x.name, right-left, ink{}), ink{})
	s.boundsRemark(f)
	if f.drawn == 0 {
		s.c.message(p, "no course was measured")
	}
	if f.under != nil {
		f.under(&s.c, p, f, fc)
	}
	var ends []ending
	for i, c := range fc.courses {
		if x, y, ok := c.draw(&s.c, p); ok && names[i] != "" && !keyed {
			ends = append(ends, ending{x, y, names[i], c.style})
		}
	}
	endLabels(&s.c, ends, right-6, p.y.b, p.y.a)
	for i := range flags {
		flags[i].y = p.y.at(flags[i].y)
	}
	drawFlags(&s.c, flags, p.y.b-2)
	if k := flagKey(flags); k != "" {
		s.remarks = append(s.remarks, "Named places: "+k+".")
	}
	s.y = p.y.a + 42
}

// boundsRemark says what bars and bands are.
func (s *sheet) boundsRemark(f family) {
	any := false
	for _, fc := range f.facets {
		for _, c := range fc.courses {
			any = any || slices.ContainsFunc(c.Points, func(p measure.Point) bool { return p.Lo < p.Hi })
		}
	}
	r := "Bars and bands are 95" + unit.ThinSpace + "% intervals."
	if f.extremes {
		r = "The band is the least and the most within each point's stretch, not an interval."
	}
	if any && !slices.Contains(s.remarks, r) {
		s.remarks = append(s.remarks, r)
	}
}

// longNames writes bare track numbers out.
func longNames(cs []course) []string {
	var out []string
	for _, c := range cs {
		// What is of no track and no tone is of all that was heard: a dash without a word explains nothing.
		out = append(out, cmp.Or(spoken(c), "all sections"))
	}
	return out
}

func spoken(c course) string {
	if len(c.label) > 0 && c.Track != 0 && !strings.ContainsFunc(c.label, func(r rune) bool { return r < '0' || r > '9' }) {
		return "track " + c.label
	}
	return c.label
}

// flagsMost is how many places are named in a picture, the highest of them; the table
// names all.
const flagsMost = 24

// flagsOf are the named places of all courses; one name for places that fall together.
// Their y is a value still, not a place.
func flagsOf(f family, p panel) []flag {
	var marks []measure.Mark
	for _, fc := range f.facets {
		for _, c := range fc.courses {
			marks = append(marks, c.Marks...)
		}
	}
	slices.SortStableFunc(marks, func(a, b measure.Mark) int { return compareDown(a.Y, b.Y) })
	var out []flag
	for _, m := range marks {
		if len(out) == flagsMost {
			break
		}
		if !drawable(m.X, p.x.log) || !drawable(m.Y, p.y.log) || m.Label == "" {
			continue
		}
		x := p.x.at(m.X)
		if slices.ContainsFunc(out, func(o flag) bool { return o.name == m.Label && math.Abs(o.x-x) < 6 }) {
			continue
		}
		out = append(out, flag{x: x, y: m.Y, name: m.Label})
	}
	slices.SortStableFunc(out, func(a, b flag) int { return compareDown(b.x, a.x) })
	return out
}

func compareDown(a, b float64) int {
	switch {
	case a > b:
		return -1
	case a < b:
		return 1
	}
	return 0
}

// describeCourses says in words what the picture shows.
func describeCourses(fs []family) string {
	var b strings.Builder
	for _, f := range fs {
		fmt.Fprintf(&b, "%s: %s against %s. ", titleOfName(f.name), axisName(f.y), axisName(f.x))
		for _, fc := range f.facets {
			for _, c := range fc.courses {
				c.describe(&b, f, fc.name)
			}
		}
	}
	if b.Len() == 0 {
		return "No course was measured."
	}
	b.WriteString("All figures are in the table below.")
	return b.String()
}

func (c course) describe(b *strings.Builder, f family, facet string) {
	who := strings.TrimPrefix(strings.Join([]string{facet, spoken(c)}, ", "), ", ")
	who = strings.TrimSuffix(who, ", ")
	if who == "" {
		who = trackName(c.Trace)
	}
	who = strings.ToUpper(who[:1]) + who[1:]
	lo, hi := c.extremes(f)
	if lo < 0 {
		fmt.Fprintf(b, "%s: nothing was measured. ", who)
		return
	}
	at := func(i int) string {
		p := c.Points[i]
		return figure(p, f) + " at " + value(p.X, f.x.Unit, false)
	}
	fmt.Fprintf(b, "%s: %d points, lowest %s, highest %s. ", who, len(c.Points)-c.missing, at(lo), at(hi))
	if c.missing > 0 {
		fmt.Fprintf(b, "%d points have no place on the axes. ", c.missing)
	}
	if len(c.Marks) > 0 {
		var names []string
		for _, m := range c.Marks {
			names = append(names, m.Label+" at "+value(m.X, f.x.Unit, false))
		}
		fmt.Fprintf(b, "Named: %s. ", strings.Join(names, ", "))
	}
}

// extremes are the indices of the lowest and highest point with a place, −1 if none.
func (c course) extremes(f family) (lo, hi int) {
	lo, hi = -1, -1
	for i, p := range c.Points {
		if !drawable(p.X, f.x.Log) || !drawable(p.Y, f.y.Log) {
			continue
		}
		if lo < 0 || p.Y < c.Points[lo].Y {
			lo = i
		}
		if hi < 0 || p.Y > c.Points[hi].Y {
			hi = i
		}
	}
	return lo, hi
}
