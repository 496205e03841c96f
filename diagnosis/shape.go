package diagnosis

import (
	"math"
	"math/bits"
	"slices"

	"headstack/signature"
)

// shapes is a set of shapes that faults give to the response, the delays and the
// steadiness of a capture, one bit each. A fault of the level alone has none: what it
// does is in the level figure, and is not counted twice.
type shapes uint16

// shapeCauses are the causes by bit.
var shapeCauses = []signature.Cause{signature.Spacing, signature.SpacingRamp, signature.Azimuth, signature.GapWear, signature.Height,
	signature.Equalisation, signature.LowCorner, signature.HighCorner, signature.HeadOpen, signature.NoiseReductionOn,
	signature.UnsteadyContact, signature.UnsteadyJoint}

// comparative are the causes that can only be judged beside other tracks. Where a
// capture had none, nothing speaks against them.
var comparative = shapeOf(signature.Spacing) | shapeOf(signature.SpacingRamp) | shapeOf(signature.Azimuth) | shapeOf(signature.GapWear) |
	shapeOf(signature.UnsteadyContact)

// shapeOf is the bit of a cause, none for one of the level alone.
func shapeOf(c signature.Cause) shapes {
	if k := slices.Index(shapeCauses, c); k >= 0 {
		return 1 << k
	}
	return 0
}

// shapesOf are the alternatives that a fault mode's signatures name; at least one.
func shapesOf(words []string) []shapes {
	var out []shapes
	for _, w := range words {
		out = append(out, shapeOf(signature.Cause(w)))
	}
	if len(out) == 0 {
		return []shapes{0}
	}
	return out
}

// How far the shape of a loss is trusted.
const (
	// wrongFit is the probability that the cause fitted to a track is wrong: a law that
	// this machine does not follow, a channel mixed up. wrongShared is the same of what
	// all tracks share, where the tape itself may not be what it is said to be. A wrong
	// fit names any of the n causes, each cause that it names by itself, so that one
	// capture is worth at most log2(1 + n·(1-wrong)/wrong) for each cause found: 11 bits
	// on a track, 10 bits for what all share. Estimates: a sound machine of six tracks is
	// to show a cause in 2 % of captures.
	wrongFit    = 0.005
	wrongShared = 0.01
	// pairMargin is by how much (natural logarithm) two causes must fit better than
	// one before the second is believed: laws are right to a small part of a large loss.
	pairMargin = 5
)

// shapeTable is the likelihood of each shape on one track, or of each that all share.
// Natural logarithms relative to nothing at all.
type shapeTable struct {
	flat   float64 // a loss without shape: none, or of the level
	single map[shapes]float64
	both   map[shapes]float64
	best   float64 // the largest of all
	top    shapes  // that has it, as fitted
	found  shapes  // that has it where one fault may give two
	wrong  float64 // probability that the fit is wrong
}

// newShapeTable makes the table of one track. The level figure says whether the gain is
// wrong, so each shape is taken with a wrong gain or without, whichever fits.
func newShapeTable(single map[signature.Cause]float64, both map[signature.Pair]float64) *shapeTable {
	t := &shapeTable{single: map[shapes]float64{}, both: map[shapes]float64{}, wrong: wrongFit}
	if g, ok := single[signature.Gain]; ok && finite(g) {
		t.flat = math.Max(0, g)
	}
	t.best = t.flat
	for c, l := range single {
		if s := shapeOf(c); s != 0 && !math.IsNaN(l) {
			if with, ok := both[signature.PairOf(c, signature.Gain)]; ok && with > l {
				l = with
			}
			t.single[s] = math.Min(l, math.MaxFloat64)
			t.best = math.Max(t.best, t.single[s])
		}
	}
	for p, l := range both {
		a, b := shapeOf(p[0]), shapeOf(p[1])
		x, okA := t.single[a]
		y, okB := t.single[b]
		if a == 0 || b == 0 || !okA || !okB || math.IsNaN(l) {
			continue
		}
		if one := math.Max(x, y); l > one {
			l = math.Max(one, l-pairMargin)
		}
		t.both[a|b] = l
		t.best = math.Max(t.best, l)
	}
	t.top = t.bestSet()
	t.fold()
	t.found = t.bestSet()
	return t
}

// oneFault are pairs of shapes that one fault gives: the first of each pair is then what
// it is called by. A head out of zenith may touch badly at its better edge too, a worn
// one or one with poor contact holds the tape off.
var oneFault = [][2]shapes{
	{shapeOf(signature.SpacingRamp), shapeOf(signature.Spacing)},
	{shapeOf(signature.GapWear), shapeOf(signature.Spacing)},
	{shapeOf(signature.UnsteadyContact), shapeOf(signature.Spacing)},
	{shapeOf(signature.Spacing), shapeOf(signature.UnsteadyContact)},
}

