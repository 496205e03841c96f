package plot

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"headstack/measure"
	"headstack/unit"
)

// Options say how a picture is drawn. The zero value is a good picture.
type Options struct {
	ID     string  // prefix of the element ids, unique on a page; empty: the plot's name
	Title  string  // empty: what the figures are
	Width  float64 // CSS pixels; 0: 760. 360 suits a phone.
	Height float64 // CSS pixels; 0: as the plot needs
	// FloorDB is the lowest level that the axis of a response may reach down to (and,
	// with its sign turned, up to); what lies outside is marked at the edge with its
	// value. 0: −24. A dead track must not flatten the others.
	FloorDB float64
	// Mask is the tolerance field of a response; empty: none. See [Masks].
	Mask []MaskBand
	// TableRows is how many points of each course its table lists, evenly spaced,
	// besides the highest, the lowest and the named ones. 0: 40; below 0: all.
	TableRows int
}

func (o Options) withDefaults(id, title string) Options {
	if o.ID == "" {
		o.ID = id
	}
	if o.Title == "" {
		o.Title = title
	}
	if !(o.Width > 0 && o.Width <= maxSide) {
		o.Width = 760
	}
	o.Width = math.Max(o.Width, 240) // less holds no axis
	if !(o.Height >= 0 && o.Height <= maxSide) {
		o.Height = 0
	}
	if !(o.FloorDB < 0) {
		o.FloorDB = -24
	}
	return o
}

// maxSide bounds a picture's sides in CSS pixels.
const maxSide = 20000

// thirds are the preferred frequencies of ISO 266:1997 from 20 Hz to 20 kHz.
var thirds = []float64{20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800,
	1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000}

// Response draws the results named "response" against frequency: one line per
// track, points with 95 % bars, 0 dB heavier. Results of other names, refused
// ones and those without a tone are left out; when none is left it draws the
// axes and says so. With a mask its field is outlined and hatched outside, and
// points outside it carry a cross and, where there is room, by how much.
func Response(measures []measure.Result, opt Options) template.HTML {
	return DrawResponse(measures, opt).SVG()
}

// DrawResponse is [Response] as a drawing.
func DrawResponse(measures []measure.Result, opt Options) Drawing {
	opt = opt.withDefaults("response", "Response by track")
	curves := curvesOf(measures)
	field := valid(opt.Mask)
	s := sheet{opt: opt, c: canvas{wide: opt.Width}}
	const left = 56.0
	s.y = heading(&s.c, opt.Title, "", left, opt.Width-left-8) + 13
	s.responses(curves, field, left)
	if len(curves) > 0 {
		s.remarks = append(s.remarks, "Bars are 95"+unit.ThinSpace+"% intervals."+combRemark(curves))
	}
	if len(field) > 0 {
		s.remarks = append(s.remarks, "Hatched border: tolerance field, "+field.words()+" ("+field.sources()+"). A cross marks a point outside it.")
	}
	lines := footLines(s.remarks, opt.Width-left-8)
	foot(&s.c, lines, left, s.y+10)
	if len(lines) > 0 {
		s.y += footHigh*float64(len(lines)) + 4
	}
	return s.c.finish(Drawing{id: opt.ID, class: "plot plot-response", w: opt.Width, h: math.Ceil(s.y), title: opt.Title,
		desc: describe(curves, field), table: responseTable(measures, field, opt)})
}

// combRemark explains open points.
func combRemark(curves []curve) string {
	for _, c := range curves {
		if len(c.lines()) > 1 {
			return " Open points: tones of a comb played at once; filled: tones played singly."
		}
	}
	return ""
}

// More curves than panelMost in one panel cannot be told apart; they are drawn in
// panels of panelEach.
const panelMost, panelEach = 8, 4

// responses draws the panels.
func (s *sheet) responses(curves []curve, field mask, left float64) {
	groups, columns, high := [][]curve{curves}, 1, s.opt.Height
	if high == 0 {
		high = 400
	}
	high = math.Max(120, high-s.y-44)
	if len(curves) > panelMost {
		groups = slices.Collect(slices.Chunk(curves, panelEach))
		if high = 170; s.opt.Width >= 600 {
			columns = 2
		}
	}
	all := responsePanel(curves, field, s.opt, (s.opt.Width-left)/float64(columns)-44)
	top := s.y
	for i, g := range groups {
		p := all
		wide := (s.opt.Width - 8) / float64(columns)
		p.x.a = left + float64(i%columns)*wide
		p.x.b = float64(i%columns+1)*wide - 36
		row := float64(i / columns)
		p.y.b = top + row*(high+28)
		if len(groups) > 1 {
			p.noX = i+columns < len(groups)
			p.y.b += 8
			name := "track " + strconv.Itoa(g[0].track)
			if len(g) > 1 {
				name = fmt.Sprintf("tracks %d to %d", g[0].track, g[len(g)-1].track)
			}
			s.c.text(p.x.a, p.y.b-6, "start", name, facetInk)
		}
		p.y.a = p.y.b + high
		p.closest = p.closestTones(g)
		s.responsePanelOf(p, g, field)
		s.y = math.Max(s.y, p.y.a+44)
	}
}

