package lineup_test

import (
	"slices"
	"strings"
	"testing"

	"headstack/lineup"
)

// A round that is longer than a sheet goes over several: every line stands on one of them and
// in its order under the number that it had, with its heading, the cautions that it names and
// the letters of its target.
func TestLongRoundsAreBrokenOverSheets(t *testing.T) {
	const most = 16
	o, _, tapes := bench(t, "octogrange")
	s, err := o.Sheet(lineup.SheetOptions{Setup: lineup.Setup{Tapes: tapes}, Hearing: lineup.Hearing{AtOnce: 8}})
	if err != nil {
		t.Fatal(err)
	}
	whole := s.Print()
	numbers := func(p lineup.Printed) (out []string) {
		for _, page := range p.Pages {
			for _, g := range page.Groups {
				for _, r := range g.Rows {
					out = append(out, r.No)
				}
			}
		}
		return out
	}
	paged := whole.Paged(most)
	if !slices.Equal(numbers(whole), numbers(paged)) {
		t.Error("lines are lost, doubled or out of order")
	}
	broken := 0
	for _, p := range paged.Pages {
		n := 0
		for _, g := range p.Groups {
			n += len(g.Rows)
			for _, r := range g.Rows {
				if r.Sum == "" {
					continue
				}
				for _, letter := range strings.Split(r.Sum, " + ") {
					if !slices.ContainsFunc(p.Sums, func(x lineup.Term) bool { return x.Letter == letter }) {
						t.Errorf("%s: the letter %s is not at the foot of its sheet", r.No, letter)
					}
				}
			}
			for _, c := range g.Cautions {
				if c > len(p.Cautions) {
					t.Errorf("%s names caution %d of %d", g.What, c, len(p.Cautions))
				}
			}
		}
		if n > most || n == 0 || p.Title == "" || p.Groups[0].Stays {
			t.Errorf("%s, sheet %d of %d: %d lines", p.Title, p.Part, p.Parts, n)
		}
		if p.Parts > 1 {
			broken++
		}
	}
	if broken < 4 || len(paged.Pages) <= len(whole.Pages) {
		t.Errorf("%d sheets of broken rounds, %d pages in all", broken, len(paged.Pages))
	}
	if short := whole.Paged(1000); len(short.Pages) != len(whole.Pages) || short.Pages[0].Parts != 0 {
		t.Error("what fits is broken")
	}
}
