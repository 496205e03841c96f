package lining

import (
	"fmt"

	"headstack/lineup"
	"headstack/machine"
	"headstack/testtape"
)

func tapeName(cmS float64) string { return fmt.Sprintf("tape of %g cm/s", cmS) }

// testTapes are tapes without error at the recorder's own references, one a speed.
func testTapes(d *machine.Definition) []lineup.TapeAtHand {
	var out []lineup.TapeAtHand
	for _, v := range d.Speeds {
		out = append(out, lineup.TapeAtHand{Tape: &testtape.Tape{Format: 1, Name: tapeName(v.CmS), SpeedCmS: v.CmS,
			Reference:      testtape.Reference{FluxivityNWbM: d.Reference.FluxivityNWbM, ToneHz: d.Reference.ToneHz, Convention: d.Reference.Convention},
			EqualisationUs: testtape.Equalisation{High: v.HighUs, Low: v.LowUs}, TrackLayout: "per-track",
			Sections: []testtape.Section{{Name: "reference", ToneHz: d.Reference.ToneHz, Seconds: 60}, {Name: "speed", ToneHz: 3150, LevelDB: -10, Seconds: 60},
				{Name: "treble", ToneHz: lineup.TrebleHz(v.CmS), LevelDB: -20, Seconds: 60}, {Name: "bass", ToneHz: 63, LevelDB: -20, Seconds: 60}}}})
	}
	return out
}
