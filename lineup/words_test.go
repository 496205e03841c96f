package lineup

import (
	"testing"

	"headstack/machine"
)

func TestWordsOfEveryStep(t *testing.T) {
	def := &machine.Definition{Trims: []machine.Trim{{ID: "VRa", Part: "VRa-{track}", Each: "track"}, {ID: "VR1", Part: "VR1"}}}
	for id, want := range map[string]string{
		"level/VRa/6":        "play level, VRa-6",
		"speed/VR1":          "speed, VR1",
		"level_again/38.1/3": "play level again, 38.1 cm/s, track 3",
		"path_clean":         "whole tape path clean and dry",
		"level/gone/2":       "play level, gone, track 2", // of a definition that has lost the trim
		"nothing/VRa/6":      "nothing/VRa/6",
		"":                   "",
	} {
		if got := Words(def, id); got != want {
			t.Errorf("%q is said as %q, want %q", id, got, want)
		}
	}
}
