package paper

import (
	"fmt"
	"strings"

	"headstack/plot"
)

// Flow sets one thing below the other and begins a new page where the last is full.
type Flow struct {
	*Document
	// Left, Right, Top and Bottom are the blank edges, mm.
	Left, Right, Top, Bottom float64

	y     float64
	foot  string
	total int // pages in all, as the first run counted them
	shots map[string]*shot
}

// The edges of a page of text, mm: room for the holes of a binder on the left, and for the
// foot below. Common practice, no source.
const (
	edgeLeft, edgeRight, edgeTop, edgeBottom = 20.0, 12.0, 12.0, 17.0
)

// Types of running text.
var (
	Plain  = Type{Size: 9}
	Small  = Type{Size: 7.5}
	Note   = Type{Size: 7, Grey: 0.25}
	Strong = Type{Size: 9, Bold: true}
	Title  = Type{Size: 17, Bold: true}
)

// Compose makes a document of flowing pages. foot stands at the foot of each page, before
// the number of the page and of all of them; body is run twice, so that the first page can
// say how many follow.
func Compose(size Size, info Info, foot string, body func(f *Flow)) ([]byte, error) {
	total := 0
	for {
		f := &Flow{Document: New(size, info), Left: edgeLeft, Right: edgeRight, Top: edgeTop, Bottom: edgeBottom, foot: foot, total: total}
		f.Break()
		body(f)
		f.sayMissing()
		if total == f.pages {
			return f.Bytes()
		}
		if total != 0 {
			return nil, fmt.Errorf("paper: %d pages at first and %d then: the body is not the same in two runs", total, f.pages)
		}
		total = f.pages
	}
}

// sayMissing names the letters that the fonts lack.
func (f *Flow) sayMissing() {
	if len(f.missing) == 0 {
		return
	}
	var names []string
	for _, r := range f.missing {
		names = append(names, fmt.Sprintf("U+%04X", r))
	}
	f.Gap(2)
	f.Para(fmt.Sprintf("Letters that the fonts of this file lack stand as %c: %s. The record has them.", replacement, strings.Join(names, ", ")), Note)
}

// Break begins a new page.
func (f *Flow) Break() {
	f.Page()
	f.y = f.Top
	t := Type{Size: 6.5, Grey: 0.25}
	y := f.Size.H - f.Bottom + 8
	f.Document.Line(f.Left, y-3.5, f.Size.W-f.Right, y-3.5, 0.15)
	of := fmt.Sprintf("page %d of %d", f.pages, max(f.total, f.pages))
	room := f.Wide() - f.Width("page 999 of 999", t) - 4
	foot, _ := f.Fit(f.foot, room, t)
	f.Text(f.Left, y, "start", foot, t)
	f.Text(f.Size.W-f.Right, y, "end", of, t)
}

// Wide is the width between the edges, mm.
func (f *Flow) Wide() float64 { return f.Size.W - f.Left - f.Right }

// Room is what is left of the page, mm.
func (f *Flow) Room() float64 { return f.Size.H - f.Bottom - f.y }

// Full is the height between the edges of an empty page, mm.
func (f *Flow) Full() float64 { return f.Size.H - f.Bottom - f.Top }

// Y is where the next thing is set; Skip moves it down.
func (f *Flow) Y() float64     { return f.y }
func (f *Flow) Skip(h float64) { f.y += h }

// Need begins a new page unless h mm are left of this one.
func (f *Flow) Need(h float64) {
	if h > f.Room() && f.y > f.Top {
		f.Break()
	}
}

// Gap leaves h mm blank, except at the head of a page.
func (f *Flow) Gap(h float64) {
	if f.y > f.Top {
		f.y += h
	}
}

// Heading sets a heading of level 1 or more, and keeps it with what follows.
func (f *Flow) Heading(level int, s string) {
	t := Type{Size: []float64{13, 10.5, 9.5}[min(max(level, 1), 3)-1], Bold: true}
	lines := f.Wrap(s, f.Wide(), t)
	f.Gap([]float64{6, 4, 2.5}[min(max(level, 1), 3)-1])
	f.Need(float64(len(lines))*t.Line() + 22)
	f.lines(f.Left, lines, t)
	if level == 1 {
		f.Document.Line(f.Left, f.y+0.3, f.Size.W-f.Right, f.y+0.3, 0.3)
		f.y++
	}
	f.y += 0.8
}