// responsePanelOf draws one panel.
func (s *sheet) responsePanelOf(p panel, curves []curve, field mask) {
	p.axes(&s.c)
	turnedAt(&s.c, p.y.name, p, p.x.a-42)
	if !p.noX {
		s.c.text((p.x.a+p.x.b)/2, p.y.a+37, "middle", p.x.name, ink{})
	}
	if len(curves) == 0 {
		s.c.message(p, "no response was measured")
	}
	field.draw(&s.c, p)
	ends := make([]ending, len(curves))
	for i, cv := range curves {
		ends[i] = p.response(&s.c, cv, i, len(curves), field)
	}
	endLabels(&s.c, ends, p.x.b, p.y.b, p.y.a)
	p.responseValues(&s.c, curves, field)
}

// describe says in words what the picture shows, for those who do not see it;
// the figures themselves are in the table under the plot.
func describe(curves []curve, field mask) string {
	if len(curves) == 0 {
		return "No response was measured."
	}
	var b strings.Builder
	b.WriteString("Level against frequency, 0 dB is each track's own level at the reference tone. ")
	b.WriteString(field.describe(curves))
	for _, c := range curves {
		lo, hi := c.points[0], c.points[0]
		for _, p := range c.points {
			if p.Value < lo.Value {
				lo = p
			}
			if p.Value > hi.Value {
				hi = p
			}
		}
		fmt.Fprintf(&b, "Track %d: lowest %s at %s, highest %s at %s. ", c.track,
			lo.Figure(), unit.Frequency(unit.Hertz(lo.ToneHz)), hi.Figure(), unit.Frequency(unit.Hertz(hi.ToneHz)))
	}
	b.WriteString("All figures are in the table below.")
	return b.String()
}

// responsePanel spans the tones and levels there are.
func responsePanel(curves []curve, field mask, opt Options, wide float64) panel {
	f0, f1, lo, hi := 40.0, 16000.0, -6.0, 3.0
	first := true
	span := func(hz float64) {
		if first {
			f0, f1, first = hz, hz, false
		}
		f0, f1 = math.Min(f0, hz), math.Max(f1, hz)
	}
	for _, c := range curves {
		for _, p := range c.points {
			span(p.ToneHz)
			if p.Value < opt.FloorDB || p.Value > -opt.FloorDB {
				continue // drawn at the edge; it must not flatten the others
			}
			lo = math.Min(lo, math.Max(finite(p.Lo, p.Value), opt.FloorDB))
			hi = math.Max(hi, math.Min(finite(p.Hi, p.Value), -opt.FloorDB))
		}
	}
	for _, b := range field {
		// The field shows where nothing was measured, too.
		span(math.Min(math.Max(b.FromHz, 16), 24000))
		span(math.Min(math.Max(b.ToHz, 16), 24000))
		// With room for the hatching outside.
		lo, hi = math.Min(lo, math.Max(b.LowDB-0.3, opt.FloorDB)), math.Max(hi, math.Min(b.HighDB+0.3, -opt.FloorDB))
	}
	f0, f1 = f0/1.12, f1*1.12
	if f1 < 4*f0 { // one tone alone: an axis still needs some width
		f0, f1 = f0/2, f1*2
	}
	p := panel{y: newAxis(measure.Axis{Unit: "dB"}, lo, hi, true, 9)}
	p.y.name = "dB re reference tone"
	p.x = axis{name: "frequency, Hz", lo: f0, hi: f1, log: true}
	// Names of third octaves as far apart as they are wide.
	for _, hz := range thirds {
		if hz >= f0 && hz <= f1 {
			p.x.ticks = append(p.x.ticks, tick{hz, thirdName(hz)})
		}
	}
	if math.Log10(f1/f0) > wide/60 { // a span that no tape has
		p.x.ticks = nil
		p.x.logTicks("Hz", false, wide/60)
	}
	return p
}

func thirdName(hz float64) string {
	if hz < 1000 {
		return strconv.FormatFloat(hz, 'g', 4, 64)
	}
	return strconv.FormatFloat(hz/1000, 'g', 4, 64) + "k"
}

