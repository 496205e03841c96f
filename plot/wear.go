package plot

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"headstack/measure"
	"headstack/unit"
)

// Dated is one figure of the tracks of a head against the date.
type Dated struct {
	Quantity string // "gap"
	Unit     string // "µm"
	Tracks   []DatedTrack
	// Sound is what a sound head has; drawn as a line where HasSound is set.
	Sound    float64
	HasSound bool
	// Columns name the dates of the table: "2031-04-05, job-0003".
	Columns []DatedColumn
	Notes   []string // under the table
	Bars    string   // what the bars are, under the picture
}

// DatedColumn is one date of the table.
type DatedColumn struct {
	At   time.Time
	Name string
}

// DatedTrack is the course of one track.
type DatedTrack struct {
	Track  int
	Points []DatedPoint
	Line   []DatedPoint // fitted straight line with its 95 % interval; empty: none
	Trend  string       // "+0.27 ±0.04 µm/year", or why there is none
}

// DatedPoint is a figure at a date. Lo to Hi is the interval that is drawn, Whole the 95 %
// interval of the capture by itself, for the table; both ends 0: the one that is drawn.
type DatedPoint struct {
	At            time.Time
	Value, Lo, Hi float64
	Whole         [2]float64
}

func (p DatedPoint) drawable() bool { return drawable(p.Value, false) && !p.At.IsZero() }

// Wear draws figures against the date, a small panel a track: captures with their bars, the
// fitted line with its band, and a line at what a sound head has.
func Wear(d Dated, opt Options) Drawing {
	opt = opt.withDefaults("wear", "Wear of the heads, taken as "+d.Quantity)
	d.Tracks = slices.Clone(d.Tracks)
	slices.SortStableFunc(d.Tracks, func(a, b DatedTrack) int { return cmp.Compare(a.Track, b.Track) })
	s := sheet{opt: opt, c: canvas{wide: opt.Width}}
	s.y = heading(&s.c, opt.Title, "", 8, opt.Width-16) + 6
	s.wear(d)
	lines := footLines(s.remarks, opt.Width-16)
	foot(&s.c, lines, 8, s.y+14)
	if len(lines) > 0 {
		s.y += footHigh*float64(len(lines)) + 4
	}
	return s.c.finish(Drawing{id: opt.ID, class: "plot plot-trace plot-wear", w: opt.Width, h: math.Ceil(s.y + 6), title: opt.Title,
		desc: d.describe(), table: d.table(opt)})
}

// wear draws key and panels.
func (s *sheet) wear(d Dated) {
	p, ok := d.panel()
	if !ok {
		s.y += 40
		s.c.text(s.opt.Width/2, s.y, "middle", "nothing was measured", ink{})
		s.y += 30
		return
	}
	s.wearKey(d)
	columns := min(len(d.Tracks), max(1, int((s.opt.Width-50)/200)), 4)
	rows := (len(d.Tracks) + columns - 1) / columns
	const head, gapX = 36.0, 14.0
	high := 104.0
	if s.opt.Height > 0 {
		high = math.Max(60, (s.opt.Height-s.y)/float64(rows)-head)
	}
	p.y = newAxis(measure.Axis{Label: d.Quantity, Unit: d.Unit}, p.y.lo, p.y.hi, true, high/28)
	left := 26 + p.y.labelled(ink{size: 11}) + 8
	wide := (s.opt.Width-10-left)/float64(columns) - gapX
	p.x.dateTicks(wide / 52)
	top := s.y
	for i, t := range d.Tracks {
		col, row := i%columns, i/columns
		p.noY, p.noX = col > 0, i+columns < len(d.Tracks)
		p.x.a = left + float64(col)*(wide+gapX)
		p.x.b = p.x.a + wide
		p.y.b = top + float64(row)*(high+head) + head
		p.y.a = p.y.b + high
		s.wearPanel(p, d, t)
	}
	bottom := top + float64(rows)*(high+head)
	whole := panel{x: axis{a: left, b: s.opt.Width - 10}, y: axis{a: bottom, b: top + head}}
	turnedName(&s.c, p.y.name, whole)
	s.y = bottom + 22
	if d.Bars != "" {
		s.remarks = append(s.remarks, d.Bars)
	}
}

