package plot

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"headstack/measure"
	"headstack/unit"
)

// across is what [DelayAcross] draws: delays against one track, by tone.
type across struct {
	base   int
	tones  []float64 // descending
	points map[float64][]measure.Result
	tracks []int
	place  func(track int) float64 // mm, or the track's number where places are not known
	known  bool
	line   *measure.Result // azimuth_line
	others int             // delays between other pairs
}

// acrossTones is how many tones are drawn; the highest tell most of an angle.
const acrossTones = 3

// DelayAcross draws the results named "delay" against the place of the tracks across
// the tape, each against the lowest-numbered track of the results, with 95 % bars, and
// the line of "azimuth_line" with its interval. Centres are the places of the cores
// from the tape's edge, index 0 being track 1; without them the tracks stand evenly
// spaced and the line is left out. Only the three highest tones are drawn, side by
// side. Delay times the speed of the tape over the distance is an angle: points on a
// sloping line are azimuth, points off it a gap out of line.
func DelayAcross(measures []measure.Result, centres []unit.Metre, opt Options) Drawing {
	opt = opt.withDefaults("across", "Delay across the head")
	a := acrossOf(measures, centres)
	s := sheet{opt: opt, c: canvas{wide: opt.Width}}
	sub := ""
	if len(a.tracks) > 0 {
		sub = fmt.Sprintf("0 is: track %d; positive: the other track is later", a.base)
	}
	s.y = heading(&s.c, opt.Title, sub, 8, opt.Width-16) + 6
	if len(a.tones) > 1 {
		s.y += keyOf(&s.c, a.toneNames(), 8, s.y+2, opt.Width-16, func(x, y, long float64, i int) { spot(&s.c, x+long-8, y, i) }) + 4
	}
	a.draw(&s)
	lines := footLines(s.remarks, opt.Width-16)
	foot(&s.c, lines, 8, s.y+14)
	s.y += footHigh*float64(len(lines)) + 8
	return s.c.finish(Drawing{id: opt.ID, class: "plot plot-across", w: opt.Width, h: math.Ceil(s.y), title: opt.Title,
		desc: a.describe(), table: a.table(measures, opt)})
}

func acrossOf(measures []measure.Result, centres []unit.Metre) across {
	a := across{points: map[float64][]measure.Result{}}
	for _, r := range measures {
		if r.Name == "delay" && (a.base == 0 || r.Track < a.base) {
			a.base = r.Track
		}
	}
	var hidden []float64
	for i, r := range measures {
		if r.Name == "azimuth_line" && r.Refused == "" && drawable(r.Value, false) && a.line == nil {
			a.line = &measures[i]
		}
		if r.Name != "delay" || r.Refused != "" || !drawable(r.Value, false) || math.IsNaN(r.ToneHz) {
			continue
		}
		if r.Track != a.base {
			a.others++
			continue
		}
		if !slices.Contains(hidden, r.ToneHz) {
			hidden = append(hidden, r.ToneHz)
		}
		same := func(o measure.Result) bool { return o.TrackB == r.TrackB }
		if slices.ContainsFunc(a.points[r.ToneHz], same) {
			continue // the first stands
		}
		a.points[r.ToneHz] = append(a.points[r.ToneHz], r)
	}
	slices.Sort(hidden)
	slices.Reverse(hidden)
	a.tones = hidden[:min(len(hidden), acrossTones)]
	for _, hz := range a.tones {
		for _, r := range a.points[hz] {
			for _, t := range []int{a.base, r.TrackB} {
				if !slices.Contains(a.tracks, t) {
					a.tracks = append(a.tracks, t)
				}
			}
		}
		slices.SortFunc(a.points[hz], func(x, y measure.Result) int { return cmp.Compare(x.TrackB, y.TrackB) })
	}
	slices.Sort(a.tracks)
	a.placeTracks(centres)
	return a
}

func (a *across) placeTracks(centres []unit.Metre) {
	a.known = len(a.tracks) > 0
	for _, t := range a.tracks {
		if t < 1 || t > len(centres) || !drawable(float64(centres[t-1])*1e3, false) {
			a.known = false
		}
	}
	a.place = func(t int) float64 { return float64(t) }
	if a.known {
		a.place = func(t int) float64 { return float64(centres[t-1]) * 1e3 }
	}
}

func (a across) toneNames() []string {
	var out []string
	for _, hz := range a.tones {
		out = append(out, unit.Frequency(unit.Hertz(hz)))
	}
	return out
}

// sloping is the azimuth line as delay over place: through x, y with the slopes of the
// value and of its interval's ends, µs/mm.
type sloping struct{ x, y, slope, least, most float64 }

