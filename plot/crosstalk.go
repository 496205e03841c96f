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

// matrix is the crosstalk at one tone.
type matrix struct {
	hz    float64
	cells map[[2]int]measure.Result // disturbing, disturbed
}

// crossClass is a step of crosstalk: its tint and how many strokes stand for it.
type crossClass struct {
	below   float64 // dB; up to here
	tint    float64
	strokes int
	words   string
}

// crossClasses divide what is met. Bounds of 60 and 45 dB are those DIN 45500 part 4
// asks between unrelated tracks, 20 dB between the two of a stereo pair; 80 dB is ours.
var crossClasses = []crossClass{
	{-80, 0, 0, "under −80"},
	{-60, 0.06, 1, "−80 to −60"},
	{-45, 0.13, 2, "−60 to −45"},
	{-20, 0.22, 3, "−45 to −20"},
	{math.Inf(1), 0.34, 4, "over −20"},
}

func classOfCrosstalk(db float64) crossClass {
	for _, c := range crossClasses {
		if db < c.below {
			return c
		}
	}
	return crossClasses[len(crossClasses)-1]
}

// Crosstalk draws the results named "crosstalk" as a matrix: the disturbing track
// (Track) a row, the disturbed one (TrackB) a column, one matrix for each tone. A cell
// holds the level in whole decibels; tint and strokes grow with it, so that it is read
// in black and white too. A refused cell holds the letter of its reason, which stands
// below; an empty one was not asked for; the diagonal is crossed out. Where the tracks
// are many the picture is wider than asked, for a number has to be read.
func Crosstalk(measures []measure.Result, opt Options) Drawing {
	opt = opt.withDefaults("crosstalk", "Crosstalk")
	tracks, ms, reasons := matricesOf(measures)
	l := layCrosstalk(opt.Width, len(tracks), len(ms))
	var c canvas
	w := math.Max(opt.Width, l.wide)
	y := heading(&c, opt.Title+", dB", referenceOf(measures, "crosstalk"), 8, w-16) + 8
	if len(ms) == 0 {
		c.text(w/2, y+34, "middle", "no crosstalk was measured", ink{})
		y += 60
	}
	for i, m := range ms {
		x := 8 + float64(i%l.columns)*l.each
		c.matrix(m, tracks, reasons, x, y, l.cell)
		if i%l.columns == l.columns-1 || i == len(ms)-1 {
			y += l.high
		}
	}
	if len(ms) > 0 {
		y += c.crossKey(8, y, w-16)
	}
	var remarks []string
	for i, r := range reasons {
		also := ""
		if severalFigures(ms, r) {
			also = " (the figure of each is in the table)"
		}
		remarks = append(remarks, "("+letterOf(i)+") not measured: "+r+also)
	}
	lines := footLines(remarks, w-16)
	foot(&c, lines, 8, y+14)
	y += footHigh*float64(len(lines)) + 8
	return c.finish(Drawing{id: opt.ID, class: "plot plot-crosstalk", w: w, h: math.Ceil(y), title: opt.Title,
		desc: describeCrosstalk(ms), table: crosstalkTable(measures, tracks, ms, opt)})
}

// matricesOf sorts the results by tone. Of several for one cell the first stands.
func matricesOf(measures []measure.Result) (tracks []int, ms []matrix, reasons []string) {
	for _, r := range measures {
		if r.Name != "crosstalk" {
			continue
		}
		for _, t := range []int{r.Track, r.TrackB} {
			if !slices.Contains(tracks, t) {
				tracks = append(tracks, t)
			}
		}
		i := slices.IndexFunc(ms, func(m matrix) bool { return cmp.Compare(m.hz, r.ToneHz) == 0 })
		if i < 0 {
			i = len(ms)
			ms = append(ms, matrix{r.ToneHz, map[[2]int]measure.Result{}})
		}
		at := [2]int{r.Track, r.TrackB}
		if _, taken := ms[i].cells[at]; taken {
			continue
		}
		if r.Refused == "" && !drawable(r.Value, false) {
			r.Refused = "no finite value"
		}
		ms[i].cells[at] = r
		if r.Refused != "" && reasonIndex(reasons, r.Refused) < 0 {
			reasons = append(reasons, r.Refused)
		}
	}
	slices.Sort(tracks)
	slices.SortFunc(ms, func(a, b matrix) int { return cmp.Compare(a.hz, b.hz) })
	return tracks, ms, reasons
}

