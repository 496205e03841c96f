package paper

import "strings"

// Table is set by [Flow.Table]: its heading is repeated on each page that it reaches.
type Table struct {
	Caption string
	Columns []Column
	Rows    []Row
	Type    Type // of the cells; the zero value is [Small]
}

// Column of a table.
type Column struct {
	Head string
	// Width in mm; 0: a share of what the others leave, by Share (0: 1).
	Width, Share float64
	Right        bool // figures stand at the right edge
	Pen          bool // to be filled in with a pen: upright rules on both sides
}

// Row of a table.
type Row struct {
	Cells []Cell
	// Over is a row of one cell across the table: a heading within it.
	Over   bool
	Height float64 // at least, mm: room for a pen
	// Keep holds the row on one page with the next.
	Keep bool
}

// Cell of a row.
type Cell struct {
	Text string
	Bold bool
	// Under stands below in smaller letters: the interval of a figure.
	Under string
	// Ticks are boxes to tick, each followed by its word.
	Ticks []string
}

// Cells makes cells of plain texts.
func Cells(texts ...string) []Cell {
	out := make([]Cell, len(texts))
	for i, s := range texts {
		out[i].Text = s
	}
	return out
}

// padding between the rule of a table and its letters, mm.
const padding = 0.9

// Table sets a table.
func (f *Flow) Table(t Table) {
	if t.Type.Size == 0 {
		t.Type = Small
	}
	s := &setter{f: f, t: t, x: f.columns(t)}
	s.measure()
	if len(s.rows) == 0 {
		return
	}
	first := s.head.height + s.rows[0].height
	for i := 0; i+1 < len(s.rows) && t.Rows[i].Keep; i++ {
		first += s.rows[i+1].height
	}
	if t.Caption != "" {
		f.Gap(1.5) // or it reads as the last of the notes above
	}
	f.Need(s.captionHeight(t.Caption) + min(first, f.Full()/2))
	s.heading(t.Caption)
	for i := range s.rows {
		need := s.rows[i].height
		for j := i; j+1 < len(s.rows) && t.Rows[j].Keep; j++ {
			need += s.rows[j+1].height
		}
		if need > f.Room() && need <= f.Full()-s.captionHeight(t.Caption)-s.head.height || f.Room() < s.leastRow() {
			f.Break()
			s.again()
		}
		s.row(&s.rows[i])
	}
	f.y += 1.5
}

// columns are the edges of the columns, mm: one more than there are columns.
func (f *Flow) columns(t Table) []float64 {
	left, shares, flexible := f.Wide(), 0.0, 0
	for _, c := range t.Columns {
		left -= c.Width
		if c.Width == 0 {
			shares += share(c)
			flexible++
		}
	}
	squeeze := 1.0
	if least := 8 * float64(flexible); left < least { // what was asked for is more than there is
		squeeze = (f.Wide() - least) / (f.Wide() - left)
		left = least
	}
	x := []float64{f.Left}
	for _, c := range t.Columns {
		w := c.Width * squeeze
		if c.Width == 0 {
			w = left * share(c) / shares
		}
		x = append(x, x[len(x)-1]+w)
	}
	return x
}

func share(c Column) float64 {
	if c.Share == 0 {
		return 1
	}
	return c.Share
}

// setter sets one table.
type setter struct {
	f    *Flow
	t    Table
	x    []float64
	head setRow
	rows []setRow
}

// setRow is a row broken into lines.
type setRow struct {
	cells  [][]setLine
	height float64
	over   bool
}

type setLine struct {
	text  string
	t     Type
	right bool
	tick  bool
}

func (s *setter) measure() {
	head := Row{}
	for _, c := range s.t.Columns {
		head.Cells = append(head.Cells, Cell{Text: c.Head, Bold: true})
	}
	s.head = s.set(head)
	for _, r := range s.t.Rows {
		s.rows = append(s.rows, s.set(r))
	}
}

func (s *setter) set(r Row) setRow {
	out := setRow{over: r.Over, height: r.Height}
	for i, c := range r.Cells {
		if i >= len(s.t.Columns) {
			break
		}
		w := s.x[i+1] - s.x[i]
		if r.Over {
			w = s.x[len(s.x)-1] - s.x[0]
		}
		lines := s.cell(c, w-2*padding, s.t.Columns[i].Right && !r.Over)
		high := 2 * padding
		for _, l := range lines {
			high += l.height()
		}
		out.height = max(out.height, high)
		out.cells = append(out.cells, lines)
	}
	return out
}

func (l setLine) height() float64 {
	if l.tick {
		return max(l.t.Line(), tickSide+0.9)
	}
	return l.t.Line()
}

// tickSide is that of a box to tick with a pen, mm.
const tickSide = 3.4

