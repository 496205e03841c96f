package plot

import (
	"math"
	"strconv"
	"strings"

	"golang.org/x/image/vector"
)

// outline is a set of closed contours in CSS pixels, with the rectangle they lie in.
type outline struct {
	ops            []segment
	x0, y0, x1, y1 float64
}

type segment struct {
	kind byte // 'm', 'l', 'q', 'c'
	p    [6]float64
}

func (o *outline) add(kind byte, p ...float64) {
	s := segment{kind: kind}
	copy(s.p[:], p)
	for i := 0; i+1 < len(p); i += 2 {
		if len(o.ops) == 0 && i == 0 {
			o.x0, o.y0, o.x1, o.y1 = p[0], p[1], p[0], p[1]
		}
		o.x0, o.x1 = math.Min(o.x0, p[i]), math.Max(o.x1, p[i])
		o.y0, o.y1 = math.Min(o.y0, p[i+1]), math.Max(o.y1, p[i+1])
	}
	o.ops = append(o.ops, s)
}

func (o *outline) move(x, y float64)                   { o.add('m', x, y) }
func (o *outline) to(x, y float64)                     { o.add('l', x, y) }
func (o *outline) quad(ax, ay, x, y float64)           { o.add('q', ax, ay, x, y) }
func (o *outline) cube(ax, ay, bx, by, cx, cy float64) { o.add('c', ax, ay, bx, by, cx, cy) }

// replay gives the contours to a rasteriser whose corner lies at dx, dy pixels.
func (o *outline) replay(z *vector.Rasterizer, scale, dx, dy float64) {
	open := false
	for _, s := range o.ops {
		var p [6]float32
		for i := range p {
			off := dx
			if i%2 == 1 {
				off = dy
			}
			p[i] = float32(s.p[i]*scale - off)
		}
		switch s.kind {
		case 'm':
			if open {
				z.ClosePath()
			}
			z.MoveTo(p[0], p[1])
			open = true
		case 'l':
			z.LineTo(p[0], p[1])
		case 'q':
			z.QuadTo(p[0], p[1], p[2], p[3])
		case 'c':
			z.CubeTo(p[0], p[1], p[2], p[3], p[4], p[5])
		}
	}
	if open {
		z.ClosePath()
	}
}

// thicken adds a line of the given width: a rectangle for each part and a round joint
// at each bend. All go round the same way, so that where they overlap they add up and
// never cancel.
func (o *outline) thicken(points []float64, width float64) {
	half := width / 2
	for i := 0; i+3 < len(points); i += 2 {
		x0, y0, x1, y1 := points[i], points[i+1], points[i+2], points[i+3]
		d := math.Hypot(x1-x0, y1-y0)
		if d == 0 {
			continue
		}
		nx, ny := -(y1-y0)/d*half, (x1-x0)/d*half
		o.move(x0+nx, y0+ny)
		o.to(x1+nx, y1+ny)
		o.to(x1-nx, y1-ny)
		o.to(x0-nx, y0-ny)
		if i > 0 && width > 0.7 {
			o.joint(x0, y0, half)
		}
	}
}

func (o *outline) joint(x, y, r float64) {
	const sides = 8
	for i := range sides {
		s, c := math.Sincos(-2 * math.Pi * float64(i) / sides)
		if i == 0 {
			o.move(x+r*c, y+r*s)
		} else {
			o.to(x+r*c, y+r*s)
		}
	}
}

// dashed cuts a line into the parts that are drawn.
func dashed(points []float64, pattern string) [][]float64 {
	lengths := dashLengths(pattern)
	if lengths == nil {
		return [][]float64{points}
	}
	const least = 1e-9 // what rounding leaves of a dash is none
	var out [][]float64
	n, left, on := 0, lengths[0], true
	part := []float64{points[0], points[1]}
	for i := 0; i+3 < len(points); i += 2 {
		x, y, x1, y1 := points[i], points[i+1], points[i+2], points[i+3]
		for d := math.Hypot(x1-x, y1-y); d > least; {
			step := math.Min(d, left)
			x, y = x+(x1-x)*step/d, y+(y1-y)*step/d
			d, left = d-step, left-step
			if on {
				part = append(part, x, y)
			}
			if left > least {
				break
			}
			if on {
				out = append(out, part)
			}
			n, on = (n+1)%len(lengths), !on
			left = lengths[n]
			part = []float64{x, y}
		}
	}
	if on && len(part) >= 4 {
		out = append(out, part)
	}
	return out
}

// dashLengths reads "9 4"; nil is a solid line, as is anything without length.
func dashLengths(pattern string) []float64 {
	var out []float64
	total := 0.0
	for _, f := range strings.Fields(pattern) {
		v, err := strconv.ParseFloat(f, 64)
		if err != nil || !(v > 0) {
			return nil
		}
		out, total = append(out, v), total+v
	}
	if total == 0 {
		return nil
	}
	if len(out)%2 == 1 { // as SVG has it: an odd list is gone through twice
		out = append(out, out...)
	}
	return out
}
