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
// severities that would give just that loss get a bin of their own, narrow enough that
// what is left inside it weighs little.
const (
	thinDB    = 2.0 // width of a narrow bin
	thinSteps = 360 // how finely severity is run through
	// Losses that lie nearer to each other than sameLossDB are cut once.
	sameLossDB = 1.0
	maxMarks   = 3 // of a component
	// A loss is cut finely from markFromDB, where the usual bins are narrow enough
	// themselves, down to where a dead stage begins.
	markFromDB = 3
	gridDB     = 0.5 // marks are rounded to it
)

// mark is a loss that was seen: what comes of an effect by project is near db.
type mark struct {
	project func(effect) effect
	db      float64
	like    string // marks with the same projection
}

// at says whether an effect gives the loss.
func (m *mark) at(e effect) bool {
	return !e.dead && math.Abs(m.project(e).db[qLevel]-m.db) < thinDB/2
}

// pin moves the centre of a bin to where it gives the loss that was seen, by the quantity
// of which most comes through. The others stay, so that faults which no observation can
// tell apart remain so. What is left inside the bin is one severity: where the level is
// lower than its centre says, the treble is less so, and the spread of the quantity that
// was moved is what makes the sum as narrow as the bin; it may be below zero.
func (m *mark) pin(e effect) effect {
	most, share := -1, 0.0
	for q := range quantities {
		var one effect
		one.db[q] = 1
		if s := m.project(one).db[qLevel]; e.db[q] != 0 && s*math.Abs(e.db[q]) > share*math.Abs(e.db[max(most, 0)]) {
			most, share = q, s
		}
	}
	if most < 0 {
		return e
	}
	e.db[most] += (m.db - m.project(e).db[qLevel]) / share
	e.sd[most] = 0
	e.sd[most] = (thinDB/math.Sqrt(12) - m.project(e).sd[qLevel]) / share
	return e
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
			if loss := x - o.y; loss >= markFromDB && loss <= deadFromDB {
				out = append(out, lossSeen{mark{o.space.project, -math.Round(loss/gridDB) * gridDB, fmt.Sprint(n.measure, n.toneHz)}, o.path})
			}
		}
	}
	return out
}