func (s *setter) cell(c Cell, w float64, right bool) []setLine {
	t := s.t.Type
	t.Bold = c.Bold
	var out []setLine
	if c.Text != "" {
		for _, l := range s.f.Wrap(c.Text, w, t) {
			out = append(out, setLine{text: l, t: t, right: right})
		}
	}
	if c.Under != "" {
		small := Type{Size: t.Size - 1}
		for _, l := range s.f.Wrap(c.Under, w, small) {
			out = append(out, setLine{text: l, t: small, right: right})
		}
	}
	if len(c.Ticks) > 0 {
		plain := s.t.Type
		line, at := "", 0.0
		for _, word := range c.Ticks {
			add := tickSide + 1 + s.f.Width(word, plain) + 3
			if line != "" && at+add > w {
				out = append(out, setLine{text: line, t: plain, tick: true})
				line, at = "", 0
			}
			if line != "" {
				line += "\x00"
			}
			line += word
			at += add
		}
		out = append(out, setLine{text: line, t: plain, tick: true})
	}
	return out
}

func (s *setter) captionHeight(caption string) float64 {
	if caption == "" {
		return 0
	}
	return float64(len(s.f.Wrap(caption, s.f.Wide(), s.captionType())))*s.captionType().Line() + 0.8
}

func (s *setter) captionType() Type { return Type{Size: s.t.Type.Size + 0.5, Bold: true} }

func (s *setter) heading(caption string) {
	f := s.f
	if caption != "" {
		f.lines(f.Left, f.Wrap(caption, f.Wide(), s.captionType()), s.captionType())
		f.y += 0.8
	}
	if s.headless() {
		f.Document.Line(s.x[0], f.y, s.x[len(s.x)-1], f.y, 0.3)
		return
	}
	f.Document.Line(s.x[0], f.y, s.x[len(s.x)-1], f.y, 0.3)
	s.row(&s.head)
	f.Document.Line(s.x[0], f.y, s.x[len(s.x)-1], f.y, 0.3)
}

func (s *setter) headless() bool {
	for _, c := range s.t.Columns {
		if c.Head != "" {
			return false
		}
	}
	return true
}

// again repeats the heading at the head of a page.
func (s *setter) again() {
	caption := s.t.Caption
	if caption != "" {
		caption, _ = s.f.Fit(caption, s.f.Wide()-24, s.captionType())
		caption += ", continued"
	}
	s.heading(caption)
}

// leastRow is the room that a row must at least have to begin on a page.
func (s *setter) leastRow() float64 { return 2*s.t.Type.Line() + 2*padding }

// row draws a row; one that is higher than the page goes on over pages, line by line.
func (s *setter) row(r *setRow) {
	f := s.f
	if r.height <= f.Room() {
		s.part(r, r.height)
		return
	}
	for {
		part, rest, ok := s.split(r, f.Room())
		s.part(part, part.height)
		if !ok {
			return
		}
		f.Break()
		s.again()
		r = rest
	}
}

// split takes of a row what fits into room; ok says that there is a rest.
func (s *setter) split(r *setRow, room float64) (part, rest *setRow, ok bool) {
	part, rest = &setRow{over: r.over}, &setRow{over: r.over}
	for _, cell := range r.cells {
		high, n := 2*padding, 0
		for n < len(cell) && (high+cell[n].height() <= room || n == 0) {
			high += cell[n].height()
			n++
		}
		part.cells, rest.cells = append(part.cells, cell[:n]), append(rest.cells, cell[n:])
		part.height = max(part.height, high)
		high = 2 * padding
		for _, l := range cell[n:] {
			high += l.height()
			ok = true
		}
		rest.height = max(rest.height, high)
	}
	return part, rest, ok
}

func (s *setter) part(r *setRow, height float64) {
	f := s.f
	for i, cell := range r.cells {
		y := f.y + padding
		x0, x1 := s.x[i]+padding, s.x[i+1]-padding
		if r.over {
			x0, x1 = s.x[0]+padding, s.x[len(s.x)-1]-padding
		}
		for _, l := range cell {
			switch {
			case l.tick:
				s.ticks(x0, y, l)
			case l.right:
				f.Text(x1, y+l.t.Up(), "end", l.text, l.t)
			default:
				f.Text(x0, y+l.t.Up(), "start", l.text, l.t)
			}
			y += l.height()
		}
		if r.over {
			break
		}
	}
	for i, c := range s.t.Columns {
		if c.Pen && !r.over {
			f.Document.Line(s.x[i], f.y, s.x[i], f.y+height, 0.1)
			f.Document.Line(s.x[i+1], f.y, s.x[i+1], f.y+height, 0.1)
		}
	}
	f.y += height
	f.Document.Line(s.x[0], f.y, s.x[len(s.x)-1], f.y, 0.1)
}

func (s *setter) ticks(x, y float64, l setLine) {
	for word := range strings.SplitSeq(l.text, "\x00") {
		s.f.Box(x, y+0.2, tickSide, tickSide, 0.25)
		x += tickSide + 1
		s.f.Text(x, y+0.2+tickSide-0.6, "start", word, l.t)
		x += s.f.Width(word, l.t) + 3
	}
}
