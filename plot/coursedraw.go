package plot

import (
	"math"
	"slices"

	"headstack/measure"
)

// dotted is up to how many points a course shows each with its interval; more become
// a line with a band.
const dotted = 40

func (f family) fewPoints() bool {
	for _, fc := range f.facets {
		for _, c := range fc.courses {
			if len(c.Points) > dotted {
				return false
			}
		}
	}
	return true
}

// draw puts one course on a panel and returns the place of its last point; ok is false
// where no point has a place.
func (c course) draw(on *canvas, p panel) (x, y float64, ok bool) {
	k := lineOf(c.style)
	if p.small || len(c.Points) > 150 {
		k.width = 1.2
	}
	var run []measure.Point
	few := len(c.Points) <= dotted
	flush := func() {
		if len(run) > 0 {
			c.run(on, p, run, few, k)
			x, y, ok = p.x.at(run[len(run)-1].X), p.y.at(run[len(run)-1].Y), true
		}
		run = nil
	}
	for _, pt := range c.Points {
		if drawable(pt.X, p.x.log) && drawable(pt.Y, p.y.log) {
			run = append(run, pt)
		} else {
			flush() // a gap stays a gap
		}
	}
	flush()
	return x, y, ok
}

// run draws points that follow each other without a gap.
func (c course) run(on *canvas, p panel, run []measure.Point, few bool, k ink) {
	var line, upper, lower []float64
	interval := false
	for _, pt := range run {
		x := p.x.at(pt.X)
		lo, hi := pt.Y, pt.Y
		if pt.Lo < pt.Hi {
			interval = true
			lo, hi = math.Min(pt.Lo, pt.Y), math.Max(pt.Hi, pt.Y)
		}
		line = append(line, x, p.y.at(pt.Y))
		upper = append(upper, x, p.y.at(hi))
		lower = append(lower, x, p.y.at(lo))
	}
	if interval && !few {
		field := slices.Clone(upper)
		for i := len(lower) - 2; i >= 0; i -= 2 {
			field = append(field, lower[i], lower[i+1])
		}
		d := dotOf(c.style)
		d.tint = 0.18
		on.polygon(field, d)
		edge := ink{class: classOf(c.style), stroke: k.stroke, width: 0.6, opacity: 0.6}
		on.polyline(upper, edge)
		on.polyline(lower, edge)
	}
	if len(line) > 2 {
		on.polyline(line, k)
	}
	if few || len(line) == 2 {
		r := 2.6
		if p.small {
			r = 2
		}
		for i := 0; i < len(line); i += 2 {
			bar(on, line[i], upper[i+1], lower[i+1], barOf(c.style))
			on.circle(line[i], line[i+1], r, dotOf(c.style))
		}
	}
}
