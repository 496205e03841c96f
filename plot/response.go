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

// Options say how a response plot is drawn. The zero value is a good plot.
type Options struct {
	ID     string  // prefix of the element ids, unique on a page; empty: "response"
	Title  string  // empty: "Response by track"
	Width  float64 // user units; 0: 760
	Height float64 // user units; 0: 400
	// FloorDB is the lowest level that the axis may reach down to (and, with its
	// sign turned, up to); what lies outside is marked at the edge with its value.
	// 0: −24. A dead track must not flatten the others.
	FloorDB float64
}

// dashes tell tracks apart without colour; their number and that of the colours
// (four) have no common divisor, so that twenty tracks differ in one or the other.
var dashes = []string{"", "9 4", "2 4", "12 4 2 4", "5 3"}

// trackColours are the Okabe-Ito colours with 3:1 against warm paper grey, after
// black: blue, vermilion, bluish green. A page's style sheet replaces them by
// night through the classes k0 to k3.
var trackColours = []string{"currentColor", "#0072B2", "#D55E00", "#009E73"}

// thirds are the preferred frequencies of ISO 266:1997 from 20 Hz to 20 kHz.
var thirds = []float64{20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800,
	1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000}

// curve is the points of one track, by rising frequency.
type curve struct {
	track  int
	points []measure.Result
}

// Response draws the results named "response" against frequency: one line per
// track, points with 95 % bars, 0 dB heavier. Results of other names, refused
// ones and those without a tone are left out; when none is left it draws the
// axes and says so.
func Response(measures []measure.Result, opt Options) template.HTML {
	opt = opt.withDefaults()
	curves := curvesOf(measures)
	f := newFrame(curves, opt)
	var c canvas
	c.open(opt.ID, "plot plot-response", opt.Width, opt.Height, opt.Title, describe(curves))
	f.axes(&c)
	if len(curves) == 0 {
		c.text((f.x0+f.x1)/2, (f.y0+f.y1)/2-8, "middle", "no response was measured")
	}
	ends := make([]float64, len(curves))
	for i, cv := range curves {
		ends[i] = f.curve(&c, cv, i, len(curves))
	}
	f.endLabels(&c, curves, ends)
	return template.HTML(c.close())
}

func (o Options) withDefaults() Options {
	if o.ID == "" {
		o.ID = "response"
	}
	if o.Title == "" {
		o.Title = "Response by track"
	}
	if o.Width == 0 {
		o.Width = 760
	}
	if o.Height == 0 {
		o.Height = 400
	}
	if o.FloorDB == 0 {
		o.FloorDB = -24
	}
	return o
}

func curvesOf(measures []measure.Result) []curve {
	var out []curve
	for _, r := range measures {
		if r.Name != "response" || r.Refused != "" || !(r.ToneHz > 0) || math.IsNaN(r.Value) {
			continue
		}
		i := slices.IndexFunc(out, func(c curve) bool { return c.track == r.Track })
		if i < 0 {
			i = len(out)
			out = append(out, curve{track: r.Track})
		}
		out[i].points = append(out[i].points, r)
	}
	slices.SortFunc(out, func(a, b curve) int { return a.track - b.track })
	for _, c := range out {
		slices.SortStableFunc(c.points, func(a, b measure.Result) int {
			switch {
			case a.ToneHz < b.ToneHz:
				return -1
			case a.ToneHz > b.ToneHz:
				return 1
			}
			return 0
		})
	}
	return out
}

// describe says in words what the picture shows, for those who do not see it;
// the figures themselves are in the table under the plot.
func describe(curves []curve) string {
	if len(curves) == 0 {
		return "No response was measured."
	}
	var b strings.Builder
	b.WriteString("Level against frequency, 0 dB is each track's own level at the reference tone. ")
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

// frame maps frequency and level onto the picture.
type frame struct {
	x0, x1, y0, y1 float64 // plot area; y0 is the top
	f0, f1         float64
	lo, hi, step   float64 // dB
	title          string
}

func newFrame(curves []curve, opt Options) frame {
	f := frame{x0: 56, x1: opt.Width - 44, y0: 30, y1: opt.Height - 44, f0: 40, f1: 16000, lo: -6, hi: 3, title: opt.Title}
	first := true
	for _, c := range curves {
		for _, p := range c.points {
			if first {
				f.f0, f.f1, first = p.ToneHz, p.ToneHz, false
			}
			f.f0, f.f1 = math.Min(f.f0, p.ToneHz), math.Max(f.f1, p.ToneHz)
			if p.Value < opt.FloorDB || p.Value > -opt.FloorDB {
				continue // drawn at the edge; it must not flatten the others
			}
			f.lo = math.Min(f.lo, math.Max(finite(p.Lo, p.Value), opt.FloorDB))
			f.hi = math.Max(f.hi, math.Min(finite(p.Hi, p.Value), -opt.FloorDB))
		}
	}
	f.f0, f.f1 = f.f0/1.12, f.f1*1.12
	if f.f1 < 4*f.f0 { // one tone alone: an axis still needs some width
		f.f0, f.f1 = f.f0/2, f.f1*2
	}
	f.step = tickStep(f.hi - f.lo)
	f.lo, f.hi = math.Floor(f.lo/f.step)*f.step, math.Ceil(f.hi/f.step)*f.step
	return f
}

func finite(v, otherwise float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return otherwise
	}
	return v
}

func tickStep(span float64) float64 {
	for _, s := range []float64{1, 2, 3, 5, 6, 10} {
		if span/s <= 9 {
			return s
		}
	}
	return 20
}

func (f frame) x(hz float64) float64 {
	return f.x0 + (f.x1-f.x0)*math.Log(hz/f.f0)/math.Log(f.f1/f.f0)
}