// fold lets one fault account for two shapes where it gives both.
func (t *shapeTable) fold() {
	for _, f := range oneFault {
		if l, ok := t.both[f[0]|f[1]]; ok {
			t.single[f[0]] = math.Max(t.single[f[0]], l)
		}
	}
	open := shapeOf(signature.HeadOpen) // what else is fitted to next to nothing is no fault
	for set, l := range t.both {
		if set&open != 0 {
			t.single[open] = math.Max(t.single[open], l)
		}
	}
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// given is the table where a shared cause acts too: single causes are known anew, pairs
// are worth as much more or less than their parts as without it.
func given(single map[signature.Cause]float64, without map[signature.Cause]float64, both map[signature.Pair]float64) *shapeTable {
	moved := map[signature.Pair]float64{}
	for p, l := range both {
		x, y := without[p[0]], without[p[1]]
		if v := l - x - y + single[p[0]] + single[p[1]]; finite(v) {
			moved[p] = v
		}
	}
	return newShapeTable(single, moved)
}

// one is the logarithm for one shape. A shape that was not judged is as good as the
// best where it takes other tracks to judge it, else it was looked for in vain.
func (t *shapeTable) one(s shapes) float64 {
	if l, ok := t.single[s]; ok {
		return l
	}
	if s&comparative != 0 {
		return t.best
	}
	return t.flat
}

// log is the logarithm for a set of shapes that act together. Where nothing is known of
// a pair, the second can take from the first but adds nothing.
func (t *shapeTable) log(set shapes) float64 {
	list := split(set)
	switch len(list) {
	case 0:
		return t.flat
	case 1:
		return t.one(list[0])
	case 2:
		if l, ok := t.both[set]; ok {
			return l
		}
		x, y := t.one(list[0]), t.one(list[1])
		return math.Max(x, y) + math.Min(0, math.Min(x, y))
	}
	best := math.Inf(-1)
	for i, a := range list {
		for j, b := range list[:i] {
			l := t.log(a | b)
			for k, c := range list {
				if k != i && k != j {
					l += math.Min(0, t.one(c))
				}
			}
			best = math.Max(best, l)
		}
	}
	return best
}

// p is the likelihood of a set of shapes against the best one.
func (t *shapeTable) p(set shapes) float64 { return math.Exp(t.log(set) - t.best) }

// slip is the likelihood that a wrong fit shows what was found where set acts: one wrong
// cause for each that was found beside it, taken for another or missed.
func (t *shapeTable) slip(set shapes) float64 {
	count := func(s shapes) int { return bits.OnesCount16(uint16(s)) }
	slips := max(1, count(t.found&^set), count(set&^t.found))
	return math.Pow(t.wrong/t.labels(), float64(slips))
}

// labels is how many shapes a wrong fit may name.
func (t *shapeTable) labels() float64 { return float64(len(t.single) + 1) }

// deaf takes an open winding for one of the ways of losing everything: nothing tells
// it from a stage that is dead.
func (m *shapeModel) deaf() {
	m.table.deaf()
	for _, g := range m.given {
		g.table.deaf()
	}
}

func (t *shapeTable) deaf() {
	s := shapeOf(signature.HeadOpen)
	if l, ok := t.single[s]; ok {
		t.flat = math.Max(t.flat, l)
		t.single[s] = t.flat
	}
	for p := range t.both {
		if p&s != 0 {
			delete(t.both, p)
		}
	}
	t.found = t.bestSet()
	t.best = t.log(t.found)
}

// split lists the bits of a set.
func split(set shapes) []shapes {
	var out []shapes
	for ; set != 0; set &= set - 1 {
		out = append(out, 1<<bits.TrailingZeros16(uint16(set)))
	}
	return out
}

// shapeModel is what the shape of the loss says on one track, or on all.
type shapeModel struct {
	shared bool
	table  *shapeTable
	// given are the tables where a shared shape acts, those that fit best first.
	given []givenTable
}

type givenTable struct {
	common shapes
	table  *shapeTable
}

// like is the likelihood: state 0 right, state 1 a wrong fit.
func (m shapeModel) like(arrive []total, _ float64, out []float64) {
	out[0], out[1] = 0, 0
	for _, t := range arrive {
		table, set := m.of(t)
		out[0] += t.p * (1 - table.wrong) * table.p(set)
		out[1] += t.p * table.slip(set)
	}
}

// of is the table that holds in a case and the shapes to look for in it.
func (m shapeModel) of(t total) (*shapeTable, shapes) {
	if m.shared {
		return m.table, t.common
	}
	table := m.table
	for _, g := range m.given {
		if g.common&t.common != 0 {
			table = g.table
			break
		}
	}
	own := t.own
	if t.dead {
		own &= shapeOf(signature.HeadOpen) // nothing else is left to be seen
	}
	return table, own
}

// seen reduces an effect to what the observation of a track perceives: a shape that the
// capture did not judge as shared is looked for on each track.
func (m shapeModel) seen(judged shapes) func(effect) effect {
	var matters shapes
	for _, g := range m.given {
		matters |= g.common
	}
	return func(e effect) effect {
		if m.shared {
			return effect{presence: e.presence, common: e.common & judged}
		}
		return effect{presence: e.presence, dead: e.dead, own: e.own | e.common&^judged, common: e.common & matters}
	}
}