// fitted lays the measured angle through the middle of the highest tone's points; only
// the height is fitted here.
func (a across) fitted() (sloping, bool) {
	if a.line == nil || !a.known || len(a.tones) == 0 {
		return sloping{}, false
	}
	v := a.line.Conditions.SpeedCmS
	for _, r := range a.points[a.tones[0]] {
		if v == 0 {
			v = r.Conditions.SpeedCmS
		}
	}
	if !(v > 0) {
		return sloping{}, false
	}
	// µs per mm: tan α / (v cm/s · 10 mm/cm) · 1e6.
	per := func(arcmin float64) float64 { return math.Tan(arcmin/60*math.Pi/180) / (10 * v) * 1e6 }
	l := sloping{x: a.place(a.base), slope: per(a.line.Value)}
	l.least, l.most = per(finite(a.line.Lo, a.line.Value)), per(finite(a.line.Hi, a.line.Value))
	for _, r := range a.points[a.tones[0]] {
		l.x += a.place(r.TrackB)
		l.y += r.Value
	}
	n := float64(len(a.points[a.tones[0]]) + 1)
	l.x, l.y = l.x/n, l.y/n
	return l, drawable(l.slope, false) && drawable(l.least, false) && drawable(l.most, false)
}

func (a across) draw(s *sheet) {
	high := s.opt.Height
	if high == 0 {
		high = math.Max(240, math.Min(320, s.opt.Width*0.75))
	}
	line, sloped := a.fitted()
	p := a.panel(s.opt.Width, high, line, sloped)
	left := 26 + p.y.labelled(ink{}) + 10
	p.x.a, p.x.b = left, s.opt.Width-14
	p.y.b, p.y.a = s.y+32, s.y+32+high
	p.axes(&s.c)
	turnedName(&s.c, p.y.name, p)
	s.c.text((p.x.a+p.x.b)/2, p.y.a+37, "middle", clip(p.x.name, p.x.b-p.x.a, ink{}), ink{})
	s.y = p.y.a + 42
	if len(a.tracks) == 0 {
		s.c.message(p, "no delay was measured")
		return
	}
	if sloped {
		line.draw(&s.c, p)
		s.remarks = append(s.remarks, fmt.Sprintf("Line with its band: azimuth of all tracks, %s.", a.line.Figure()))
	}
	wide := box{p.x.a - 10, p.y.b - 28, p.x.b + 10, p.y.b}
	for _, t := range a.tracks {
		x := p.x.at(a.place(t))
		s.c.line(x, p.y.b-7, x, p.y.b, ink{})
		s.c.tryText(x, p.y.b-11, "middle", strconv.Itoa(t), ink{bold: true, size: 13}, wide)
	}
	s.c.text(8, p.y.b-13, "start", "track", smallInk)
	x, y := p.x.at(a.place(a.base)), p.y.at(0)
	s.c.rect(x-4, y-4, 8, 8, ink{fill: "none", stroke: pen, width: 1.6})
	s.c.segments([]float64{x - 7, y, x + 7, y, x, y - 7, x, y + 7}, ink{stroke: pen, width: 1.2})
	for i, hz := range a.tones {
		a.tone(&s.c, p, i, hz)
	}
	a.remark(s)
}

func (a across) remark(s *sheet) {
	s.remarks = append(s.remarks, fmt.Sprintf("Square with a cross: track %d, against which the others are measured. Bars are 95%s%% intervals.", a.base, unit.ThinSpace))
	if !a.known {
		s.remarks = append(s.remarks, "The places of the tracks on the head are not known: they are drawn evenly spaced, without the azimuth line.")
	}
	if n := len(a.points) - len(a.tones); n > 0 {
		s.remarks = append(s.remarks, "Lower tones are in the table only.")
	}
}

// tone draws one tone's points, a little beside those of the others.
func (a across) tone(c *canvas, p panel, i int, hz float64) {
	room := (p.x.b - p.x.a) / float64(len(a.tracks)) / float64(len(a.tones)+1)
	dx := (float64(i) - float64(len(a.tones)-1)/2) * math.Min(7, room)
	for _, r := range a.points[hz] {
		x, y := p.x.at(a.place(r.TrackB))+dx, p.y.at(r.Value)
		bar(c, x, p.y.at(finite(r.Hi, r.Value)), p.y.at(finite(r.Lo, r.Value)), barOf(i))
		spot(c, x, y, i)
	}
}

func (a across) panel(width, high float64, line sloping, sloped bool) panel {
	lo, hi, x0, x1 := 0.0, 0.0, math.Inf(1), math.Inf(-1)
	for _, t := range a.tracks {
		x0, x1 = math.Min(x0, a.place(t)), math.Max(x1, a.place(t))
	}
	vlo, vhi := 0.0, 0.0
	for _, hz := range a.tones {
		for _, r := range a.points[hz] {
			vlo, vhi = math.Min(vlo, r.Value), math.Max(vhi, r.Value)
			lo, hi = math.Min(lo, finite(r.Lo, r.Value)), math.Max(hi, finite(r.Hi, r.Value))
		}
	}
	room := 1.5*(vhi-vlo) + 0.1 // one wide bar must not flatten the rest
	lo, hi = math.Max(lo, vlo-room), math.Min(hi, vhi+room)
	if len(a.tracks) == 0 {
		lo, hi, x0, x1 = -10, 10, 1, 8
	}
	pad := math.Max(0.05*(x1-x0), 0.2)
	if sloped { // to the edges of the panel: a line that is cut shows another angle
		for _, x := range []float64{x0 - pad, x1 + pad} {
			y := line.y + line.slope*(x-line.x)
			lo, hi = math.Min(lo, y), math.Max(hi, y)
		}
	}
	of := measure.Axis{Label: "place across the tape", Unit: "mm"}
	if !a.known {
		of = measure.Axis{Label: "track"}
	}
	p := panel{x: newAxis(of, x0-pad, x1+pad, false, width/70)}
	p.y = newAxis(measure.Axis{Label: "delay", Unit: "µs"}, lo, hi, true, high/36)
	if !a.known { // tracks have no halves
		p.x.ticks = slices.DeleteFunc(p.x.ticks, func(t tick) bool { return t.v != math.Round(t.v) })
	}
	return p
}