func (f frame) y(db float64) float64 {
	db = math.Min(math.Max(db, f.lo), f.hi)
	return f.y1 - (f.y1-f.y0)*(db-f.lo)/(f.hi-f.lo)
}

func (f frame) axes(c *canvas) {
	c.text(f.x0, 16, "start", f.title, "font-weight", "600")
	for db := f.lo; db <= f.hi+1e-9; db += f.step {
		y := f.y(db)
		if math.Abs(db) < 1e-9 {
			c.line(f.x0, y, f.x1, y, "class", "zero", "stroke-width", "2")
		} else {
			c.line(f.x0, y, f.x1, y, "class", "grid", "stroke-width", "0.6", "stroke-opacity", "0.35")
		}
		c.text(f.x0-8, y+4.5, "end", unit.Signed(db, 0))
	}
	c.text(14, (f.y0+f.y1)/2, "middle", "dB re reference tone", "transform",
		"rotate(-90 14 "+num((f.y0+f.y1)/2)+")")
	lastEnd := math.Inf(-1)
	for _, hz := range thirds {
		if hz < f.f0 || hz > f.f1 {
			continue
		}
		x := f.x(hz)
		c.line(x, f.y0, x, f.y1, "class", "grid", "stroke-width", "0.6", "stroke-opacity", "0.2")
		c.line(x, f.y1, x, f.y1+5)
		name := thirdName(hz)
		half := float64(len(name))*3.9 + 3
		if x-half > lastEnd {
			c.text(x, f.y1+19, "middle", name)
			lastEnd = x + half
		}
	}
	c.line(f.x0, f.y1, f.x1, f.y1)
	c.line(f.x0, f.y0, f.x0, f.y1)
	c.text((f.x0+f.x1)/2, f.y1+37, "middle", "frequency, Hz")
}

func thirdName(hz float64) string {
	if hz < 1000 {
		return strconv.FormatFloat(hz, 'g', 4, 64)
	}
	return strconv.FormatFloat(hz/1000, 'g', 4, 64) + "k"
}

// curve draws one track and returns the height at which it ends. Points of the
// tracks are set side by side at one tone, else their bars hide each other.
func (f frame) curve(c *canvas, cv curve, i, n int) float64 {
	dodge := (float64(i) - float64(n-1)/2) * math.Min(3, 24/float64(n))
	class := "track k" + strconv.Itoa(i%len(trackColours))
	colour := trackColours[i%len(trackColours)]
	xs, ys := make([]float64, len(cv.points)), make([]float64, len(cv.points))
	for j, p := range cv.points {
		xs[j], ys[j] = f.x(p.ToneHz)+dodge, f.y(p.Value)
	}
	if len(xs) > 1 {
		c.polyline(xs, ys, "class", class, "stroke", colour, "stroke-width", "1.6", "stroke-dasharray", dashes[i%len(dashes)])
	}
	for j, p := range cv.points {
		f.point(c, xs[j], p, class, colour)
	}
	return ys[len(ys)-1]
}

func (f frame) point(c *canvas, x float64, p measure.Result, class, colour string) {
	if p.Value < f.lo-1e-9 || p.Value > f.hi+1e-9 {
		f.offScale(c, x, p, class, colour)
		return
	}
	top, bottom := f.y(finite(p.Hi, p.Value)), f.y(finite(p.Lo, p.Value))
	if bottom-top > 1 {
		a := []string{"class", class, "stroke", colour, "stroke-width", "1.2"}
		c.line(x, top, x, bottom, a...)
		c.line(x-3, top, x+3, top, a...)
		c.line(x-3, bottom, x+3, bottom, a...)
	}
	c.circle(x, f.y(p.Value), 2.6, "class", class+" dot", "fill", colour)
}

// offScale marks a value outside the axis by an arrow at the edge and the value.
func (f frame) offScale(c *canvas, x float64, p measure.Result, class, colour string) {
	y, dir := f.y1-2, -1.0
	if p.Value > f.hi {
		y, dir = f.y0+2, 1.0
	}
	c.polygon([]float64{x, y, x - 5, y + 9*dir, x + 5, y + 9*dir}, "class", class+" dot", "fill", colour)
	c.text(x+7, y+9*dir+4, "start", unit.Signed(p.Value, 0), "font-size", "11")
}

// endLabels writes the track numbers at the right, spread so that none covers
// another, each with a line to the end of its curve.
func (f frame) endLabels(c *canvas, curves []curve, ends []float64) {
	order := make([]int, len(curves))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case ends[a] < ends[b]:
			return -1
		case ends[a] > ends[b]:
			return 1
		}
		return a - b
	})
	gap := math.Min(15, (f.y1-f.y0)/math.Max(1, float64(len(curves))))
	at := make([]float64, len(order))
	for j, i := range order {
		at[j] = ends[i]
		if j > 0 {
			at[j] = math.Max(at[j], at[j-1]+gap)
		}
	}
	for j := len(at) - 1; j >= 0; j-- {
		limit := f.y1 - float64(len(at)-1-j)*gap
		at[j] = math.Min(at[j], limit)
	}
	for j, i := range order {
		last := curves[i].points[len(curves[i].points)-1]
		class := "track k" + strconv.Itoa(i%len(trackColours))
		dodge := (float64(i) - float64(len(curves)-1)/2) * math.Min(3, 24/float64(len(curves)))
		c.line(f.x(last.ToneHz)+dodge+3, ends[i], f.x1+10, at[j], "class", class, "stroke", trackColours[i%len(trackColours)], "stroke-width", "0.8")
		c.text(f.x1+14, at[j]+5, "start", strconv.Itoa(curves[i].track), "font-weight", "700", "font-size", "14")
	}
}