var (
	bandInk  = ink{class: "track k1", fill: trackColours[1], tint: 0.18}
	edgeInk  = ink{class: "track k1", stroke: trackColours[1], width: 0.6, opacity: 0.6}
	trendInk = ink{class: "track k1", stroke: trackColours[1], width: 1.8}
	soundInk = ink{class: "track k3", stroke: trackColours[3], width: 1.4, dash: "6 4"}
	pointInk = ink{class: "point", fill: pen}
)

// wearPanel draws one track.
func (s *sheet) wearPanel(p panel, d Dated, t DatedTrack) {
	wide := p.x.b - p.x.a
	k := ink{size: 12}
	s.c.text(p.x.a, p.y.b-20, "start", "track "+strconv.Itoa(t.Track), facetInk)
	s.c.text(p.x.a, p.y.b-6, "start", clip(t.Trend, wide, k), k)
	p.axes(&s.c)
	if d.HasSound && d.Sound >= p.y.lo && d.Sound <= p.y.hi {
		s.c.line(p.x.a, p.y.at(d.Sound), p.x.b, p.y.at(d.Sound), soundInk)
	}
	var line, upper, lower []float64
	for _, pt := range t.Line {
		if !pt.drawable() {
			continue
		}
		x := p.x.at(yearOf(pt.At))
		line = append(line, x, p.y.at(pt.Value))
		upper = append(upper, x, p.y.at(finite(pt.Hi, pt.Value)))
		lower = append(lower, x, p.y.at(finite(pt.Lo, pt.Value)))
	}
	if len(line) > 2 {
		field := slices.Clone(upper)
		for i := len(lower) - 2; i >= 0; i -= 2 {
			field = append(field, lower[i], lower[i+1])
		}
		s.c.polygon(field, bandInk)
		s.c.polyline(upper, edgeInk)
		s.c.polyline(lower, edgeInk)
		s.c.polyline(line, trendInk)
	}
	any := false
	for _, pt := range t.Points {
		if pt.drawable() {
			any = true
			s.wearPoint(p, pt)
		}
	}
	if !any {
		s.c.message(p, "not measured")
	}
}

func (s *sheet) wearPoint(p panel, pt DatedPoint) {
	x := p.x.at(yearOf(pt.At))
	bar(&s.c, x, p.y.at(finite(pt.Hi, pt.Value)), p.y.at(finite(pt.Lo, pt.Value)), ink{class: "point", stroke: pen, width: 1.1})
	s.c.circle(x, p.y.at(pt.Value), 2.4, pointInk)
}

// wearKey explains points and lines.
func (s *sheet) wearKey(d Dated) {
	names := []string{"capture", "fitted line and its 95" + unit.ThinSpace + "% band"}
	if d.HasSound {
		names = append(names, "a sound head")
	}
	s.y += keyOf(&s.c, names, 8, s.y+2, s.opt.Width-16, func(x, y, long float64, i int) {
		switch i {
		case 0:
			bar(&s.c, x+long/2, y-6, y+6, ink{class: "point", stroke: pen, width: 1.1})
			s.c.circle(x+long/2, y, 2.4, pointInk)
		case 1:
			s.c.polygon([]float64{x, y - 5, x + long, y - 5, x + long, y + 5, x, y + 5}, bandInk)
			s.c.line(x, y, x+long, y, trendInk)
		default:
			s.c.line(x, y, x+long, y, soundInk)
		}
	}) + 2
}

