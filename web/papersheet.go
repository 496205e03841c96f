package web

import (
	"fmt"
	"slices"
	"strings"

	"headstack/lineup"
)

// paper is a line-up sheet as it is printed: what siblings share stands once above their
// rows, and what several targets add up stands once at the foot of the page.
type paper struct {
	*lineup.Sheet
	Pages []paperPage
}

type paperPage struct {
	lineup.Page
	Of     int // pages in all
	Groups []paperGroup
	Sums   []lettered // the terms of the targets on this page
}

type lettered struct{ Letter, Text string }

// paperGroup are rows that differ by their track, and by what plays for it.
type paperGroup struct {
	lineup.SheetRow        // of the first one, for what they share
	At              string // where it is read, as far as they share it
	Stays           bool   // the hand is where the group before was
	Before          []string
	Again           []string
	Rows            []paperRow
}

type paperRow struct {
	lineup.SheetRow
	No  string // page and row: "3.4"
	At  string // the designator where siblings have one each
	Sum string // letters: "a + b"
	Own string // what plays, where siblings differ in it
}

// paperOf groups the rows of a sheet and numbers them, so that one line names another
// without the names that only the program uses.
func paperOf(s *lineup.Sheet) paper {
	out := paper{Sheet: s}
	no := map[string]string{}
	for _, p := range s.Pages {
		for i, r := range p.Rows {
			no[r.Step] = fmt.Sprintf("%d.%d", p.Number, i+1)
		}
	}
	for _, p := range s.Pages {
		page := paperPage{Page: p, Of: len(s.Pages)}
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

func alike(a, b lineup.SheetRow) bool {
	return a.Track != "" && b.Track != "" && a.What == b.What && a.Trim == b.Trim && a.Turn == b.Turn && a.Reach == b.Reach &&
		a.Note == b.Note && slices.Equal(a.Cautions, b.Cautions)
}

func (p *paperPage) group(rows []lineup.SheetRow, no map[string]string) paperGroup {
	g := paperGroup{SheetRow: rows[0], Before: firstOf(rows, no), Again: againOf(rows, no)}
	for _, r := range rows {
		g.Rows = append(g.Rows, paperRow{SheetRow: r, No: no[r.Step], Sum: p.letters(r.Sum)})
	}
	g.places()
	if slices.ContainsFunc(rows, func(r lineup.SheetRow) bool { return r.Plays != g.Plays }) {
		g.Plays = ""
		for i := range g.Rows {
			g.Rows[i].Own = g.Rows[i].Plays
		}
	}
	return g
}

// places parts designators, which siblings have one each, from what they share.
func (g *paperGroup) places() {
	g.At = g.Point
	if slices.ContainsFunc(g.Rows, func(r paperRow) bool { return r.Point != g.Point }) {
		_, rest, _ := strings.Cut(g.Point, ", ")
		shared := !slices.ContainsFunc(g.Rows, func(r paperRow) bool {
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
func (p *paperPage) letters(sum []string) string {
	var out []string
	for _, s := range sum {
		i := slices.IndexFunc(p.Sums, func(l lettered) bool { return l.Text == s })
		if i < 0 {
			i = len(p.Sums)
			p.Sums = append(p.Sums, lettered{letter(i), s})
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
func firstOf(rows []lineup.SheetRow, no map[string]string) []string {
	return gather(rows, func(r lineup.SheetRow, add func(why, step string)) {
		for _, f := range r.First {
			step, why, _ := strings.Cut(f, ": ")
			add(why, no[step])
		}
	})
}

func againOf(rows []lineup.SheetRow, no map[string]string) []string {
	return gather(rows, func(r lineup.SheetRow, add func(why, step string)) {
		for _, step := range r.Again {
			add("", no[step])
		}
	})
}

func gather(rows []lineup.SheetRow, each func(lineup.SheetRow, func(why, step string))) []string {
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