// reasonIndex finds a reason that differs in its figures at most.
func reasonIndex(reasons []string, why string) int {
	return slices.IndexFunc(reasons, func(o string) bool { return shapeOf(o) == shapeOf(why) })
}

// severalFigures says whether the same reason stands elsewhere with other figures.
func severalFigures(ms []matrix, why string) bool {
	for _, m := range ms {
		for _, r := range m.cells {
			if r.Refused != "" && r.Refused != why && shapeOf(r.Refused) == shapeOf(why) {
				return true
			}
		}
	}
	return false
}

// crossLayout sets matrices beside each other as far as the width goes.
type crossLayout struct {
	cell, each, high, wide float64
	columns                int
}

const (
	crossLeast = 27.0 // a sign and two figures
	crossMost  = 44.0
	crossLeft  = 44.0 // numbers and name of the rows
	crossHead  = 46.0 // tone, name and numbers of the columns
)

func layCrosstalk(width float64, tracks, tones int) crossLayout {
	n := float64(max(tracks, 1))
	columns := 1
	for columns < tones && (width-16)/float64(columns+1)-crossLeft-14 >= crossLeast*n {
		columns++
	}
	l := crossLayout{columns: columns}
	l.cell = math.Floor(math.Min(crossMost, math.Max(crossLeast, ((width-16)/float64(columns)-crossLeft-14)/n)))
	l.each = crossLeft + l.cell*n + 14
	l.wide = 16 + l.each*float64(columns) - 12
	l.high = crossHead + crossCellHigh(l.cell)*n + 18
	return l
}

func crossCellHigh(cell float64) float64 { return math.Min(28, math.Max(25, cell*0.8)) }

// matrix draws one tone's matrix with its corner at x, y.
func (c *canvas) matrix(m matrix, tracks []int, reasons []string, x, y, cell float64) {
	h := crossCellHigh(cell)
	x0, y0 := x+crossLeft, y+crossHead
	n := float64(len(tracks))
	c.text(x, y+13, "start", clip(unit.Frequency(unit.Hertz(m.hz)), n*cell+crossLeft, titleInk), titleInk)
	c.text(x0+n*cell/2, y+27, "middle", clip("disturbed track", n*cell+crossLeft, smallInk), smallInk)
	turned := smallInk
	turned.turned = true
	c.text(x+11, y0+n*h/2, "middle", clip("disturbing track", math.Max(n*h+30, 60), turned), turned)
	var cross []float64
	for i, a := range tracks {
		cx, cy := x0+float64(i)*cell, y0+float64(i)*h
		number := ink{bold: true, size: 12}
		c.text(cx+cell/2, y0-5, "middle", strconv.Itoa(a), number)
		c.text(x0-6, cy+h/2+4, "end", strconv.Itoa(a), number)
		cross = append(cross, cx, cy, cx+cell, cy+h, cx, cy+h, cx+cell, cy)
		for j, b := range tracks {
			if r, ok := m.cells[[2]int{a, b}]; ok && a != b {
				c.crossCell(r, reasons, x0+float64(j)*cell, cy, cell, h)
			}
		}
	}
	c.segments(cross, ink{class: "grid", stroke: pen, width: 0.8, opacity: 0.6})
	var grid []float64
	for i := range len(tracks) + 1 {
		at := float64(i)
		grid = append(grid, x0, y0+at*h, x0+n*cell, y0+at*h, x0+at*cell, y0, x0+at*cell, y0+n*h)
	}
	c.segments(grid, ink{class: "grid", stroke: pen, width: 0.6, opacity: 0.5})
}

// crossCell writes one figure; strokes stand in the strip below it.
func (c *canvas) crossCell(r measure.Result, reasons []string, x, y, w, h float64) {
	if r.Refused != "" {
		c.text(x+w/2, y+h/2+4, "middle", "("+letterOf(reasonIndex(reasons, r.Refused))+")", ink{size: 11})
		return
	}
	cl := classOfCrosstalk(r.Value)
	c.crossField(cl, x, y, w, h)
	s := unit.Signed(r.Value, 0)
	k := ink{size: 12, bold: cl.strokes >= 3}
	k.size = math.Min(12, 12*(w-2)/math.Max(1, textWidth(s, k)))
	c.text(x+w/2, y+13, "middle", s, k)
}