// dodge sets the points of the tracks side by side at one tone, else their bars hide
// each other; less where tones are close.
func (p panel) dodge(i, n int) float64 {
	each := math.Min(math.Min(3, 24/float64(n)), 0.6*p.closest/float64(n))
	return (float64(i) - float64(n-1)/2) * each * math.Min(1, (p.x.b-p.x.a)/660)
}

// closestTones is the usual distance on the picture of neighbouring tones on one line:
// that which a quarter of them undercut.
func (p panel) closestTones(curves []curve) float64 {
	var gaps []float64
	for _, c := range curves {
		for _, l := range c.lines() {
			for i := range l[1:] {
				if l[i+1].ToneHz > l[i].ToneHz {
					gaps = append(gaps, p.x.at(l[i+1].ToneHz)-p.x.at(l[i].ToneHz))
				}
			}
		}
	}
	if len(gaps) == 0 {
		return p.x.b - p.x.a
	}
	slices.Sort(gaps)
	return gaps[len(gaps)/4]
}

// response draws one track and returns where it ends.
func (p panel) response(c *canvas, cv curve, i, n int, field mask) ending {
	dx := p.dodge(i, n)
	for j, line := range cv.lines() {
		var points []float64
		for _, r := range line {
			points = append(points, p.x.at(r.ToneHz)+dx, p.y.at(r.Value))
		}
		if len(points) > 2 {
			c.polyline(points, lineOf(i))
		}
		p.responsePoints(c, line, points, i, j > 0, field)
	}
	last := cv.points[len(cv.points)-1]
	return ending{p.x.at(last.ToneHz) + dx, p.y.at(last.Value), strconv.Itoa(cv.track), i}
}

// responsePoints draws the points of one line, those of a comb open.
func (p panel) responsePoints(c *canvas, line []measure.Result, points []float64, i int, comb bool, field mask) {
	for j, r := range line {
		x, y := points[2*j], points[2*j+1]
		if p.offScale(r.Value) {
			tip, dir := p.y.a-2, -1.0
			if r.Value > p.y.hi {
				tip, dir = p.y.b+2, 1.0
			}
			c.polygon([]float64{x, tip, x - 5, tip + 9*dir, x + 5, tip + 9*dir}, dotOf(i))
			c.marks = append(c.marks, box{x - 5, math.Min(tip, tip+9*dir), x + 5, math.Max(tip, tip+9*dir)})
			continue
		}
		bar(c, x, p.y.at(finite(r.Hi, r.Value)), p.y.at(finite(r.Lo, r.Value)), barOf(i))
		if comb {
			c.circle(x, y, 2.8, ink{class: classOf(i) + " open", fill: "none", stroke: trackColours[i%len(trackColours)], width: 1.2})
		} else {
			c.circle(x, y, 2.6, dotOf(i))
		}
		if field.outside(r.ToneHz, r.Value) != 0 {
			c.segments([]float64{x - 5.5, y - 5.5, x + 5.5, y + 5.5, x - 5.5, y + 5.5, x + 5.5, y - 5.5},
				ink{class: "outside", stroke: pen, width: 1.8})
		}
	}
}

func (p panel) offScale(v float64) bool { return v < p.y.lo-1e-9 || v > p.y.hi+1e-9 }

// responseValues writes the values beyond the edge and, beside crosses, by how much
// the point lies outside, where there is room; the table has them all.
func (p panel) responseValues(c *canvas, curves []curve, field mask) {
	within := p.box()
	k := ink{size: 11}
	for i, cv := range curves {
		for _, r := range cv.points {
			x := p.x.at(r.ToneHz) + p.dodge(i, len(curves))
			if p.offScale(r.Value) {
				y := p.y.a - 7
				if r.Value > p.y.hi {
					y = p.y.b + 15
				}
				s := unit.Signed(r.Value, 0)
				_ = c.tryText(x+7, y, "start", s, k, within) || c.tryText(x-7, y, "end", s, k, within)
			}
		}
	}
	k.bold = true
	for _, b := range field.breaches(curves) {
		if p.offScale(b.p.Value) {
			continue
		}
		i := slices.IndexFunc(curves, func(c curve) bool { return c.track == b.track })
		x, y := p.x.at(b.p.ToneHz)+p.dodge(i, len(curves)), p.y.at(b.p.Value)
		s := strings.TrimSuffix(b.amount(), unit.ThinSpace+"dB")
		_ = c.tryText(x+8, y+4, "start", s, k, within) || c.tryText(x-8, y+4, "end", s, k, within) ||
			c.tryText(x, y+18, "middle", s, k, within) || c.tryText(x, y-10, "middle", s, k, within)
	}
}
