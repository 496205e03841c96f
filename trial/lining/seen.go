package lining

import (
	"fmt"
	"slices"

	"headstack/machine"
	"headstack/sim/trims"
)

// asSeen is the definition as the technician has it on the bench: the ranges of what is
// seen to take more than a turn say so, as whoever writes a definition would add.
func asSeen(m *trims.Recorder) *machine.Definition {
	d := m.Def.Clone()
	d.Trims = slices.Clone(d.Trims)
	for i := range d.Trims {
		t := &d.Trims[i]
		for _, ref := range m.Trims() {
			if ref.ID != t.ID {
				continue
			}
			if kind, travel, _ := m.KindOf(ref); kind == trims.MultiTurn || kind == trims.Screw {
				t.Range += fmt.Sprintf(" over %g turns", travel)
			}
			break
		}
	}
	return d
}
