package plot

import (
	"html/template"
	"math"
	"slices"
)

// Drawing is a finished picture. It is written as SVG for a page or a report by
// [Drawing.SVG], as PNG by [WritePNG], and its figures as rows of text by [TableOf].
type Drawing struct {
	id, class   string
	w, h        float64
	title, desc string
	shapes      []item
	table       Table
}

// Size is the natural size in CSS pixels. It can exceed the size asked for where
// the figures would not be readable in it.
func (d Drawing) Size() (width, height float64) { return d.w, d.h }

// Title is what the picture is called.
func (d Drawing) Title() string { return d.title }

// Describe says in words what the picture shows, for those who do not see it.
func (d Drawing) Describe() string { return d.desc }

// SVG is the picture as one element for a page.
func (d Drawing) SVG() template.HTML {
	var s svg
	s.open(d)
	d.on(&s)
	return template.HTML(s.close())
}

// surface is what a drawing can be written on: text of SVG or points of a raster.
// Coordinates are CSS pixels at natural size, y downwards; points come as x, y, x, y.
type surface interface {
	line(x1, y1, x2, y2 float64, k ink)
	polyline(points []float64, k ink)
	polygon(points []float64, k ink)
	segments(points []float64, k ink) // each four numbers are a line of their own
	rect(x, y, w, h float64, k ink)
	circle(x, y, r float64, k ink)
	text(x, y float64, anchor, s string, k ink)
}

// ink says how a shape is drawn. Its zero value draws a shape invisibly and text
// plainly.
type ink struct {
	class   string  // by which a page's style sheet may colour it
	stroke  string  // colour of the line; empty: none
	fill    string  // colour of the field, of text currentColor if empty
	width   float64 // of the line; 0: 1
	opacity float64 // of the line; 0: 1
	tint    float64 // opacity of the field; 0: 1
	dash    string  // lengths of lines and gaps, "9 4"; empty: solid
	size    float64 // of text; 0: 13
	bold    bool    // text
	turned  bool    // text runs upwards
}

// pen is the page's text colour: black on paper, light at night.
const pen = "currentColor"

type shapeKind int

const (
	aLine shapeKind = iota
	aPolyline
	aPolygon
	manySegments
	aRect
	aCircle
	aText
)

// item is one thing on the list that is played to a surface.
type item struct {
	kind   shapeKind
	p      []float64
	anchor string
	s      string
	ink    ink
}

// on plays the drawing to a surface.
func (d Drawing) on(to surface) {
	for _, s := range d.shapes {
		p := s.p
		switch s.kind {
		case aLine:
			to.line(p[0], p[1], p[2], p[3], s.ink)
		case aPolyline:
			to.polyline(p, s.ink)
		case aPolygon:
			to.polygon(p, s.ink)
		case manySegments:
			to.segments(p, s.ink)
		case aRect:
			to.rect(p[0], p[1], p[2], p[3], s.ink)
		case aCircle:
			to.circle(p[0], p[1], p[2], s.ink)
		case aText:
			to.text(p[0], p[1], s.anchor, s.s, s.ink)
		}
	}
}

// canvas collects shapes. It remembers where text stands, so that labels can keep
// off each other.
type canvas struct {
	wide   float64 // of the picture, for labels at its edge
	shapes []item
	taken  []box // by text
	marks  []box // by marks that text must keep off
}

func (c *canvas) add(kind shapeKind, k ink, p ...float64) {
	c.shapes = append(c.shapes, item{kind: kind, p: p, ink: k})
}

// line draws in the text colour unless the ink names another.
func (c *canvas) line(x1, y1, x2, y2 float64, k ink) {
	if k.stroke == "" {
		k.stroke = pen
	}
	c.add(aLine, k, x1, y1, x2, y2)
}

func (c *canvas) polyline(points []float64, k ink) { c.add(aPolyline, k, points...) }
func (c *canvas) polygon(points []float64, k ink)  { c.add(aPolygon, k, points...) }

func (c *canvas) segments(points []float64, k ink) {
	if len(points) >= 4 {
		c.add(manySegments, k, points...)
	}
}

func (c *canvas) rect(x, y, w, h float64, k ink) { c.add(aRect, k, x, y, w, h) }
func (c *canvas) circle(x, y, r float64, k ink)  { c.add(aCircle, k, x, y, r) }

// text writes s with its baseline at y; anchor is start, middle or end.
func (c *canvas) text(x, y float64, anchor, s string, k ink) {
	if s == "" {
		return
	}
	c.shapes = append(c.shapes, item{kind: aText, p: []float64{x, y}, anchor: anchor, s: s, ink: k})
	c.taken = append(c.taken, textBox(x, y, anchor, s, k))
}

// tryText writes s only where no text stands yet and within the given field.
func (c *canvas) tryText(x, y float64, anchor, s string, k ink, within box) bool {
	b := textBox(x, y, anchor, s, k)
	if !within.holds(b) || !c.free(b) {
		return false
	}
	c.text(x, y, anchor, s, k)
	return true
}

func (c *canvas) free(b box) bool {
	meets := func(t box) bool { return t.meets(b) }
	return !slices.ContainsFunc(c.taken, meets) && !slices.ContainsFunc(c.marks, meets)
}

// box is an upright rectangle.
type box struct{ x0, y0, x1, y1 float64 }

func (b box) meets(o box) bool { return b.x0 < o.x1 && o.x0 < b.x1 && b.y0 < o.y1 && o.y0 < b.y1 }
func (b box) holds(o box) bool { return o.x0 >= b.x0 && o.x1 <= b.x1 && o.y0 >= b.y0 && o.y1 <= b.y1 }

// textBox is the field a text covers: from the height of its capitals to below its
// descenders, and as wide as the wider fonts in use make it.
func textBox(x, y float64, anchor, s string, k ink) box {
	w, up, down := textWidth(s, k), 0.76*k.textSize(), 0.2*k.textSize()
	left := 0.0
	switch anchor {
	case "middle":
		left = w / 2
	case "end":
		left = w
	}
	if k.turned {
		return box{x - up, y - w + left, x + down, y + left}
	}
	return box{x - left, y - up, x - left + w, y + down}
}

func (k ink) textSize() float64 {
	if k.size == 0 {
		return 13
	}
	return k.size
}

func (k ink) lineWidth() float64 {
	if k.width == 0 {
		return 1
	}
	return k.width
}

// message says in the middle of a panel why there is nothing in it.
func (c *canvas) message(p panel, s string) {
	b := p.box()
	lines := wrap(s, b.x1-b.x0-10, ink{})
	for i, l := range lines {
		c.text((b.x0+b.x1)/2, (b.y0+b.y1)/2-8+16*(float64(i)-float64(len(lines)-1)/2), "middle", l, ink{})
	}
}

// finish makes a drawing of what was collected.
func (c *canvas) finish(d Drawing) Drawing {
	d.shapes = c.shapes
	return d
}

// hatch fills a rectangle with lines rising to the right, pitch apart along x. The
// lines are cut at the edges here, so that no clipping is asked of a surface; those
// of neighbouring rectangles join.
func hatch(b box, pitch float64) []float64 {
	var p []float64
	if !(b.x1 > b.x0) || !(b.y1 > b.y0) {
		return nil
	}
	// A line is x + y = k.
	for k := math.Ceil((b.x0+b.y0)/pitch) * pitch; k < b.x1+b.y1; k += pitch {
		xa, xb := math.Max(b.x0, k-b.y1), math.Min(b.x1, k-b.y0)
		if xb-xa > 0.3 {
			p = append(p, xa, k-xa, xb, k-xb)
		}
	}
	return p
}
