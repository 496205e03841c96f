package plot

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"headstack/measure"
	"headstack/signature"
	"headstack/unit"
)

// Explain draws what the losses of each track are made of: a small panel a track with
// the measured points and their 95 % bars, the fitted curve, and one line for what each
// cause contributes. Causes are told apart by dash and by name, at the line where there
// is room and in the key always. A point that was set aside is open with a cross.
func Explain(x signature.Explanation, opt Options) Drawing {
	opt = opt.withDefaults("explanation", "What the losses are made of, by track")
	tracks := explainedTracks(x)
	causes := causesOf(tracks, x.Findings)
	s := sheet{opt: opt, c: canvas{wide: opt.Width}}
	s.y = heading(&s.c, opt.Title, zeroIs(x.Reference), 8, opt.Width-16) + 6
	s.explanation(tracks, causes)
	lines := footLines(s.remarks, opt.Width-16)
	foot(&s.c, lines, 8, s.y+14)
	if len(lines) > 0 {
		s.y += footHigh*float64(len(lines)) + 4
	}
	return s.c.finish(Drawing{id: opt.ID, class: "plot plot-trace plot-explanation", w: opt.Width, h: math.Ceil(s.y + 6), title: opt.Title,
		desc: describeExplained(tracks, x), table: explainedTable(tracks, causes, x, opt)})
}

func zeroIs(reference string) string {
	if reference == "" {
		return ""
	}
	return "0" + unit.ThinSpace + "dB is: " + reference
}

// explained is the curve of one track with only what has a place on the axes.
type explained struct {
	track  int
	points []signature.CurvePoint
	parts  []signature.Contribution // each as long as points
}

// explainedTracks drops what cannot be drawn.
func explainedTracks(x signature.Explanation) []explained {
	var out []explained
	for _, c := range x.Curves {
		e := explained{track: c.Track}
		for _, k := range c.Contributions {
			e.parts = append(e.parts, signature.Contribution{Cause: k.Cause})
		}
		for i, p := range c.Points {
			if !drawable(p.Hz, true) || !drawable(p.MeasuredDB, false) {
				continue
			}
			e.points = append(e.points, p)
			for k := range e.parts {
				v := math.NaN()
				if i < len(c.Contributions[k].DB) {
					v = c.Contributions[k].DB[i]
				}
				e.parts[k].DB = append(e.parts[k].DB, v)
			}
		}
		out = append(out, e)
	}
	slices.SortStableFunc(out, func(a, b explained) int { return cmp.Compare(a.track, b.track) })
	return out
}

// causesOf are the causes that contribute anywhere, in the order of the findings.
func causesOf(tracks []explained, findings []signature.Finding) []signature.Cause {
	var out []signature.Cause
	contributes := func(c signature.Cause) bool {
		return slices.ContainsFunc(tracks, func(t explained) bool {
			return slices.ContainsFunc(t.parts, func(k signature.Contribution) bool { return k.Cause == c })
		})
	}
	for _, f := range findings {
		if !slices.Contains(out, f.Cause) && contributes(f.Cause) {
			out = append(out, f.Cause)
		}
	}
	for _, t := range tracks {
		for _, k := range t.parts {
			if !slices.Contains(out, k.Cause) {
				out = append(out, k.Cause)
			}
		}
	}
	return out
}

func (e explained) name() string { return "track " + strconv.Itoa(e.track) }

// causeLine is the ink of the i-th cause: broken always, for the fitted curve is solid.
func causeLine(i int) ink {
	c := (i + 1) % len(trackColours)
	return ink{class: "track k" + strconv.Itoa(c), stroke: trackColours[c], width: 2.4, dash: dashes[1+i%(len(dashes)-1)]}
}

var fitInk = ink{class: "fit", stroke: pen, width: 1.2}

// explanation draws key and panels.
func (s *sheet) explanation(tracks []explained, causes []signature.Cause) {
	if len(tracks) == 0 {
		s.y += 40
		s.c.text(s.opt.Width/2, s.y, "middle", "nothing was explained", ink{})
		s.y += 30
		return
	}
	s.explanationKey(tracks, causes)
	columns := min(len(tracks), max(1, int((s.opt.Width-50)/210)), 4)
	if len(tracks) == 4 && columns == 3 {
		columns = 2
	}
	rows := (len(tracks) + columns - 1) / columns
	const head, gapX = 22.0, 14.0
	high := 128.0
	if columns == 1 {
		high = 150
	}
	if s.opt.Height > 0 {
		high = math.Max(70, (s.opt.Height-s.y)/float64(rows)-head)
	}
	p := explainedPanel(tracks, s.opt, (s.opt.Width-60)/float64(columns)-gapX)
	left := 26 + p.y.labelled(ink{size: 11}) + 8
	wide := (s.opt.Width-10-left)/float64(columns) - gapX
	top := s.y
	for i, t := range tracks {
		col, row := i%columns, i/columns
		p.noY, p.noX = col > 0, i+columns < len(tracks)
		p.x.a = left + float64(col)*(wide+gapX)
		p.x.b = p.x.a + wide
		p.y.b = top + float64(row)*(high+head) + head
		p.y.a = p.y.b + high
		s.explainedFacet(p, t, causes)
	}
	bottom := top + float64(rows)*(high+head)
	whole := panel{x: axis{a: left, b: s.opt.Width - 10}, y: axis{a: bottom, b: top + head}}
	turnedName(&s.c, p.y.name, whole)
	s.c.text((left+s.opt.Width-10)/2, bottom+34, "middle", clip(p.x.name, s.opt.Width-left-20, ink{}), ink{})
	s.y = bottom + 40
	s.remarks = append(s.remarks, "Bars are 95"+unit.ThinSpace+"% intervals of the measurement and the tape's tone error.")
}

