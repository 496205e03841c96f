package diagnosis

import (
	"math"

	"headstack/machine"
)

// Fault effects that are ranges are cut into a few bins. The bins lie at the
// same places for all stages, so that faults which no observation can tell
// apart have exactly the same effect and are summed as one. Observations are
// independent given the bin; what is left inside a bin widens each of them. Where a
// loss was seen the bins are narrow (refine.go), so that several readings behind one
// weak stage agree as they should.

// bin is a stretch of an effect, in dB away from nothing.
type bin struct{ centre, sd float64 }

// lossEdges and noiseEdges cut a loss of level, treble or bass, and a rise of
// the noise. A bin's spread is that of a uniform density over it.
var (
	lossEdges  = []float64{0.25, 1.5, 4, 8, 14, 22, 38, 90}
	noiseEdges = []float64{1, 6, 14, 36}
)

// deadFromDB: a fault whose smallest loss is more than this lets nothing pass.
const deadFromDB = 35

// place finds the bin of an amount; nothing below the first edge.
func place(edges []float64, x float64) (int, bin) {
	if x < edges[0] {
		return -1, bin{}
	}
	k := 0
	for k < len(edges)-2 && x >= edges[k+1] {
		k++
	}
	return k, bin{(edges[k] + edges[k+1]) / 2, (edges[k+1] - edges[k]) / math.Sqrt(12)}
}

// severitySteps is how finely a fault's severity is run through to find its
// share of each bin; smallShare is the share under which a bin joins its
// neighbour.
const (
	severitySteps = 60
	smallShare    = 0.06
)

// atomsOf turns the fault modes of a stage into atoms. A mode with ranges for
// several quantities has one severity that moves through all of them together,
// the mild end of one with the mild end of the others. About marks the bins are
// narrow.
//
// A mode with several signatures is each of them in equal parts. Of a stage that
// all tracks share they are common shapes.
func atomsOf(modes []machine.FaultMode, shared bool, marks []mark) []atom {
	var out []atom
	for i, m := range modes {
		if m.Weight <= 0 {
			continue
		}
		list := shapesOf(m.Signature)
		for _, at := range modeAtoms(i, &m, marks) {
			at.weight /= float64(len(list))
			for _, s := range list {
				if at.effect.own = s; shared {
					at.effect.own, at.effect.common = 0, s
				}
				out = append(out, at)
			}
		}
	}
	return out
}

// stretch is a range of severities that are taken as one.
type stretch struct {
	key   stretchKey
	e     effect
	share float64
}

// stretchKey is the bin of each quantity, and which marks it lies at.
type stretchKey struct {
	wide [quantities]int
	near [maxMarks]bool
}

func (k stretchKey) narrow() bool { return k.near != [maxMarks]bool{} }

func modeAtoms(i int, m *machine.FaultMode, marks []mark) []atom {
	steps := severitySteps
	if len(marks) > 0 {
		steps = thinSteps
	}
	var slots []stretch
	for step := range steps {
		wide, e, raw := severity(m, (float64(step)+0.5)/float64(steps))
		key := stretchKey{wide: wide}
		for k := range marks {
			key.near[k] = marks[k].at(raw)
		}
		if last := len(slots) - 1; last >= 0 && slots[last].key == key {
			slots[last].share += 1 / float64(steps)
			continue
		}
		for k := range marks {
			if key.near[k] {
				e = marks[k].pin(e)
			}
		}
		slots = append(slots, stretch{key, e, 1 / float64(steps)})
	}
	slots = joinSmall(slots)
	out := make([]atom, len(slots))
	for k, s := range slots {
		out[k] = atom{mode: i, weight: m.Weight * s.share, effect: s.e}
	}
	return out
}

// joinSmall lets slots of a small share join their neighbours, except narrow ones.
func joinSmall(slots []stretch) []stretch {
	for k := 0; k < len(slots); k++ {
		if slots[k].share >= smallShare || slots[k].key.narrow() {
			continue
		}
		to := -1
		for _, next := range []int{k - 1, k + 1} {
			if next >= 0 && next < len(slots) && !slots[next].key.narrow() && (to < 0 || slots[next].share > slots[to].share) {
				to = next
			}
		}
		if to < 0 {
			continue
		}
		slots[to].share += slots[k].share
		slots = append(slots[:k], slots[k+1:]...)
		k = -1
	}
	return slots
}

// severity is the effect of a mode at severity u from 0 (mild) to 1: put into bins, and
// as it is.
func severity(m *machine.FaultMode, u float64) (key [quantities]int, e, raw effect) {
	e.presence, e.mode = m.ShowsWhen(""), m
	for q, r := range [quantities][]float64{m.LevelDB, m.TrebleDB, m.BassDB, m.NoiseDB} {
		key[q] = -1
		if len(r) != 2 {
			continue
		}
		low, high := math.Min(r[0], r[1]), math.Max(r[0], r[1])
		if q == qNoise {
			var b bin
			raw.db[q] = low + u*(high-low)
			key[q], b = place(noiseEdges, raw.db[q])
			e.db[q], e.sd[q] = b.centre, b.sd
			continue
		}
		var b bin
		raw.db[q] = high + u*(low-high)
		key[q], b = place(lossEdges, -raw.db[q])
		e.db[q], e.sd[q] = -b.centre, b.sd
		if q == qLevel && -high >= deadFromDB {
			e.dead = true
		}
	}
	if m.Mode == machine.Dead {
		e.dead = true
	}
	if e.dead {
		key[qLevel], e.db[qLevel], e.sd[qLevel] = -1, 0, 0
	}
	raw.dead = e.dead
	return key, e, raw
}
