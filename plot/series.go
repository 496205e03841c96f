package plot

import (
	"cmp"
	"math"
	"slices"
	"strconv"
)

// dashes tell tracks apart without colour; their number and that of the colours
// (four) have no common divisor, so that twenty tracks differ in one or the other.
var dashes = []string{"", "9 4", "2 4", "12 4 2 4", "5 3"}

// trackColours are the Okabe-Ito colours with 3:1 against warm paper grey, after
// black: blue, vermilion, bluish green. A page's style sheet replaces them by
// night through the classes k0 to k3.
var trackColours = []string{pen, "#0072B2", "#D55E00", "#009E73"}

// lineOf, barOf and dotOf are the inks of the i-th curve of a picture.
func lineOf(i int) ink {
	return ink{class: classOf(i), stroke: trackColours[i%len(trackColours)], width: 1.6, dash: dashes[i%len(dashes)]}
}

func barOf(i int) ink {
	return ink{class: classOf(i), stroke: trackColours[i%len(trackColours)], width: 1.2}
}

func dotOf(i int) ink {
	return ink{class: classOf(i) + " dot", fill: trackColours[i%len(trackColours)]}
}

// spot marks a point of the i-th curve: circle, open circle, square, open square, told
// apart without colour.
func spot(c *canvas, x, y float64, i int) {
	d := dotOf(i)
	open := ink{class: classOf(i) + " open", fill: "none", stroke: trackColours[i%len(trackColours)], width: 1.6}
	switch i % 4 {
	case 0:
		c.circle(x, y, 3.2, d)
	case 1:
		c.circle(x, y, 3.6, open)
	case 2:
		c.rect(x-3, y-3, 6, 6, d)
	default:
		c.rect(x-3.2, y-3.2, 6.4, 6.4, open)
	}
}

func classOf(i int) string { return "track k" + strconv.Itoa(i%len(trackColours)) }

// ending is where a curve leaves off, to be named there.
type ending struct {
	x, y  float64
	label string
	curve int
}

// endHigh is the height one name needs.
const endHigh = 14.0

// endLabels writes names beside a panel, spread so that none covers another, each with
// a line to the end of its curve.
func endLabels(c *canvas, ends []ending, x, top, bottom float64) {
	order := slices.Clone(ends)
	slices.SortStableFunc(order, func(a, b ending) int { return cmp.Compare(a.y, b.y) })
	at := make([]float64, len(order))
	for i, e := range order {
		at[i] = e.y
	}
	gap, size := endHigh, 14.0
	if n := float64(len(order) - 1); n > 0 {
		gap = math.Min(gap, (bottom-top)/n)
		size = math.Min(size, gap)
	}
	at = spread(at, gap, top, bottom)
	for i, e := range order {
		k := lineOf(e.curve)
		k.width, k.dash = 0.8, ""
		c.line(e.x+3, e.y, x+9, at[i], k)
		c.text(x+13, at[i]+0.36*size, "start", e.label, ink{bold: true, size: size})
	}
}

// key explains dashes where the names are too long for the ends of the curves: a piece
// of line and the name, in rows of width w. It returns the height used.
func key(c *canvas, names []string, x, y, w float64) float64 {
	return keyOf(c, names, x, y, w, func(x, y, long float64, i int) { c.line(x, y, x+long, y, lineOf(i)) })
}

func keyOf(c *canvas, names []string, x, y, w float64, draw func(x, y, long float64, i int)) float64 {
	const sample, high = 34.0, 17.0
	k := ink{size: 12}
	at, row := x, 0
	for i, n := range names {
		n = clip(n, w-sample-8, k)
		need := sample + 6 + textWidth(n, k) + 16
		if at > x && at+need-16 > x+w {
			at, row = x, row+1
		}
		base := y + high*float64(row) + 12
		draw(at, base-4, sample, i)
		c.text(at+sample+6, base, "start", n, k)
		at += need
	}
	return high * float64(row+1)
}

// heading writes title and what 0 is above a picture and returns the height used.
func heading(c *canvas, title, sub string, x, w float64) float64 {
	y := 0.0
	for _, l := range wrap(title, w, titleInk) {
		y += 17
		c.text(x, y-1, "start", l, titleInk)
	}
	for i, l := range wrap(sub, w, smallInk) {
		if i == 3 {
			break
		}
		y += 15
		c.text(x, y, "start", l, smallInk)
	}
	return y
}

var (
	titleInk = ink{class: "title", bold: true}
	smallInk = ink{class: "small", size: 11.5}
)

// footLines are remarks below a picture.
func footLines(remarks []string, w float64) []string {
	var lines []string
	for _, r := range remarks {
		lines = append(lines, wrap(r, w, smallInk)...)
	}
	return lines
}

func foot(c *canvas, lines []string, x, y float64) {
	for i, l := range lines {
		c.text(x, y+footHigh*float64(i), "start", l, smallInk)
	}
}

const footHigh = 15.0

// turnedName writes the name of an upright axis along its left side.
func turnedName(c *canvas, name string, p panel) { turnedAt(c, name, p, 14) }

func turnedAt(c *canvas, name string, p panel, x float64) {
	b := p.box()
	k := ink{turned: true, size: 13}
	c.text(x, (b.y0+b.y1)/2, "middle", clip(name, b.y1-b.y0+20, k), k)
}

// bar is an upright interval with its ends marked.
func bar(c *canvas, x, top, bottom float64, k ink) {
	if bottom-top > 1 {
		c.segments([]float64{x, top, x, bottom, x - 3, top, x + 3, top, x - 3, bottom, x + 3, bottom}, k)
	}
}

func finite(v, otherwise float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return otherwise
	}
	return v
}
