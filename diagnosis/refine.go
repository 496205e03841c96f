package diagnosis

import (
	"fmt"
	"math"
	"slices"
)

// A bin of a fault's effect is several dB wide, and every reading behind the fault is
// compared with its centre by itself. One reading may lie anywhere in it; ten readings
// that agree with each other to a decibel, and lie 5 dB from the centre, would speak ten
// times against the fault that explains them all. So where a reading shows a loss, the
// severities that would give just that loss get bins of their own, narrow enough that
// what is left inside them weighs little.
const (
	thinDB    = 1.5 // width of a narrow bin
	thinBins  = 3   // of them, about a loss that was seen
	thinSteps = 360 // how finely severity is run through
	// Losses that lie nearer to each other than sameLossDB are cut once.
	sameLossDB = 0.75
	maxMarks   = 4 // of a component
	// A loss is cut finely from markFromDB, where the usual bins are narrow enough
	// themselves, down to where a dead stage begins.
	markFromDB = 3
	gridDB     = 0.25 // effects are rounded to it, so that those alike are summed as one
)

// mark is a loss that was seen: what comes of an effect by project is near db.
type mark struct {
	project func(effect) effect
	db      float64
	like    string // marks with the same projection
}

// bin is the number of the narrow bin that an effect falls into, -1 for none.
func (m *mark) bin(e effect) int {
	k := math.Floor((m.project(e).db[qLevel]-m.db)/thinDB + thinBins/2.)
	if e.dead || k < 0 || k >= thinBins {
		return -1
	}
	return int(k)
}

// refine cuts the effects of the components that a loss was seen behind.
func (p *problem) refine() {
	at := make([][]mark, len(p.model.components))
	for _, m := range p.lossesSeen() {
		for _, c := range m.path {
			at[c] = addMark(at[c], m.mark)
		}
	}
	for c, marks := range at {
		if len(marks) == 0 {
			continue
		}
		in := p.seen[c]
		a := p.eng.atlas
		p.model.components[c].atoms = p.outcomes(in, atomsOf(a.modes[in.Stage], a.scope[in] == 0, marks))
	}
}

func addMark(list []mark, m mark) []mark {
	near := func(x mark) bool { return x.like == m.like && math.Abs(x.db-m.db) < sameLossDB }
	if len(list) >= maxMarks || slices.ContainsFunc(list, near) {
		return list
	}
	return append(list, m)
}

// lossSeen is a mark and the components it may be due to.
type lossSeen struct {
	mark
	path []int
}

// lossesSeen compares each value with what is expected and with its siblings.
func (p *problem) lossesSeen() []lossSeen {
	values := make([][]float64, len(p.model.families))
	for _, o := range p.model.obs {
		if o.fam >= 0 && o.hasY {
			values[o.fam] = append(values[o.fam], o.y)
		}
	}
	var out []lossSeen
	for i, o := range p.model.obs {
		if o.fam < 0 || !o.hasY {
			continue
		}
		n := &p.notes[i]
		all := slices.Sorted(slices.Values(values[o.fam]))
		var usual []float64
		if n.wide {
			usual = append(usual, all[len(all)-1])
		} else {
			usual = append(usual, 0)
		}
		if len(all) >= 3 {
			usual = append(usual, all[len(all)/2])
		}
		for _, x := range usual {
			if loss := math.Abs(o.y - x); loss >= markFromDB && loss <= deadFromDB {
				out = append(out, lossSeen{mark{o.space.project, math.Round((o.y-x)/gridDB) * gridDB, fmt.Sprint(n.measure, n.toneHz)}, o.path})
			}
		}
	}
	return out
}