func (c *canvas) crossField(cl crossClass, x, y, w, h float64) {
	if cl.tint > 0 {
		c.rect(x, y, w, h, ink{class: "tint", fill: pen, tint: cl.tint})
	}
	// A quarter of the strip's width for each step.
	strip := box{x + 2, y + h - 8, x + 2 + (w-4)*float64(cl.strokes)/4, y + h - 2}
	c.segments(hatch(strip, 3.5), ink{class: "hatch", stroke: pen, width: 1})
}

// crossKey explains tints and strokes.
func (c *canvas) crossKey(x, y, w float64) float64 {
	const cell, high = 34.0, 26.0
	at, row := x, 0.0
	for _, cl := range crossClasses {
		need := cell + 6 + textWidth(cl.words, smallInk) + 16
		if at > x && at+need-16 > x+w {
			at, row = x, row+1
		}
		top := y + row*(high+6)
		c.crossField(cl, at, top, cell, high-4)
		c.rect(at, top, cell, high-4, ink{class: "grid", stroke: pen, width: 0.6, opacity: 0.5})
		c.text(at+cell+6, top+15, "start", cl.words, smallInk)
		at += need
	}
	return (row + 1) * (high + 6)
}

// referenceOf says what 0 dB is, by the first result that does where they differ.
func referenceOf(measures []measure.Result, name string) string {
	var first *measure.Result
	for i, r := range measures {
		if r.Name != name || r.Reference == "" {
			continue
		}
		if first == nil {
			first = &measures[i]
		}
		if r.Reference != first.Reference {
			return fmt.Sprintf("0 is, for %d into %d: %s; likewise for the others", first.Track, first.TrackB, first.Reference)
		}
	}
	if first == nil {
		return ""
	}
	return "0 is: " + first.Reference
}

func describeCrosstalk(ms []matrix) string {
	if len(ms) == 0 {
		return "No crosstalk was measured."
	}
	var b strings.Builder
	for _, m := range ms {
		var worst *measure.Result
		given, refused := 0, 0
		for _, at := range m.places() {
			r := m.cells[at]
			if r.Refused != "" {
				refused++
				continue
			}
			given++
			if worst == nil || r.Value > worst.Value {
				worst = &r
			}
		}
		fmt.Fprintf(&b, "At %s: %d figures, %d refused", unit.Frequency(unit.Hertz(m.hz)), given, refused)
		if worst != nil {
			fmt.Fprintf(&b, "; most crosstalk from track %d into track %d, %s", worst.Track, worst.TrackB, worst.Figure())
		}
		b.WriteString(". ")
	}
	b.WriteString("All figures are in the table below.")
	return b.String()
}

// places are the cells in reading order: a map's own order is none.
func (m matrix) places() [][2]int {
	var out [][2]int
	for at := range m.cells {
		out = append(out, at)
	}
	slices.SortFunc(out, func(a, b [2]int) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	return out
}

// crosstalkTable has pairs as rows and tones as columns.
func crosstalkTable(measures []measure.Result, tracks []int, ms []matrix, opt Options) Table {
	t := Table{Caption: opt.Title + ", dB; intervals are 95 %", Head: []string{"tracks"}}
	if r := referenceOf(measures, "crosstalk"); r != "" {
		t.Caption += "; " + r
	}
	for _, m := range ms {
		t.Head = append(t.Head, unit.Frequency(unit.Hertz(m.hz)))
	}
	for _, a := range tracks {
		for _, b := range tracks {
			row, any := []string{fmt.Sprintf("%d into %d", a, b)}, false
			for _, m := range ms {
				r, ok := m.cells[[2]int{a, b}]
				any = any || ok
				if !ok {
					row = append(row, none)
					continue
				}
				row = append(row, r.Figure().String())
			}
			if any {
				t.Rows = append(t.Rows, row)
			}
		}
	}
	var of []measure.Result
	for _, r := range measures {
		if r.Name == "crosstalk" {
			of = append(of, r)
		}
	}
	t.Notes = warningsOf(of)
	return t
}
