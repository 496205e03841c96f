package diagnosis

import (
	"fmt"
	"slices"
	"strings"
)

// unprovenP is the least probability that a work which looked for no cause has cured
// something, from which the cure is called unproven.
const unprovenP = 0.15

// unproven lists the works after which a symptom was gone though no cause was shown.
func (p *problem) unproven(post *posterior) []Unproven {
	out := []Unproven{}
	for i := range p.works {
		w := &p.works[i]
		if w.Kind == WorkRepair || w.Kind == WorkSwap && w.Back {
			continue
		}
		cured, hidden := p.curedBy(post, w)
		if cured < unprovenP {
			continue
		}
		gone := p.goneSince(w)
		if len(gone) == 0 {
			continue
		}
		u := Unproven{Work: w.Ref, Symptom: strings.Join(gone, ", "), Returns: min(1, hidden+cured*returnsOpen)}
		if w.Kind == WorkSwap && !p.undone(w) {
			u.Asks = append(u.Asks, fmt.Sprintf("Exchange %s back and try again: only a fault that follows the part is the part's.", w.Stage))
		}
		u.Asks = append(u.Asks,
			fmt.Sprintf("Try %s ten times, each time from switching on.", gone[0]),
			"Let it run four hours closed, and try again cold, warm and after a knock (common practice, no source).",
			"A cause that was found and shown would end the doubt: "+returnsText())
		out = append(out, u)
	}
	return out
}

func returnsText() string {
	return fmt.Sprintf("of proven repairs some %.0f %% come back inside thirty days, of cures by cleaning or reseating 20 to 30 %% (estimates, no source).", 100*returnsProven)
}

// curedBy is the probability that work w cured a fault of what it worked on, and that
// one is still there.
func (p *problem) curedBy(post *posterior, w *Work) (cured, left float64) {
	for c, in := range p.seen {
		if !p.eng.worksOn(w, in) {
			continue
		}
		for k, at := range p.model.components[c].atoms {
			switch at.effect.until {
			case w.Seq:
				cured += post.fault[c][k]
			case 0:
				left += post.fault[c][k]
			}
		}
	}
	return min(1, cured), min(1, left)
}

// goneSince lists the functions that did not work before a work and do after it.
func (p *problem) goneSince(w *Work) []string {
	state := map[check][2]int{} // failed before, worked after
	var order []check
	for i := range p.notes {
		n := &p.notes[i]
		if n.check == nil {
			continue
		}
		c := check{n.function, n.key}
		s, ok := state[c]
		if !ok {
			order = append(order, c)
		}
		switch {
		case n.check.Seq <= w.Seq && n.check.Outcome != Works:
			s[0]++
		case n.check.Seq > w.Seq && n.check.Outcome == Works:
			s[1]++
		case n.check.Seq > w.Seq:
			s[1] -= 1000
		}
		state[c] = s
	}
	var out []string
	for _, c := range order {
		if s := state[c]; s[0] > 0 && s[1] > 0 {
			out = append(out, strings.TrimSpace(c.function+" "+c.key))
		}
	}
	return out
}

// undone says whether a swap was taken back.
func (p *problem) undone(w *Work) bool {
	return slices.ContainsFunc(p.works, func(x Work) bool {
		return x.Kind == WorkSwap && x.Seq > w.Seq && x.Stage == w.Stage && (x.Key == w.Key && x.With == w.With || x.Key == w.With && x.With == w.Key)
	})
}
