package plot

import (
	"image/color"
	"math"
	"strconv"
	"strings"
)

// Plane is what a drawing can be drawn on by another package, as a page of paper is.
// Coordinates and widths are CSS pixels at the drawing's natural size, y downwards;
// points come as x, y, x, y. Colours are dark on white.
type Plane interface {
	// Stroke draws a line through the points, and back to the first where closed.
	Stroke(points []float64, closed bool, s Stroke)
	// Fill fills the polygon of the points. Its colour's A is the opacity.
	Fill(points []float64, c color.NRGBA)
	// Letter writes s with its baseline at y.
	Letter(x, y float64, s string, l Lettering)
}

// Stroke is how a line looks. Its colour's A is the opacity.
type Stroke struct {
	Width  float64
	Dash   []float64 // lengths of lines and gaps; none: solid
	Colour color.NRGBA
}

// Lettering is how a text looks.
type Lettering struct {
	Size   float64 // of the em
	Bold   bool
	Turned bool   // the text runs upwards
	Anchor string // start, middle or end lies at x (turned: at y)
	Colour color.NRGBA
}

// DrawOn draws the drawing on a plane, the same shapes in the same order as [Drawing.SVG].
func (d Drawing) DrawOn(p Plane) { d.on(onPlane{p}) }

// onPlane says to a plane what a drawing says to a surface.
type onPlane struct{ p Plane }

func (o onPlane) line(x1, y1, x2, y2 float64, k ink) {
	o.stroke([]float64{x1, y1, x2, y2}, false, k)
}

func (o onPlane) polyline(points []float64, k ink) { o.stroke(points, false, k) }

func (o onPlane) segments(points []float64, k ink) {
	for i := 0; i+3 < len(points); i += 4 {
		o.stroke(points[i:i+4], false, k)
	}
}

func (o onPlane) polygon(points []float64, k ink) {
	if k.fill != "" && k.fill != "none" && len(points) >= 6 {
		o.p.Fill(points, colourOf(k.fill, k.tint))
	}
	o.stroke(points, true, k)
}

func (o onPlane) rect(x, y, w, h float64, k ink) {
	o.polygon([]float64{x, y, x + w, y, x + w, y + h, x, y + h}, k)
}

func (o onPlane) circle(x, y, radius float64, k ink) {
	p := make([]float64, 0, 2*circleSides)
	for i := range circleSides {
		s, c := math.Sincos(2 * math.Pi * float64(i) / circleSides)
		p = append(p, x+radius*c, y-radius*s)
	}
	o.polygon(p, k)
}

func (o onPlane) stroke(points []float64, closed bool, k ink) {
	if k.stroke == "" || k.stroke == "none" || len(points) < 4 {
		return
	}
	s := Stroke{Width: k.lineWidth(), Colour: colourOf(k.stroke, k.opacity)}
	for _, f := range strings.Fields(k.dash) {
		if v, err := strconv.ParseFloat(f, 64); err == nil {
			s.Dash = append(s.Dash, v)
		}
	}
	o.p.Stroke(points, closed, s)
}

func (o onPlane) text(x, y float64, anchor, s string, k ink) {
	o.p.Letter(x, y, s, Lettering{Size: k.textSize(), Bold: k.bold, Turned: k.turned, Anchor: anchor, Colour: colourOf(k.fill, k.tint)})
}
