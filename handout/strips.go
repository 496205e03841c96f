package handout

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"headstack/job"
	"headstack/paper"
)

// The bounds of a channel strip, mm.
const (
	LeastStrip, MostStrip = 8.0, 60.0 // from one channel to the next
	stripHeight           = 16.0
)

// Strips prints strips to lay along the faders: a field for each track, width mm from one
// to the next, with its number and a note. notes are by track; a track without one says
// what faults of it stand, else it stays blank. What does not fit in a strip as long as the
// sheet goes on in the next. Lines say where to cut.
func Strips(v *job.View, size paper.Size, width float64, notes map[int]string, when time.Time) (Printed, error) {
	n := v.Def.Tracks.Count
	if n < 1 {
		return Printed{}, &NoLabelsError{"the definition has no tracks"}
	}
	if !(width >= LeastStrip && width <= MostStrip) {
		return Printed{}, fmt.Errorf("a channel of %s mm: from %g to %g mm from one channel to the next", mm(width), LeastStrip, MostStrip)
	}
	for t := range notes {
		if t < 1 || t > n {
			return Printed{}, fmt.Errorf("a note for track %d: the recorder has tracks 1 to %d", t, n)
		}
	}
	d := paper.New(size, paper.Info{Title: "Channel strips", When: when})
	p := printer{d: d}
	var out Printed
	const head, gap = 5.0, 6.0
	along := int((size.W - 2*paper.Margin) / width)
	y, low := size.H, size.H-paper.Margin-rulerHeight
	for from := 1; from <= n; from += along {
		to := min(n, from+along-1)
		if y+head+stripHeight > low {
			d.Page()
			out.Sheets++
			sheetRuler(d)
			y = paper.Margin
		}
		caption, _ := d.Fit(fmt.Sprintf("%s, %s: tracks %d to %d, %s mm each", v.Job.Name, footOf(v), from, to, mm(width)), size.W-2*paper.Margin, paper.Type{Size: 6.5})
		d.Text(paper.Margin, y+3.2, "start", caption, paper.Type{Size: 6.5})
		y += head
		p.strip(from, to, paper.Margin, y, width, notesOf(v, notes))
		y += stripHeight + gap
	}
	out.Cut = p.cut
	var err error
	out.PDF, err = d.Bytes()
	return out, err
}

// notesOf adds to typed notes the faults that stand.
func notesOf(v *job.View, typed map[int]string) map[int]string {
	out := map[int]string{}
	for _, f := range Faults(v) {
		if t, err := strconv.Atoi(f.Track); err == nil {
			out[t] = join("; ", out[t], f.Mark()+" "+f.Symptom)
		}
	}
	for t, s := range typed {
		if s != "" {
			out[t] = s
		}
	}
	return out
}

// strip draws the fields of some tracks.
func (p *printer) strip(from, to int, x, y, width float64, notes map[int]string) {
	d := p.d
	end := x + float64(to-from+1)*width
	d.Line(x, y, end, y, 0.1, 1, 1)
	d.Line(x, y+stripHeight, end, y+stripHeight, 0.1, 1, 1)
	for t := from; t <= to; t++ {
		at := x + float64(t-from)*width
		d.Line(at, y, at, y+stripHeight, 0.1, 1, 1)
		number := paper.Type{Size: 13, Bold: true}
		d.Text(at+width/2, y+1+number.Up(), "middle", strconv.Itoa(t), number)
		p.note(notes[t], box{at + 0.7, y + 6.4, width - 1.4, stripHeight - 7}, "track "+strconv.Itoa(t))
	}
	d.Line(end, y, end, y+stripHeight, 0.1, 1, 1)
}

// note sets a note in the largest letters in which it fits without a cut word.
func (p *printer) note(s string, r box, of string) {
	if s == "" {
		return
	}
	for size := 8.0; size >= 5; size -= 0.5 {
		t := paper.Type{Size: size}
		if size > 5 && p.wordCut(s, r.w, t) {
			continue
		}
		lines := p.d.Wrap(s, r.w, t)
		if float64(len(lines))*t.Line() <= r.h {
			for i, l := range lines {
				p.d.Text(r.x+r.w/2, r.y+t.Up()+float64(i)*t.Line(), "middle", l, t)
			}
			return
		}
	}
	t := paper.Type{Size: 5}
	n := int(r.h / t.Line())
	lines := p.d.Wrap(s, r.w, t)[:n]
	lines[n-1], _ = p.d.Fit(lines[n-1]+"…", r.w, t)
	for i, l := range lines {
		p.d.Text(r.x+r.w/2, r.y+t.Up()+float64(i)*t.Line(), "middle", l, t)
	}
	p.cut = append(p.cut, of)
}

// wordCut says whether a word of s is wider than w.
func (p *printer) wordCut(s string, w float64, t paper.Type) bool {
	return slices.ContainsFunc(strings.Fields(s), func(word string) bool { return p.d.Width(word, t) > w })
}