// explainedFacet draws one track.
func (s *sheet) explainedFacet(p panel, t explained, causes []signature.Cause) {
	wide := p.x.b - p.x.a
	s.c.text(p.x.a, p.y.b-6, "start", t.name(), facetInk)
	if names := t.causeNames(); names != "" {
		k := ink{size: 12}
		at := textWidth(t.name()+": ", facetInk)
		s.c.text(p.x.a+at, p.y.b-6, "start", clip(names, wide-at, k), k)
	}
	p.axes(&s.c)
	if len(t.points) == 0 {
		s.c.message(p, "not measured")
		return
	}
	for _, k := range t.parts {
		i := slices.Index(causes, k.Cause)
		if line := p.courseOf(t.points, k.DB); len(line) > 2 {
			s.c.polyline(line, causeLine(i))
		}
	}
	if line := p.courseOf(t.points, t.fitted()); len(line) > 2 {
		s.c.polyline(line, fitInk)
	}
	for _, pt := range t.points {
		p.explainedPoint(&s.c, pt)
	}
	for _, k := range t.parts {
		p.nameCourse(&s.c, t.points, k)
	}
	for _, pt := range t.points {
		p.beyondValue(&s.c, pt)
	}
}

func (e explained) fitted() []float64 {
	var out []float64
	for _, p := range e.points {
		out = append(out, p.FittedDB)
	}
	return out
}

