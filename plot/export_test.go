package plot

import (
	"headstack/measure"
	"headstack/unit"
)

// Box is where a text stands.
type Box struct {
	X0, Y0, X1, Y1 float64
	Text           string
}

// TextBoxes are the fields of all texts of a drawing, with the widest fonts.
func TextBoxes(d Drawing) []Box {
	var out []Box
	for _, s := range d.shapes {
		if s.kind == aText {
			b := textBox(s.p[0], s.p[1], s.anchor, s.s, s.ink)
			out = append(out, Box{b.x0, b.y0, b.x1, b.y1, s.s})
		}
	}
	return out
}

// Missing are the letters of s that the raster's font has no glyph for.
func Missing(s string) string {
	var out []rune
	for _, r := range s {
		if _, blank := spaces[r]; blank {
			continue
		}
		if i, err := regular().GlyphIndex(nil, r); err != nil || i == 0 {
			out = append(out, r)
		}
	}
	return string(out)
}

// Dashed is dashed.
func Dashed(points []float64, pattern string) [][]float64 { return dashed(points, pattern) }

// Limits of a tolerance field at a frequency.
func Limits(bands []MaskBand, hz float64) (lo, hi float64, ok bool) { return valid(bands).limits(hz) }

// Ticks of an axis, with its ends.
func Ticks(of measure.Axis, lo, hi float64, outward bool, room float64) (values []float64, labels []string, from, to float64) {
	x := newAxis(of, lo, hi, outward, room)
	for _, t := range x.ticks {
		values, labels = append(values, t.v), append(labels, t.label)
	}
	return values, labels, x.lo, x.hi
}

// LineSlope is the slope of the azimuth line in µs/mm.
func LineSlope(measures []measure.Result, centres []unit.Metre) (float64, bool) {
	l, ok := acrossOf(measures, centres).fitted()
	return l.slope, ok
}

// ThreePercent is the 3 % line on an axis of the unit.
func ThreePercent(unitName string) (float64, bool) { return limitOf(measure.Axis{Unit: unitName}) }

// FlagSpans are the rows, names and lines of flags set between x0 and x1.
func FlagSpans(xs []float64, names []string, x0, x1 float64) (flags []FlagSpan, rows int) {
	var fs []flag
	for i := range xs {
		fs = append(fs, flag{x: xs[i], name: names[i]})
	}
	rows = setFlags(fs, x0, x1)
	for _, f := range fs {
		from, to := f.span(f.left)
		flags = append(flags, FlagSpan{f.x, from, to, f.row, f.key != ""})
	}
	return flags, rows
}

// FlagSpan is one flag's line and the span of its name.
type FlagSpan struct {
	X, From, To float64
	Row         int
	Letter      bool
}
