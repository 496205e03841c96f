package diagnosis

import (
	"fmt"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/plan"
)

// cover is one opening of one replica: of the openings that repeat (a card on an
// extender) there is one for each.
type cover struct {
	id      string // "lid", "extender/3"
	opening *machine.Opening
	behind  int
}

// coverID is the name of an opening of a replica, as [Situation.Open] has it.
func coverID(o *machine.Opening, key string) string {
	if o.Each == "" {
		return o.ID
	}
	return o.ID + "/" + key
}

// cover numbers an opening and all before it; [plan.None] when it is reached closed.
func (g *planning) cover(opening, key string) int {
	o, ok := g.e.def.Opening(opening)
	if !ok || opening == machine.Closed {
		return plan.None
	}
	id := coverID(o, key)
	if i, ok := g.coverAt[id]; ok {
		return i
	}
	behind := g.cover(o.From, key)
	i := len(g.covers)
	g.coverAt[id] = i
	g.covers = append(g.covers, cover{id, o, behind})
	return i
}

// openNow numbers the openings that are open.
func (g *planning) openNow() ([]int, error) {
	var out []int
	for _, id := range g.now.Open {
		name, key, _ := strings.Cut(id, "/")
		if _, ok := g.e.def.Opening(name); !ok {
			return nil, fmt.Errorf("diagnosis: machine %s has no opening %q", g.e.def.ID, id)
		}
		out = append(out, g.cover(name, key))
	}
	return out, nil
}

// inTheWay lists the covers that must be back before the recorder can be powered for
// a test that is made behind cover own: what parts connectors, unless it is there that
// the test is made or a card is on an extender.
func (g *planning) inTheWay(own int) []int {
	var out []int
	for i := range g.covers {
		o := g.covers[i].opening
		if len(o.Disconnects) == 0 || o.Each != "" || slices.Contains(g.chain(own), i) {
			continue
		}
		out = append(out, i)
	}
	return out
}

// chain is a cover and all before it, outermost first.
func (g *planning) chain(c int) []int {
	var out []int
	for ; c != plan.None; c = g.covers[c].behind {
		out = append(out, c)
	}
	slices.Reverse(out)
	return out
}

// problemCovers are the covers as the planner takes them. What must be set anew after
// an opening is paid on closing it.
func (g *planning) problemCovers() []plan.Cover {
	out := make([]plan.Cover, len(g.covers))
	for i, c := range g.covers {
		out[i] = plan.Cover{Open: c.opening.DownMin, Close: c.opening.UpMin + c.opening.AfterMin, Behind: c.behind}
	}
	return out
}

// access lists what an action that needs cover c, with shut closed, must close first
// (innermost first) and open (outermost first), with the minutes of both.
func (g *planning) access(c int, shut []int) (closing, opening []string, minutes float64) {
	open, err := g.openNow()
	if err != nil {
		return nil, nil, 0
	}
	isOpen := map[int]bool{}
	for _, o := range open {
		for _, x := range g.chain(o) {
			isOpen[x] = true
		}
	}
	for i := len(g.covers) - 1; i >= 0; i-- { // what is behind comes after what is before it
		if !isOpen[i] {
			continue
		}
		for _, s := range shut {
			if slices.Contains(g.chain(i), s) {
				closing = append(closing, g.covers[i].id)
				minutes += g.covers[i].opening.UpMin + g.covers[i].opening.AfterMin
				isOpen[i] = false
				break
			}
		}
	}
	for _, x := range g.chain(c) {
		if !isOpen[x] {
			opening = append(opening, g.covers[x].id)
			minutes += g.covers[x].opening.DownMin
		}
	}
	return closing, opening, minutes
}
