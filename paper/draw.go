package paper

import (
	"image/color"

	"headstack/plot"

	"codeberg.org/go-pdf/fpdf"
)

// Draw draws a drawing with its upper left corner at x, y and a width of w mm; it gives the
// height that it takes.
func (d *Document) Draw(g plot.Drawing, x, y, w float64) (height float64) {
	width, high := g.Size()
	p := plane{d: d, x: x, y: y, scale: w / width}
	g.DrawOn(&p)
	d.opacity(color.NRGBA{A: 255})
	return high * p.scale
}

// plane is the part of a page that a drawing has.
type plane struct {
	d           *Document
	x, y, scale float64 // mm, mm, mm per CSS pixel
}

func (p *plane) points(c []float64) []fpdf.PointType {
	out := make([]fpdf.PointType, 0, len(c)/2)
	for i := 0; i+1 < len(c); i += 2 {
		out = append(out, fpdf.PointType{X: p.x + c[i]*p.scale, Y: p.y + c[i+1]*p.scale})
	}
	return out
}

// Stroke implements [plot.Plane].
func (p *plane) Stroke(c []float64, closed bool, s plot.Stroke) {
	pdf := p.d.pdf
	p.d.opacity(s.Colour)
	pdf.SetDrawColor(int(s.Colour.R), int(s.Colour.G), int(s.Colour.B))
	pdf.SetLineWidth(s.Width * p.scale)
	pdf.SetLineCapStyle("butt")
	pdf.SetLineJoinStyle("round")
	dash := make([]float64, len(s.Dash))
	for i, v := range s.Dash {
		dash[i] = v * p.scale
	}
	pdf.SetDashPattern(dash, 0)
	for i, q := range p.points(c) {
		if i == 0 {
			pdf.MoveTo(q.X, q.Y)
			continue
		}
		pdf.LineTo(q.X, q.Y)
	}
	if closed {
		pdf.ClosePath()
	}
	pdf.DrawPath("D")
}

// Fill implements [plot.Plane].
func (p *plane) Fill(c []float64, colour color.NRGBA) {
	p.d.opacity(colour)
	p.d.pdf.SetFillColor(int(colour.R), int(colour.G), int(colour.B))
	p.d.pdf.Polygon(p.points(c), "F")
}

// Letter implements [plot.Plane].
func (p *plane) Letter(x, y float64, s string, l plot.Lettering) {
	d, pdf := p.d, p.d.pdf
	s = d.letters(s)
	d.opacity(l.Colour)
	t := Type{Size: l.Size * p.scale / point, Bold: l.Bold}
	d.set(t)
	pdf.SetTextColor(int(l.Colour.R), int(l.Colour.G), int(l.Colour.B))
	w, at := pdf.GetStringWidth(s), 0.0
	switch l.Anchor {
	case "middle":
		at = -w / 2
	case "end":
		at = -w
	}
	px, py := p.x+x*p.scale, p.y+y*p.scale
	if !l.Turned {
		pdf.Text(px+at, py, s)
		return
	}
	pdf.TransformBegin()
	pdf.TransformRotate(90, px, py)
	pdf.Text(px+at, py, s)
	pdf.TransformEnd()
}