// draw lays the line and the fan of its interval over the panel.
func (l sloping) draw(c *canvas, p panel) {
	// Each half of the fan is a triangle from the middle: its tips may lie off the panel.
	for _, x := range []float64{p.x.lo, p.x.hi} {
		if fan := p.within([]float64{l.x, l.y, x, l.at(x, l.least), x, l.at(x, l.most)}); len(fan) > 0 {
			c.polygon(fan, ink{class: "band", fill: pen, tint: 0.15})
		}
	}
	k := ink{class: "fit", width: 1}
	for _, slope := range []float64{l.slope, l.least, l.most} {
		if s := p.within([]float64{p.x.lo, l.at(p.x.lo, slope), p.x.hi, l.at(p.x.hi, slope)}); len(s) >= 4 {
			c.line(s[0], s[1], s[2], s[3], k)
		}
		k = ink{class: "fit", width: 0.6, opacity: 0.6}
	}
}

func (l sloping) at(x, slope float64) float64 { return l.y + slope*(x-l.x) }

// within cuts the closed outline x0, y0, x1, y1, … of values at the lower and upper edge
// of the panel, and gives what is left as places on the drawing.
func (p panel) within(outline []float64) []float64 {
	for _, side := range []float64{1, -1} {
		edge := p.y.lo
		if side < 0 {
			edge = p.y.hi
		}
		var kept []float64
		for i := 0; i < len(outline); i += 2 {
			j := (i + 2) % len(outline)
			x, y, u, v := outline[i], outline[i+1], outline[j], outline[j+1]
			if side*(y-edge) >= 0 {
				kept = append(kept, x, y)
			}
			if (y-edge)*(v-edge) < 0 {
				kept = append(kept, x+(u-x)*(edge-y)/(v-y), edge)
			}
		}
		outline = kept
	}
	for i := 0; i < len(outline); i += 2 {
		outline[i], outline[i+1] = p.x.at(outline[i]), p.y.at(outline[i+1])
	}
	return outline
}

func (a across) describe() string {
	if len(a.tracks) == 0 {
		return "No delay was measured."
	}
	var b strings.Builder
	fmt.Fprintf(&b, "Delay of each track against track %d. ", a.base)
	for _, r := range a.points[a.tones[0]] {
		fmt.Fprintf(&b, "Track %d: %s at %s. ", r.TrackB, r.Figure(), unit.Frequency(unit.Hertz(r.ToneHz)))
	}
	if a.line != nil {
		fmt.Fprintf(&b, "Azimuth of all tracks: %s. ", a.line.Figure())
	}
	b.WriteString("All figures are in the table below.")
	return b.String()
}

// table has the tracks as rows and all tones as columns, other pairs included.
func (a across) table(measures []measure.Result, opt Options) Table {
	t := Table{Caption: opt.Title + ", µs; positive: the second track is later; intervals are 95 %", Head: []string{"tracks"}}
	var of []measure.Result
	var pairs [][2]int
	var tones []float64
	for _, r := range measures {
		if r.Name == "azimuth_line" {
			t.Notes = append(t.Notes, "Azimuth of all tracks: "+r.Figure().String()+".")
		}
		if r.Name != "delay" {
			continue
		}
		of = append(of, r)
		if k := [2]int{r.Track, r.TrackB}; !slices.Contains(pairs, k) {
			pairs = append(pairs, k)
		}
		if !slices.ContainsFunc(tones, func(hz float64) bool { return cmp.Compare(hz, r.ToneHz) == 0 }) {
			tones = append(tones, r.ToneHz)
		}
	}
	slices.SortFunc(pairs, func(x, y [2]int) int { return cmp.Or(cmp.Compare(x[0], y[0]), cmp.Compare(x[1], y[1])) })
	slices.Sort(tones)
	for _, hz := range tones {
		t.Head = append(t.Head, unit.Frequency(unit.Hertz(hz)))
	}
	for _, k := range pairs {
		row := []string{fmt.Sprintf("%d and %d", k[0], k[1])}
		for _, hz := range tones {
			cell := none
			for _, r := range of {
				if cell == none && r.Track == k[0] && r.TrackB == k[1] && cmp.Compare(r.ToneHz, hz) == 0 {
					cell = r.Figure().String()
				}
			}
			row = append(row, cell)
		}
		t.Rows = append(t.Rows, row)
	}
	t.Notes = append(t.Notes, warningsOf(of)...)
	return t
}
