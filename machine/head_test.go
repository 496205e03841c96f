package machine_test

import (
	"testing"

	"headstack/machine"
)

// The gaps are invented, as the demo recorders are; sync of the open-reel one plays
// through a head whose gap nobody states.
func TestPlayHeadOfEachFunction(t *testing.T) {
	for _, c := range []struct {
		def, function, head string
		gap                 float64
	}{
		{"hexastrand", "play", "RP", 1.5},
		{"hexastrand", "play-right", "RP", 1.5},
		{"hexastrand", "record-play", "RP", 1.5},
		{"hexastrand", "out", "", 0}, // passes no head
		{"octogrange", "play", "HP", 3},
		{"octogrange", "record-play", "HP", 3},
		{"octogrange", "sync", "HR", 0},
		{"octogrange", "whistle", "", 0}, // there is no such function
	} {
		def, ok := machine.Builtin(c.def)
		if !ok {
			t.Fatal(c.def)
		}
		h := def.PlayHead(c.function)
		switch {
		case h == nil && c.head != "":
			t.Errorf("%s, %s: no head, want %s", c.def, c.function, c.head)
		case h != nil && (h.ID != c.head || h.GapUm != c.gap):
			t.Errorf("%s, %s: %s with %g µm, want %q with %g µm", c.def, c.function, h.ID, h.GapUm, c.head, c.gap)
		}
	}
}