// panel spans all dates and figures; the bars only as far as they leave the course to be
// seen.
func (d Dated) panel() (p panel, ok bool) {
	x0, x1, lo, hi := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	see := func(at time.Time, v float64) {
		if drawable(v, false) && !at.IsZero() {
			x0, x1 = math.Min(x0, yearOf(at)), math.Max(x1, yearOf(at))
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	for _, t := range d.Tracks {
		for _, pt := range append(slices.Clone(t.Points), t.Line...) {
			if pt.drawable() {
				see(pt.At, pt.Value)
			}
		}
	}
	if x0 > x1 {
		return p, false
	}
	if d.HasSound && drawable(d.Sound, false) {
		lo, hi = math.Min(lo, d.Sound), math.Max(hi, d.Sound)
	}
	room := math.Max(hi-lo, 0.05)
	a, b := lo-room/2, hi+room/2
	for _, t := range d.Tracks {
		for _, pt := range t.Points {
			if pt.drawable() {
				lo, hi = math.Min(lo, math.Max(a, finite(pt.Lo, pt.Value))), math.Max(hi, math.Min(b, finite(pt.Hi, pt.Value)))
			}
		}
	}
	pad := math.Max(0.06*(x1-x0), 0.02)
	p = panel{small: true, x: axis{lo: x0 - pad, hi: x1 + pad}, y: axis{lo: lo, hi: hi}}
	return p, true
}

// yearOf is a date as years, months being even parts of one.
func yearOf(t time.Time) float64 {
	t = t.UTC()
	first := time.Date(t.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	return float64(t.Year()) + t.Sub(first).Hours()/first.AddDate(1, 0, 0).Sub(first).Hours()
}

// dateTicks marks years, or months where the axis is short; about room labels fit.
func (x *axis) dateTicks(room float64) {
	x.ticks = nil
	months := 12 * (x.hi - x.lo)
	for _, step := range []int{1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200} {
		if months/float64(step) > math.Max(2, room) && step < 1200 {
			continue
		}
		first := int(math.Ceil(x.lo*12/float64(step)-1e-6)) * step
		for m := first; float64(m)/12 <= x.hi && len(x.ticks) < 60; m += step {
			at := time.Date(m/12, time.Month(m%12+1), 1, 0, 0, 0, 0, time.UTC)
			label := strconv.Itoa(at.Year())
			if step < 12 {
				label = at.Format("2006-01")
			}
			if v := yearOf(at); v >= x.lo && v <= x.hi {
				x.ticks = append(x.ticks, tick{v, label})
			}
		}
		return
	}
}

// describe says in words what the picture shows.
func (d Dated) describe() string {
	out := fmt.Sprintf("The treble loss of each track taken as %s, against the date. ", d.Quantity)
	for _, t := range d.Tracks {
		out += fmt.Sprintf("Track %d: %d captures; %s. ", t.Track, len(t.Points), t.Trend)
	}
	return out + "All figures are in the table below."
}

// table has a row a track: the figure at each date and the trend.
func (d Dated) table(opt Options) Table {
	t := Table{Caption: opt.Title, Head: []string{"track"}, Notes: d.Notes}
	if d.Unit != "" {
		t.Caption += ", " + d.Unit + "; intervals are 95" + unit.ThinSpace + "% of each capture by itself"
	}
	for _, c := range d.Columns {
		t.Head = append(t.Head, c.Name)
	}
	t.Head = append(t.Head, "trend")
	for _, k := range d.Tracks {
		row := []string{"track " + strconv.Itoa(k.Track)}
		for _, c := range d.Columns {
			cell := none
			for _, p := range k.Points {
				if p.At.Equal(c.At) && p.drawable() {
					if p.Whole == [2]float64{} {
						p.Whole = [2]float64{p.Lo, p.Hi}
					}
					cell = unit.Figure{Value: p.Value, Lo: p.Whole[0], Hi: p.Whole[1], Unit: d.Unit}.String()
				}
			}
			row = append(row, cell)
		}
		t.Rows = append(t.Rows, append(row, k.Trend))
	}
	return t
}
