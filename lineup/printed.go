package lineup

import (
	"fmt"
	"slices"
	"strings"
)

// Printed is a line-up sheet as it is printed: what siblings share stands once above their
// rows, and what several targets add up stands once at the foot of the page.
type Printed struct {
	*Sheet
	Pages []PrintedPage
}

// PrintedPage is a page with its rows in groups.
type PrintedPage struct {
	Page
	Of     int // pages in all
	Part   int // of a round that is broken over several sheets, from 1; 0: it stands on one
	Parts  int
	Groups []PrintedGroup
	Sums   []Term // of the targets on this page
}

// Term is a term of a target's sum with the letter that stands for it.
type Term struct{ Letter, Text string }

// PrintedGroup are rows that differ by their track, and by what plays for it.
type PrintedGroup struct {
	SheetRow        // of the first one, for what they share
	At       string // where it is read, as far as they share it
	Stays    bool   // the hand is where the group before was
	Before   []string
	Again    []string
	Rows     []PrintedRow
	// Goes says that the group goes on from the sheet before.
	Goes bool
}

// PrintedRow is one line of a group.
type PrintedRow struct {
	SheetRow
	No  string // page and row: "3.4"
	At  string // the designator where siblings have one each
	Sum string // letters: "a + b"
	Own string // what plays, where siblings differ in it
}

// Print groups the rows of a sheet and numbers them, so that one line names another
// without the names that only the program uses.
func (s *Sheet) Print() Printed {
	out := Printed{Sheet: s}
	no := map[string]string{}
	for _, p := range s.Pages {
		for i, r := range p.Rows {
			no[r.Step] = fmt.Sprintf("%d.%d", p.Number, i+1)
		}
	}
	for _, p := range s.Pages {
		page := PrintedPage{Page: p, Of: len(s.Pages)}
		for len(p.Rows) > 0 {
			n := 1
			for n < len(p.Rows) && alike(p.Rows[0], p.Rows[n]) {
				n++
			}
			g := page.group(p.Rows[:n], no)
			if i := len(page.Groups); i > 0 && g.Trim != "" && page.Groups[i-1].Trim != "" {
				g.Stays = g.Reach == page.Groups[i-1].Reach
			}
			page.Groups = append(page.Groups, g)
			p.Rows = p.Rows[n:]
		}
		out.Pages = append(out.Pages, page)
	}
	return out
}

// Paged breaks rounds of more than most lines over several sheets, each of which can be
// followed by itself: heading and cautions stand on every one, line numbers go on, and so do
// letters. A group goes over whole where it fits.
func (s Printed) Paged(most int) Printed {
	out := s
	out.Pages = nil
	for _, p := range s.Pages {
		parts := p.parts(most)
		for i := range parts {
			if len(parts) > 1 {
				parts[i].Part, parts[i].Parts = i+1, len(parts)
			}
		}
		out.Pages = append(out.Pages, parts...)
	}
	return out
}

// parts are the sheets of one round.
func (p PrintedPage) parts(most int) []PrintedPage {
	total := 0
	for _, g := range p.Groups {
		total += len(g.Rows)
	}
	if total <= most {
		return []PrintedPage{p}
	}
	var out []PrintedPage
	room := 0
	for _, g := range p.Groups {
		for first := true; len(g.Rows) > 0; first = false {
			if room == 0 || first && len(g.Rows) > room && len(g.Rows) <= most {
				next := p
				next.Groups, next.Sums = nil, nil
				if len(out) > 0 {
					next.How = nil
				}
				out, room = append(out, next), most
			}
			sheet := &out[len(out)-1]
			n := min(room, len(g.Rows))
			piece := g
			piece.Rows, piece.Goes = g.Rows[:n], !first
			if len(sheet.Groups) == 0 {
				piece.Stays = false // the sheet before is in another hand
			}
			sheet.Groups = append(sheet.Groups, piece)
			g.Rows, room = g.Rows[n:], room-n
		}
	}
	for i := range out {
		out[i].Sums = out[i].used(p.Sums)
	}
	return out
}