func (e explained) causeNames() string {
	var out []string
	for _, k := range e.parts {
		if w := k.Cause.Words(); !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	return strings.Join(out, ", ")
}

// courseOf is the line through values at the tones; what has none is passed over.
func (p panel) courseOf(points []signature.CurvePoint, db []float64) []float64 {
	var out []float64
	for i, pt := range points {
		if i < len(db) && drawable(db[i], false) {
			out = append(out, p.x.at(pt.Hz), p.y.at(db[i]))
		}
	}
	return out
}

// explainedPoint draws a measured point; one beyond the axis is an arrow at its edge.
func (p panel) explainedPoint(c *canvas, pt signature.CurvePoint) {
	x, y := p.x.at(pt.Hz), p.y.at(pt.MeasuredDB)
	dot, open := ink{class: "point", fill: pen}, ink{class: "point open", fill: "none", stroke: pen, width: 1.4}
	switch {
	case p.offScale(pt.MeasuredDB):
		tip, dir := p.y.a-2, -1.0
		if pt.MeasuredDB > p.y.hi {
			tip, dir = p.y.b+2, 1.0
		}
		c.polygon([]float64{x, tip, x - 4, tip + 8*dir, x + 4, tip + 8*dir}, dot)
		c.marks = append(c.marks, box{x - 4, math.Min(tip, tip+8*dir), x + 4, math.Max(tip, tip+8*dir)})
	default:
		bar(c, x, p.y.at(finite(pt.Hi, pt.MeasuredDB)), p.y.at(finite(pt.Lo, pt.MeasuredDB)), ink{class: "point", stroke: pen, width: 1.1})
		if pt.SetAside {
			c.circle(x, y, 3.2, open)
		} else {
			c.circle(x, y, 2.3, dot)
		}
	}
	if pt.SetAside {
		c.segments([]float64{x - 5.5, y - 5.5, x + 5.5, y + 5.5, x - 5.5, y + 5.5, x + 5.5, y - 5.5}, ink{class: "outside", stroke: pen, width: 1.4})
	}
}

// nameCourse writes the name of a cause beside its line where there is room: first where
// it is farthest from 0, for there it is alone.
func (p panel) nameCourse(c *canvas, points []signature.CurvePoint, k signature.Contribution) {
	order := make([]int, 0, len(points))
	for i := range points {
		if drawable(k.DB[i], false) && !p.offScale(k.DB[i]) && math.Abs(k.DB[i]) >= 0.1 {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(math.Abs(k.DB[b]), math.Abs(k.DB[a])) })
	l, name, within := ink{size: 11}, k.Cause.Words(), p.box()
	for _, i := range order {
		x, y := p.x.at(points[i].Hz), p.y.at(k.DB[i])
		if c.tryText(x-6, y+13, "end", name, l, within) || c.tryText(x-6, y-7, "end", name, l, within) ||
			c.tryText(x+6, y+13, "start", name, l, within) || c.tryText(x+6, y-7, "start", name, l, within) {
			return
		}
	}
}

// beyondValue writes the value of a point beyond the axis where there is room.
func (p panel) beyondValue(c *canvas, pt signature.CurvePoint) {
	if !p.offScale(pt.MeasuredDB) {
		return
	}
	y := p.y.a - 5
	if pt.MeasuredDB > p.y.hi {
		y = p.y.b + 12
	}
	s, k, within := unit.Signed(pt.MeasuredDB, 0), ink{size: 11}, p.box()
	x := p.x.at(pt.Hz)
	_ = c.tryText(x+6, y, "start", s, k, within) || c.tryText(x-6, y, "end", s, k, within)
}

// explainedPanel spans the tones and levels of all tracks.
func explainedPanel(tracks []explained, opt Options, wide float64) panel {
	f0, f1, lo, hi := math.Inf(1), math.Inf(-1), -3.0, 2.0
	span := func(v float64) {
		if drawable(v, false) && v >= opt.FloorDB && v <= -opt.FloorDB {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	for _, t := range tracks {
		for i, pt := range t.points {
			f0, f1 = math.Min(f0, pt.Hz), math.Max(f1, pt.Hz)
			span(pt.MeasuredDB)
			span(pt.FittedDB)
			if !pt.SetAside && pt.MeasuredDB >= opt.FloorDB && pt.MeasuredDB <= -opt.FloorDB {
				span(math.Max(pt.Lo, opt.FloorDB))
				span(math.Min(pt.Hi, -opt.FloorDB))
			}
			for _, k := range t.parts {
				span(k.DB[i])
			}
		}
	}
	if f0 > f1 {
		f0, f1 = 40, 16000
	}
	f0, f1 = f0/1.15, f1*1.15
	if f1 < 4*f0 {
		f0, f1 = f0/2, f1*2
	}
	p := panel{small: true, y: newAxis(measure.Axis{Unit: "dB"}, lo, hi, true, 6)}
	p.x = axis{name: "frequency, Hz", lo: f0, hi: f1, log: true}
	p.x.logTicks("Hz", false, math.Max(2, wide/45))
	return p
}

// explanationKey explains points and lines.
func (s *sheet) explanationKey(tracks []explained, causes []signature.Cause) {
	names := []string{"measured", "fitted"}
	for _, c := range causes {
		names = append(names, c.Words())
	}
	aside := slices.ContainsFunc(tracks, func(t explained) bool {
		return slices.ContainsFunc(t.points, func(p signature.CurvePoint) bool { return p.SetAside })
	})
	if aside {
		names = append(names, "set aside, not used")
	}
	s.y += keyOf(&s.c, names, 8, s.y+2, s.opt.Width-16, func(x, y, long float64, i int) {
		mid := panel{x: axis{lo: 0, hi: 2, a: x, b: x + long}, y: axis{lo: -1, hi: 1, a: y + 6, b: y - 6}}
		pt := signature.CurvePoint{Hz: 1, Lo: -0.9, Hi: 0.9}
		switch {
		case i == 0:
			mid.explainedPoint(&s.c, pt)
		case i == 1:
			s.c.line(x, y, x+long, y, fitInk)
		case aside && i == len(names)-1:
			pt.SetAside = true
			mid.explainedPoint(&s.c, pt)
		default:
			s.c.line(x, y, x+long, y, causeLine(i-2))
		}
	}) + 4
}

// describeExplained says in words what the picture shows.
func describeExplained(tracks []explained, x signature.Explanation) string {
	if len(tracks) == 0 {
		return "Nothing was explained."
	}
	var b strings.Builder
	b.WriteString("Level against frequency of each track, measured and fitted, and what each cause makes of it. ")
	for _, f := range x.Findings {
		b.WriteString(strings.TrimSpace(f.Sentence) + " ")
	}
	for _, t := range tracks {
		for _, k := range t.parts {
			worst := -1
			for i, v := range k.DB {
				if drawable(v, false) && (worst < 0 || math.Abs(v) > math.Abs(k.DB[worst])) {
					worst = i
				}
			}
			if worst >= 0 {
				fmt.Fprintf(&b, "Track %d: %s makes %s%sdB at %s. ", t.track, k.Cause.Words(), unit.Signed(k.DB[worst], 1), unit.ThinSpace,
					unit.Frequency(unit.Hertz(t.points[worst].Hz)))
			}
		}
	}
	b.WriteString("All figures are in the table below.")
	return b.String()
}
