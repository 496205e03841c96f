package handout

import (
	"fmt"
	"time"

	"headstack/paper"
)

// Label is what stands on one label.
type Label struct {
	Mark  string   // large, what two ends are matched by: "F3", "W5"
	Title string   // beside it
	Lines []string // below
	Foot  string   // small: job and date
}

// Printed is a document of labels.
type Printed struct {
	PDF    []byte
	Sheets int
	// Cut are the marks or titles of labels on which not everything fits even in the
	// smallest letters; what was left out ends with "…".
	Cut []string
}

// NoLabelsError says that there is nothing to print labels of.
type NoLabelsError struct{ What string }

func (e *NoLabelsError) Error() string { return "no label to print: " + e.What }

// Labels prints labels on sheets, beginning with label from of the first sheet, counted from
// 1 along the rows, so that a sheet of which some are gone can be used up. Outline draws the
// edges of the labels, for a trial on plain paper. when dates the file.
func Labels(labels []Label, g Geometry, from int, outline bool, when time.Time) (Printed, error) {
	if err := g.Check(); err != nil {
		return Printed{}, err
	}
	if from == 0 {
		from = 1
	}
	if from < 1 || from > g.PerSheet() {
		return Printed{}, fmt.Errorf("label %d to begin with: the sheet has %d", from, g.PerSheet())
	}
	for i := range g.PerSheet() {
		if r := g.room(i); r.w < leastLabelW/2 || r.h < leastLabelH/2 {
			return Printed{}, fmt.Errorf("label %d of the sheet lies in its unprintable edge of %g mm", i+1, paper.Margin)
		}
	}
	d := paper.New(g.Paper, paper.Info{Title: "Labels", When: when})
	p := printer{d: d}
	var out Printed
	for i := range labels {
		at := (from - 1 + i) % g.PerSheet()
		if i == 0 || at == 0 {
			d.Page()
			out.Sheets++
			sheetRuler(d)
			if outline || g.Cut {
				g.outlines(d, outline)
			}
		}
		p.label(labels[i], g.room(at))
	}
	out.Cut = p.cut
	var err error
	out.PDF, err = d.Bytes()
	return out, err
}

// sheetRuler draws the ruler in the strip at the foot.
func sheetRuler(d *paper.Document) {
	x, y := paper.Margin+1, d.Size.H-paper.Margin-0.2
	d.Line(x, y, x+paper.RulerLength, y, 0.2)
	for i := range 11 {
		h := 1.2
		if i%5 == 0 {
			h = 2.4
		}
		at := x + float64(i)*paper.RulerLength/10
		d.Line(at, y, at, y-h, 0.2)
	}
	s, _ := d.Fit("100 mm: measure it; else print again at 100 %, not fitted to the page", d.Size.W-paper.Margin-x-paper.RulerLength-2, paper.Type{Size: 5})
	d.Text(x+paper.RulerLength+1.5, y-0.3, "start", s, paper.Type{Size: 5})
}

// outlines draws the edges of all labels: lines to cut along, or to hold against a sheet.
// An edge in the unprintable part of the sheet is left out.
func (g Geometry) outlines(d *paper.Document, trial bool) {
	dash := []float64{1, 1}
	if trial && !g.Cut {
		dash = nil
	}
	inX := func(x float64) bool { return x >= paper.Margin-0.01 && x <= g.Paper.W-paper.Margin+0.01 }
	inY := func(y float64) bool { return y >= paper.Margin-0.01 && y <= g.Paper.H-paper.Margin-rulerHeight+0.01 }
	clip := func(v, hi float64) float64 { return min(max(v, paper.Margin), hi) }
	drawn := map[[4]float64]bool{} // neighbours share an edge
	line := func(x0, y0, x1, y1 float64) {
		if k := [4]float64{x0, y0, x1, y1}; !drawn[k] {
			drawn[k] = true
			d.Line(x0, y0, x1, y1, 0.1, dash...)
		}
	}
	right, low := g.Paper.W-paper.Margin, g.Paper.H-paper.Margin-rulerHeight
	for i := range g.PerSheet() {
		b := g.label(i)
		x0, x1, y0, y1 := clip(b.x, right), clip(b.x+b.w, right), clip(b.y, low), clip(b.y+b.h, low)
		for _, y := range []float64{b.y, b.y + b.h} {
			if inY(y) {
				line(x0, y, x1, y)
			}
		}
		for _, x := range []float64{b.x, b.x + b.w} {
			if inX(x) {
				line(x, y0, x, y1)
			}
		}
	}
}