// used are the terms that the lines of a sheet name.
func (p *PrintedPage) used(terms []Term) (out []Term) {
	for _, t := range terms {
		if slices.ContainsFunc(p.Groups, func(g PrintedGroup) bool {
			return slices.ContainsFunc(g.Rows, func(r PrintedRow) bool { return slices.Contains(strings.Split(r.Sum, " + "), t.Letter) })
		}) {
			out = append(out, t)
		}
	}
	return out
}

func alike(a, b SheetRow) bool {
	return a.Track != "" && b.Track != "" && a.What == b.What && a.Trim == b.Trim && a.Turn == b.Turn && a.Reach == b.Reach &&
		a.Note == b.Note && slices.Equal(a.Cautions, b.Cautions)
}

func (p *PrintedPage) group(rows []SheetRow, no map[string]string) PrintedGroup {
	g := PrintedGroup{SheetRow: rows[0], Before: firstOf(rows, no), Again: againOf(rows, no)}
	for _, r := range rows {
		g.Rows = append(g.Rows, PrintedRow{SheetRow: r, No: no[r.Step], Sum: p.letters(r.Sum)})
	}
	g.places()
	if slices.ContainsFunc(rows, func(r SheetRow) bool { return r.Plays != g.Plays }) {
		g.Plays = ""
		for i := range g.Rows {
			g.Rows[i].Own = g.Rows[i].Plays
		}
	}
	return g
}

// places parts designators, which siblings have one each, from what they share.
func (g *PrintedGroup) places() {
	g.At = g.Point
	if slices.ContainsFunc(g.Rows, func(r PrintedRow) bool { return r.Point != g.Point }) {
		_, rest, _ := strings.Cut(g.Point, ", ")
		shared := !slices.ContainsFunc(g.Rows, func(r PrintedRow) bool {
			_, x, _ := strings.Cut(r.Point, ", ")
			return x != rest
		})
		g.At = ""
		for i := range g.Rows {
			g.Rows[i].At = g.Rows[i].Point
			if shared {
				g.Rows[i].At, g.At, _ = strings.Cut(g.Rows[i].Point, ", ")
			}
		}
	}
	if g.Reach != "" {
		g.At = strings.TrimSuffix(g.At, "; "+g.Reach) // the hand is there already
	}
}

// letters names the terms of a sum; a new one is added to the foot of the page.
func (p *PrintedPage) letters(sum []string) string {
	var out []string
	for _, s := range sum {
		i := slices.IndexFunc(p.Sums, func(l Term) bool { return l.Text == s })
		if i < 0 {
			i = len(p.Sums)
			p.Sums = append(p.Sums, Term{letter(i), s})
		}
		out = append(out, p.Sums[i].Letter)
	}
	return strings.Join(out, " + ")
}

// letter is a, b ... z, aa, ab ...
func letter(i int) string {
	s := string(rune('a' + i%26))
	if i >= 26 {
		s = letter(i/26-1) + s
	}
	return s
}

// firstOf says what comes before, each reason once: "3.5, 3.6: geometry before electronics".
func firstOf(rows []SheetRow, no map[string]string) []string {
	return gather(rows, func(r SheetRow, add func(why, step string)) {
		for _, f := range r.First {
			step, why, _ := strings.Cut(f, ": ")
			add(why, no[step])
		}
	})
}

func againOf(rows []SheetRow, no map[string]string) []string {
	return gather(rows, func(r SheetRow, add func(why, step string)) {
		for _, step := range r.Again {
			add("", no[step])
		}
	})
}

func gather(rows []SheetRow, each func(SheetRow, func(why, step string))) []string {
	var whys []string
	steps := map[string][]string{}
	for _, r := range rows {
		each(r, func(why, step string) {
			if !slices.Contains(whys, why) {
				whys = append(whys, why)
			}
			if step != "" && !slices.Contains(steps[why], step) {
				steps[why] = append(steps[why], step)
			}
		})
	}
	var out []string
	for _, why := range whys {
		s := strings.Join(steps[why], ", ")
		if why != "" {
			s += ": " + why
		}
		out = append(out, s)
	}
	return out
}
