package job

import (
	"slices"
	"testing"
)

// Only what is exchanged is a part to have ready.
func TestWhatACureTakes(t *testing.T) {
	for _, c := range []struct {
		cure      string
		part      bool
		materials []string
	}{
		{"clean the head face with isopropanol on a swab, dry, measure again", false, []string{"isopropanol", "lint-free swabs"}},
		{"replace the capacitor, mind the polarity", true, []string{"solder", "flux", "desoldering braid"}},
		{"exercise it, then cleaner", false, []string{"contact cleaner fit for the part"}},
		{"work it a hundred times, cleaner, then lubricant", false, []string{"contact cleaner fit for the part", "oil or grease as the part asks for"}},
		{"tap, resolder", false, []string{"solder", "flux", "desoldering braid"}},
		{"fit a new belt of the right length", true, nil},
		{"set azimuth by inter-track delay, low tone first", false, nil},
		{"", true, nil},
	} {
		if exchanges(c.cure) != c.part || !slices.Equal(materials(c.cure), c.materials) {
			t.Errorf("%q: part %t, materials %q; want %t, %q", c.cure, exchanges(c.cure), materials(c.cure), c.part, c.materials)
		}
	}
}
