package diagnosis

import (
	"fmt"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/plan"
	"headstack/unit"
)

// swapMinutes is the exchange of two cards and the exchange back, once they are reached
// (estimate, common practice, no source).
const swapMinutes = 4

// swapFickle is the probability of a fault that comes and goes above which nothing is
// exchanged.
const swapFickle = 0.25

// addSwaps proposes to exchange a card with a sibling's and to try what did not work:
// where the fault goes with the card, it is on it.
func (g *planning) addSwaps(add func(candidate, plan.Action)) {
	if g.fickleP() > swapFickle {
		return // the exchange would send it to sleep in one case of seven, and prove nothing
	}
	all, _ := g.failed()
	tried := map[[2]string]bool{}
	for _, c := range g.suspects() {
		in := g.p.seen[c]
		b, ok := g.e.def.Board(in.Stage.Board)
		if !ok || b.Each == "" || b.Each != in.Stage.Each || tried[[2]string{b.ID, in.Key}] || g.swapped(in) {
			continue
		}
		tried[[2]string{b.ID, in.Key}] = true
		for _, f := range all {
			if f.key == in.Key {
				g.addSwap(add, b, in, f)
				break
			}
		}
	}
}

// swapped says whether the card has been exchanged and back already.
func (g *planning) swapped(in machine.Instance) bool {
	return slices.ContainsFunc(g.p.works, func(w Work) bool { return w.Kind == WorkSwap && g.e.worksOn(&w, in) })
}

func (g *planning) addSwap(add func(candidate, plan.Action), b *machine.Board, in machine.Instance, c check) {
	f, ok := g.e.def.Function(c.function)
	path, err := g.e.def.Path(c.function, c.key)
	if !ok || err != nil {
		return
	}
	with := g.soundest(b, in.Key)
	left := slices.DeleteFunc(slices.Clone(path), func(x machine.Instance) bool { return x.Stage.Board == b.ID && x.Key == in.Key })
	if with == "" || len(left) == len(path) {
		return
	}
	heard := g.hearing(left, Unprovoked)
	table := make([][]float64, len(heard))
	for i, row := range heard {
		table[i] = []float64{row[saysWorks], 1 - row[saysWorks]}
	}
	if !g.telling(table) {
		return
	}
	minutes := swapMinutes + 2*f.CheckMinutes
	step := Step{ID: fmt.Sprintf("swap/%s/%s/%s", b.ID, in.Key, with), Kind: StepSwap, Target: strings.TrimSpace(b.ID + " " + in.Key),
		Stage: in.Stage.ID, Key: in.Key, With: with, Function: f.ID, Minutes: unit.Minutes(minutes), Expect: "works with the other card"}
	// A card on its extender is reached through the cover before that.
	cover := g.cover(b.Opening, in.Key)
	if cover != plan.None && g.covers[cover].opening.Each != "" {
		cover = g.covers[cover].behind
	}
	add(candidate{step: step, path: path, powered: true, outcome: func(k int) string {
		return [...]string{"the fault goes with the card", "the fault stays"}[k]
	}}, plan.Action{Cost: minutes, Cover: cover, Like: table, Once: true})
}

// soundest is the sibling card that is least suspect.
func (g *planning) soundest(b *machine.Board, not string) string {
	best, bestP := "", 0.0
	for _, k := range g.e.def.ReplicaKeys(b.Each) {
		if k == not {
			continue
		}
		p := 0.0
		for c, in := range g.p.seen {
			if in.Key == k && in.Stage.Board == b.ID {
				p += g.p.now(g.a.post, c)
			}
		}
		if best == "" || p < bestP-1e-9 {
			best, bestP = k, p
		}
	}
	return best
}