// Para sets a paragraph.
func (f *Flow) Para(s string, t Type) {
	f.lines(f.Left, f.Wrap(s, f.Wide(), t), t)
	f.y += 0.9
}

// Item sets a paragraph behind a mark: "•", "▲", "1".
func (f *Flow) Item(mark, s string, t Type) {
	in := max(4, f.Width(mark, t)+1.6)
	lines := f.Wrap(s, f.Wide()-in, t)
	f.Need(t.Line())
	f.Text(f.Left+0.5, f.y+t.Up(), "start", mark, t)
	f.lines(f.Left+in, lines, t)
	f.y += 0.5
}

// Items sets a list with bullets.
func (f *Flow) Items(list []string, t Type) {
	for _, s := range list {
		f.Item("•", s, t)
	}
	f.y += 0.6
}

// lines sets lines from x on; they may go on over the page.
func (f *Flow) lines(x float64, lines []string, t Type) {
	for _, l := range lines {
		f.Need(t.Line())
		f.Text(x, f.y+t.Up(), "start", l, t)
		f.y += t.Line()
	}
}

// Pairs sets names with their values in two columns.
func (f *Flow) Pairs(pairs [][2]string, t Type) {
	in := 0.0
	bold := t
	bold.Bold = true
	for _, p := range pairs {
		in = max(in, f.Width(p[0], bold)+4)
	}
	in = min(in, f.Wide()/3)
	for _, p := range pairs {
		names, lines := f.Wrap(p[0], in-2, bold), f.Wrap(p[1], f.Wide()-in, t)
		f.Need(float64(max(len(names), min(len(lines), 4))) * t.Line())
		for i, n := range names {
			f.Text(f.Left, f.y+t.Up()+float64(i)*t.Line(), "start", n, bold)
		}
		y, pages := f.y, f.pages
		f.lines(f.Left+in, lines, t)
		if f.pages == pages {
			f.y = max(f.y, y+float64(len(names))*t.Line())
		}
		f.y += 0.5
	}
}

// Blanks sets names with a line to write on, in columns.
func (f *Flow) Blanks(pairs [][2]string, columns int, t Type) {
	w := f.Wide() / float64(columns)
	const h = 8.0
	for i, p := range pairs {
		if i%columns == 0 {
			f.Need(h)
		}
		x := f.Left + float64(i%columns)*w
		name, _ := f.Fit(p[0], w-14, t)
		f.Text(x, f.y+h-2, "start", name, t)
		at := x + f.Width(name, t) + 1.5
		f.Document.Line(at, f.y+h-1.2, x+w-3, f.y+h-1.2, 0.2)
		value, _ := f.Fit(p[1], x+w-3-at-1, Type{Size: t.Size + 1, Bold: true})
		f.Text(at+1, f.y+h-2, "start", value, Type{Size: t.Size + 1, Bold: true})
		if i%columns == columns-1 || i == len(pairs)-1 {
			f.y += h
		}
	}
}

// leastShare is how far a drawing may be made smaller to fit the rest of a page before it
// goes on the next.
const leastShare = 0.85

// Height is what a drawing takes at the size at which [Flow.Draw] sets it on an empty page,
// mm.
func (f *Flow) Height(g plot.Drawing) float64 {
	w, h := g.Size()
	return min(min(f.Wide(), w*25.4/96)*h/w, f.Full())
}

// Draw sets a drawing as wide as the page, or as high as a page where that is less. Its
// natural size is not exceeded.
func (f *Flow) Draw(g plot.Drawing) {
	w, h := g.Size()
	wide := min(f.Wide(), w*25.4/96)
	if wide*h/w > f.Full() {
		wide = f.Full() * w / h
	}
	if high := wide * h / w; high > f.Room() {
		if f.Room() >= leastShare*high {
			wide = f.Room() * w / h
		} else {
			f.Break()
		}
	}
	f.y += f.Document.Draw(g, f.Left, f.y, wide) + 1.5
}
