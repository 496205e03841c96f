package plot

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"headstack/measure"
)

// multiples draws one small panel for each facet, all with the same axes, whose labels
// stand at the left and at the foot of each column only.
func (s *sheet) multiples(f family) {
	s.facetKey(f)
	s.boundsRemark(f)
	columns := columnsOf(f, s.opt.Width)
	rows := (len(f.facets) + columns - 1) / columns
	const head, gapX = 19.0, 14.0
	high := 96.0
	if s.opt.Height > 0 {
		high = math.Max(60, (s.opt.Height-s.y)/float64(rows)-head)
	}
	x, y := f.axes((s.opt.Width-80)/float64(columns)*1.25, high, true)
	left := 26 + y.labelled(ink{size: 11}) + 8
	wide := (s.opt.Width-10-left)/float64(columns) - gapX
	letters := facetLetters(f)
	top := s.y
	for i, fc := range f.facets {
		col, row := i%columns, i/columns
		p := panel{x: x, y: y, small: true, noY: col > 0, noX: i+columns < len(f.facets)}
		p.x.a = left + float64(col)*(wide+gapX)
		p.x.b = p.x.a + wide
		p.y.b = top + float64(row)*(high+head) + head
		p.y.a = p.y.b + high
		name := fc.name
		if textWidth(name, facetInk) > wide {
			name = cmp.Or(fc.short, name)
		}
		s.c.text(p.x.a, p.y.b-5, "start", clip(name, wide, facetInk), facetInk)
		p.axes(&s.c)
		if f.under != nil {
			f.under(&s.c, p, f, fc)
		}
		for _, c := range fc.courses {
			c.draw(&s.c, p)
			s.smallMarks(c, p, letters)
		}
	}
	bottom := top + float64(rows)*(high+head)
	whole := panel{x: axis{a: left, b: s.opt.Width - 10}, y: axis{a: bottom, b: top + head}}
	turnedName(&s.c, y.name, whole)
	s.c.text((left+s.opt.Width-10)/2, bottom+34, "middle", clip(x.name, s.opt.Width-left-20, ink{}), ink{})
	s.y = bottom + 40
	if len(letters) > 0 {
		var parts []string
		for i, n := range letters {
			parts = append(parts, letterOf(i)+"\u00a0"+n)
		}
		s.remarks = append(s.remarks, "Named places: "+strings.Join(parts, " · ")+".")
	}
}

// columnsOf is how many panels stand beside each other: those of one track where it
// has several, one where few long courses are compared.
func columnsOf(f family, width float64) int {
	each := f.facets[0].of
	for _, fc := range f.facets {
		if fc.of != each {
			each = 0
		}
	}
	if each > 0 && (width-60)/float64(each) >= 90 {
		return each
	}
	if len(f.facets) <= 4 && !f.fewPoints() {
		return 1
	}
	columns := int(math.Min(4, math.Max(1, math.Floor((width-60)/145))))
	return min(columns, len(f.facets))
}

var facetInk = ink{size: 12, bold: true}

// facetKey explains the dashes where panels hold several courses, once for all.
func (s *sheet) facetKey(f family) {
	var styles []course
	several := false
	for _, fc := range f.facets {
		several = several || len(fc.courses) > 1
		for _, c := range fc.courses {
			for len(styles) <= c.style {
				styles = append(styles, course{})
			}
			styles[c.style] = c
		}
	}
	if several {
		var names []string
		for _, c := range styles {
			names = append(names, c.label)
		}
		s.y += key(&s.c, names, 8, s.y+2, s.opt.Width-16) + 2
	}
}

// facetLetters are the names of places in all panels, each once.
func facetLetters(f family) []string {
	var out []string
	for _, fc := range f.facets {
		for _, c := range fc.courses {
			for _, m := range c.Marks {
				if m.Label != "" && !slices.Contains(out, m.Label) && len(out) < flagsMost {
					out = append(out, m.Label)
				}
			}
		}
	}
	return out
}

// smallMarks sets a diamond at each named place and its letter where there is room.
func (s *sheet) smallMarks(c course, p panel, letters []string) {
	for _, m := range c.Marks {
		if !drawable(m.X, p.x.log) || !drawable(m.Y, p.y.log) {
			continue
		}
		s.smallMark(p, m, slices.Index(letters, m.Label))
	}
}

func (s *sheet) smallMark(p panel, m measure.Mark, letter int) {
	x, y := p.x.at(m.X), p.y.at(m.Y)
	s.c.polygon([]float64{x, y - 3, x + 3, y, x, y + 3, x - 3, y}, ink{class: "flag", fill: pen})
	if letter < 0 {
		return
	}
	k, within := ink{size: 11}, p.box()
	_ = s.c.tryText(x-6, y-7, "end", letterOf(letter), k, within) || s.c.tryText(x+6, y-7, "start", letterOf(letter), k, within) ||
		s.c.tryText(x-6, y+14, "end", letterOf(letter), k, within) || s.c.tryText(x+6, y+14, "start", letterOf(letter), k, within)
}