// printer sets labels and remembers what did not fit.
type printer struct {
	d   *paper.Document
	cut []string
}

// The letters of a label, points: as large as fits, not smaller than can be read at arm's
// length by a lamp (5.5 pt; common practice, no source).
const (
	largest, smallest = 11.0, 5.5
	mostMark          = 26.0
)

// label sets a label into its room, in the largest letters in which all fits.
func (p *printer) label(l Label, r box) {
	for size := largest; ; size -= 0.5 {
		last := size <= smallest
		if p.set(l, r, size, false) {
			p.set(l, r, size, true)
			return
		}
		if last {
			p.set(l, r, smallest, true)
			name := l.Mark
			if name == "" {
				name = l.Title
			}
			p.cut = append(p.cut, name)
			return
		}
	}
}

// set sets a label in letters of one size, or only tries; it says whether all fits.
func (p *printer) set(l Label, r box, size float64, draw bool) (fits bool) {
	d := p.d
	mark, title, text, foot := paper.Type{Size: min(mostMark, 2.1*size), Bold: true}, paper.Type{Size: size, Bold: true}, paper.Type{Size: size - 0.5}, paper.Type{Size: max(4.5, size-2.5)}
	fits = true
	put := func(x, y, w float64, s string, t paper.Type) {
		s, cut := d.Fit(s, w, t)
		fits = fits && !cut
		if draw {
			d.Text(x, y, "start", s, t)
		}
	}
	low := r.y + r.h
	if l.Foot != "" {
		low -= foot.Line()
	}
	y, x := r.y, r.x
	if l.Mark != "" {
		for mark.Size > size && d.Width(l.Mark, mark) > 0.55*r.w {
			mark.Size--
		}
		put(x, y+mark.Up(), r.w, l.Mark, mark)
		w := d.Width(l.Mark, mark) + 1.5
		below := y + mark.Up() + 0.9*mark.Down() // off the tail of a g
		if w+14 <= r.w {                         // the title stands beside it
			for i, s := range d.Wrap(l.Title, r.w-w, title) {
				if y+title.Line() > low || i > 2 {
					fits = false
					break
				}
				put(x+w, y+title.Up(), r.w-w, s, title)
				y += title.Line()
			}
			y = max(y, below)
		} else {
			y = below
			l.Lines = append([]string{l.Title}, l.Lines...)
		}
	} else {
		for _, s := range d.Wrap(l.Title, r.w, title) {
			if y+title.Line() > low {
				fits = false
				break
			}
			put(x, y+title.Up(), r.w, s, title)
			y += title.Line()
		}
	}
	y += 0.3
	for i, line := range l.Lines {
		wrapped := d.Wrap(line, r.w, text)
		for j, s := range wrapped {
			if y+text.Up()+text.Down() > low {
				return false
			}
			// The last line that fits says that something is missing below it.
			more := j < len(wrapped)-1 || i < len(l.Lines)-1
			if more && y+text.Line()+text.Up()+text.Down() > low {
				s, _ = d.Fit(s+" …", r.w, text)
				fits = false
			}
			put(x, y+text.Up(), r.w, s, text)
			y += text.Line()
		}
	}
	if l.Foot != "" {
		put(x, r.y+r.h-foot.Down(), r.w, l.Foot, foot)
	}
	return fits
}
