package plot

import (
	"html"
	"strconv"
	"strings"
)

// canvas writes one SVG element after another. Coordinates are in user units
// (one CSS pixel at natural size) and are written with one decimal, so that
// output depends on nothing but the input.
type canvas struct {
	b strings.Builder
}

// attrs is a flat list of name, value pairs: order is kept, which a map would not.
type attrs []string

// open starts the document. title and desc are what a screen reader says.
func (c *canvas) open(id, class string, w, h float64, title, desc string) {
	c.b.WriteString(`<svg xmlns="http://www.w3.org/2000/svg" role="img" class="` + html.EscapeString(class) + `"`)
	c.b.WriteString(` viewBox="0 0 ` + num(w) + ` ` + num(h) + `" width="` + num(w) + `" height="` + num(h) + `"`)
	c.b.WriteString(` aria-labelledby="` + html.EscapeString(id) + `-t ` + html.EscapeString(id) + `-d"`)
	c.b.WriteString(` font-family="system-ui, 'DejaVu Sans', sans-serif" font-size="13" fill="currentColor">`)
	c.b.WriteString(`<title id="` + html.EscapeString(id) + `-t">` + html.EscapeString(title) + `</title>`)
	c.b.WriteString(`<desc id="` + html.EscapeString(id) + `-d">` + html.EscapeString(desc) + "</desc>\n")
}

func (c *canvas) close() string {
	c.b.WriteString("</svg>")
	return c.b.String()
}

func (c *canvas) element(name string, a attrs, content string) {
	c.b.WriteString("<" + name)
	for i := 0; i+1 < len(a); i += 2 {
		if a[i+1] == "" {
			continue
		}
		c.b.WriteString(" " + a[i] + `="` + html.EscapeString(a[i+1]) + `"`)
	}
	if content == "" {
		c.b.WriteString("/>\n")
		return
	}
	c.b.WriteString(">" + html.EscapeString(content) + "</" + name + ">\n")
}

func (c *canvas) line(x1, y1, x2, y2 float64, a ...string) {
	c.element("line", append(attrs{"x1", num(x1), "y1", num(y1), "x2", num(x2), "y2", num(y2), "stroke", "currentColor"}, a...), "")
}

func (c *canvas) polyline(xs, ys []float64, a ...string) {
	var p strings.Builder
	for i := range xs {
		if i > 0 {
			p.WriteByte(' ')
		}
		p.WriteString(num(xs[i]) + "," + num(ys[i]))
	}
	c.element("polyline", append(attrs{"points", p.String(), "fill", "none"}, a...), "")
}

func (c *canvas) polygon(points []float64, a ...string) {
	var p strings.Builder
	for i := 0; i+1 < len(points); i += 2 {
		if i > 0 {
			p.WriteByte(' ')
		}
		p.WriteString(num(points[i]) + "," + num(points[i+1]))
	}
	c.element("polygon", append(attrs{"points", p.String()}, a...), "")
}

func (c *canvas) rect(x, y, w, h float64, a ...string) {
	c.element("rect", append(attrs{"x", num(x), "y", num(y), "width", num(w), "height", num(h)}, a...), "")
}

func (c *canvas) circle(x, y, r float64, a ...string) {
	c.element("circle", append(attrs{"cx", num(x), "cy", num(y), "r", num(r)}, a...), "")
}

// text writes s with its baseline at y; anchor is start, middle or end.
func (c *canvas) text(x, y float64, anchor, s string, a ...string) {
	c.element("text", append(attrs{"x", num(x), "y", num(y), "text-anchor", anchor}, a...), s)
}

func num(v float64) string {
	s := strconv.FormatFloat(v, 'f', 1, 64)
	s = strings.TrimSuffix(s, ".0")
	if s == "-0" {
		return "0"
	}
	return s
}
