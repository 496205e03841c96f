package plot

import (
	"html"
	"strconv"
	"strings"
)

// svg writes one element after another. Coordinates are written with one decimal,
// so that output depends on nothing but the input.
type svg struct {
	b strings.Builder
}

// attrs is a flat list of name, value pairs: order is kept, which a map would not.
type attrs []string

// open starts the document. Title and description are what a screen reader says.
func (s *svg) open(d Drawing) {
	id := html.EscapeString(d.id)
	s.b.WriteString(`<svg xmlns="http://www.w3.org/2000/svg" role="img" class="` + html.EscapeString(d.class) + `"`)
	s.b.WriteString(` viewBox="0 0 ` + num(d.w) + ` ` + num(d.h) + `" width="` + num(d.w) + `" height="` + num(d.h) + `"`)
	s.b.WriteString(` aria-labelledby="` + id + `-t ` + id + `-d"`)
	s.b.WriteString(` font-family="system-ui, 'DejaVu Sans', sans-serif" font-size="13" fill="currentColor">`)
	s.b.WriteString(`<title id="` + id + `-t">` + escape(d.title) + `</title>`)
	s.b.WriteString(`<desc id="` + id + `-d">` + escape(d.desc) + "</desc>\n")
}

func (s *svg) close() string {
	s.b.WriteString("</svg>")
	return s.b.String()
}

func (s *svg) element(name string, a attrs, content string) {
	s.b.WriteString("<" + name)
	for i := 0; i+1 < len(a); i += 2 {
		if a[i+1] == "" {
			continue
		}
		s.b.WriteString(" " + a[i] + `="` + escape(a[i+1]) + `"`)
	}
	if content == "" {
		s.b.WriteString("/>\n")
		return
	}
	s.b.WriteString(">" + escape(content) + "</" + name + ">\n")
}

// escape leaves out what XML cannot hold even escaped, besides escaping the rest: a
// file name in a title may hold anything.
func escape(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < 0x20 && r != '\t' && r != '\n' || r == 0xFFFE || r == 0xFFFF || r >= 0xD800 && r < 0xE000 {
			return '\uFFFD'
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	return html.EscapeString(s)
}

func (s *svg) line(x1, y1, x2, y2 float64, k ink) {
	s.element("line", append(attrs{"x1", num(x1), "y1", num(y1), "x2", num(x2), "y2", num(y2)}, k.strokeAttrs()...), "")
}

func (s *svg) polyline(points []float64, k ink) {
	s.element("polyline", append(attrs{"points", pairs(points), "fill", "none"}, k.strokeAttrs()...), "")
}

func (s *svg) polygon(points []float64, k ink) {
	s.element("polygon", append(attrs{"points", pairs(points)}, k.fieldAttrs()...), "")
}

func (s *svg) segments(points []float64, k ink) {
	var d strings.Builder
	for i := 0; i+3 < len(points); i += 4 {
		d.WriteString("M" + num(points[i]) + " " + num(points[i+1]) + "L" + num(points[i+2]) + " " + num(points[i+3]))
	}
	s.element("path", append(attrs{"d", d.String(), "fill", "none"}, k.strokeAttrs()...), "")
}

func (s *svg) rect(x, y, w, h float64, k ink) {
	s.element("rect", append(attrs{"x", num(x), "y", num(y), "width", num(w), "height", num(h)}, k.fieldAttrs()...), "")
}

func (s *svg) circle(x, y, r float64, k ink) {
	s.element("circle", append(attrs{"cx", num(x), "cy", num(y), "r", num(r)}, k.fieldAttrs()...), "")
}

func (s *svg) text(x, y float64, anchor, str string, k ink) {
	a := attrs{"x", num(x), "y", num(y), "text-anchor", anchor, "class", k.class}
	if k.fill != "" && k.fill != pen {
		a = append(a, "fill", k.fill)
	}
	if k.size != 0 {
		a = append(a, "font-size", num(k.size))
	}
	if k.bold {
		a = append(a, "font-weight", "700")
	}
	if k.turned {
		a = append(a, "transform", "rotate(-90 "+num(x)+" "+num(y)+")")
	}
	s.element("text", a, str)
}

func (k ink) strokeAttrs() attrs {
	a := attrs{"class", k.class, "stroke", k.stroke}
	if k.width != 0 && k.width != 1 {
		a = append(a, "stroke-width", num2(k.width))
	}
	if k.opacity != 0 {
		a = append(a, "stroke-opacity", num2(k.opacity))
	}
	return append(a, "stroke-dasharray", k.dash)
}

func (k ink) fieldAttrs() attrs {
	fill := k.fill
	if fill == "" {
		fill = "none"
	}
	a := attrs{"fill", fill}
	if k.tint != 0 {
		a = append(a, "fill-opacity", num2(k.tint))
	}
	if k.stroke == "" {
		return append(a, "class", k.class)
	}
	return append(a, k.strokeAttrs()...)
}

func pairs(points []float64) string {
	var b strings.Builder
	for i := 0; i+1 < len(points); i += 2 {
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(num(points[i]) + "," + num(points[i+1]))
	}
	return b.String()
}

func num(v float64) string {
	s := strconv.FormatFloat(v, 'f', 1, 64)
	s = strings.TrimSuffix(s, ".0")
	if s == "-0" {
		return "0"
	}
	return s
}

// num2 is for widths and opacities, of which a tenth is too coarse.
func num2(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
