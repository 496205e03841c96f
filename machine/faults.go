package machine

import "slices"

// kindDefault is what is assumed of a stage whose definition says nothing else.
type kindDefault struct {
	prior float64
	modes []FaultMode
}

// Kinds are the stage kinds that have built-in fault modes, sorted.
func Kinds() []string {
	var out []string
	for k := range kindDefaults {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// FaultModes returns the probability that one instance of a stage is faulty on
// an untouched machine, and the ways in which it fails: the stage's own, or the
// defaults of its kind. The weights sum to 1 and every mode has a signature. The
// slice is the caller's, what it points at is not.
func (d *Definition) FaultModes(s *Stage) (prior float64, modes []FaultMode) {
	def := kindDefaults[s.Kind]
	prior, modes = def.prior, slices.Clone(def.modes)
	if s.Prior > 0 {
		prior = s.Prior
	}
	if len(s.Faults) > 0 {
		modes = slices.Clone(s.Faults)
	}
	var sum float64
	for _, m := range modes {
		sum += m.Weight
	}
	for i := range modes {
		modes[i].Weight /= sum
		if modes[i].CureMin == 0 {
			modes[i].CureMin = defaultCureMinutes
		}
		if len(modes[i].Signature) == 0 {
			modes[i].Signature = usualSignature(s.Kind, &modes[i])
		}
	}
	return prior, modes
}

// defaultCureMinutes is a part changed on a bench-ready board.
// [estimate] common practice, no source.
const defaultCureMinutes = 15

// span is a range of decibels.
func span(low, high float64) []float64 { return []float64{low, high} }

// The effects most modes share. A dead stage passes next to nothing: what is
// left is leakage 40 to 80 dB down.
var (
	gone  = span(-80, -40)
	hissy = span(6, 30)
)

func dead(weight float64, cause, cure string, minutes float64) FaultMode {
	return FaultMode{Mode: Dead, Cause: cause, Weight: weight, LevelDB: gone, Cure: cure, CureMin: minutes}
}

// weak lowers the level at all frequencies.
func weak(weight float64, cause string, level []float64, cure string, minutes float64) FaultMode {
	return FaultMode{Mode: Weak, Cause: cause, Weight: weight, LevelDB: level, Cure: cure, CureMin: minutes}
}

// dull lowers the treble and hardly the reference tone.
func dull(weight float64, cause string, treble, level []float64, cure string, minutes float64) FaultMode {
	return FaultMode{Mode: Weak, Cause: cause, Weight: weight, TrebleDB: treble, LevelDB: level, Cure: cure, CureMin: minutes}
}

func noisy(weight float64, cause string, noise []float64, cure string, minutes float64) FaultMode {
	return FaultMode{Mode: Noisy, Cause: cause, Weight: weight, NoiseDB: noise, Cure: cure, CureMin: minutes}
}

// intermittent comes and goes; while it is there the signal drops.
func intermittent(weight float64, cause string, presence float64, cure string, minutes float64) FaultMode {
	return FaultMode{Mode: Intermittent, Cause: cause, Weight: weight, Presence: presence,
		LevelDB: span(-80, -3), NoiseDB: span(0, 20), Cure: cure, CureMin: minutes}
}

// cleaned says how often cleaning cures a mode, where that is not what one would think.
func cleaned(chance float64, m FaultMode) FaultMode {
	m.CuredBy = map[string]float64{"clean": chance}
	return m
}

// mechanical marks a mode as one of contact, dirt or alignment.
func mechanical(m FaultMode) FaultMode { m.Mechanical = true; return m }

// reachedByHand are the kinds of stage that are worked on where they are probed: with
// a plug, a trimmer or a swab, not with a soldering iron.
var reachedByHand = []string{"connector", "ribbon", "trim", "treble-trim", "trap", "head", "erase-head", "alignment"}

// WorkOpening is the opening at which a stage is repaired: that of its board's Work,
// except what is reached by hand where the board is probed.
func (d *Definition) WorkOpening(s *Stage) string {
	b, ok := d.Board(s.Board)
	switch {
	case !ok:
		return ""
	case b.Work == "" || slices.Contains(reachedByHand, s.Kind):
		return b.Opening
	}
	return b.Work
}
