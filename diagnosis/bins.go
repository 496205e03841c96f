package diagnosis

import (
	"math"

	"headstack/machine"
)

// Fault effects that are ranges are cut into a few bins. The bins lie at the
// same places for all stages, so that faults which no observation can tell
// apart have exactly the same effect and are summed as one. Observations are
// independent given the bin; what is left inside a bin widens each of them, so
// that several readings behind one weak stage agree as they should.

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
// the mild end of one with the mild end of the others.
//
// A mode with several signatures is each of them in equal parts. Of a stage that
// all tracks share they are common shapes.
func atomsOf(modes []machine.FaultMode, shared bool) []atom {
	var out []atom
	for i, m := range modes {
		if m.Weight <= 0 {
			continue
		}
		list := shapesOf(m.Signature)
		for _, at := range modeAtoms(i, &m) {
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

func modeAtoms(i int, m *machine.FaultMode) []atom {
	type slot struct {
		key   [quantities]int
		e     effect
		share float64
	}
	var slots []slot
	for step := range severitySteps {
		u := (float64(step) + 0.5) / severitySteps
		key, e := severity(m, u)
		if last := len(slots) - 1; last >= 0 && slots[last].key == key {
			slots[last].share += 1.0 / severitySteps
			continue
		}
		slots = append(slots, slot{key, e, 1.0 / severitySteps})
	}
	for k := 0; k < len(slots) && len(slots) > 1; k++ {
		if slots[k].share >= smallShare {
			continue
		}
		to := k - 1
		if k == 0 || k+1 < len(slots) && slots[k+1].share > slots[k-1].share {
			to = k + 1
		}
		slots[to].share += slots[k].share
		slots = append(slots[:k], slots[k+1:]...)
		k = -1
	}
	out := make([]atom, len(slots))
	for k, s := range slots {
		out[k] = atom{mode: i, weight: m.Weight * s.share, effect: s.e}
	}
	return out
}

// severity is the effect of a mode at severity u from 0 (mild) to 1.
func severity(m *machine.FaultMode, u float64) (key [quantities]int, e effect) {
	e.presence, e.mode = m.ShowsWhen(""), m
	for q, r := range [quantities][]float64{m.LevelDB, m.TrebleDB, m.BassDB, m.NoiseDB} {
		key[q] = -1
		if len(r) != 2 {
			continue
		}
		low, high := math.Min(r[0], r[1]), math.Max(r[0], r[1])
		if q == qNoise {
			var b bin
			key[q], b = place(noiseEdges, low+u*(high-low))
			e.db[q], e.sd[q] = b.centre, b.sd
			continue
		}
		var b bin
		key[q], b = place(lossEdges, -(high + u*(low-high)))
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
	return key, e
}
