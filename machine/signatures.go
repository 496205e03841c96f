package machine

import "slices"

// Signatures are the words for what a fault looks like in a capture: the causes that
// package signature tells apart, and "none" for a fault that leaves response, delays
// and steadiness alone, such as a noise.
func Signatures() []string {
	return []string{"none", "gain", "spacing", "spacing_ramp", "azimuth", "gap_wear", "height", "equalisation", "low_corner", "high_corner",
		"group_gain", "head_open", "noise_reduction_on", "unsteady_contact", "unsteady_joint"}
}

// maxSignatures is how many alternatives one fault mode may have.
const maxSignatures = 4

// looks states the signatures of a mode where its effects do not tell.
func looks(m FaultMode, signatures ...string) FaultMode { m.Signature = signatures; return m }

// usualSignature is what the effects of a mode suggest. Treble that goes with tape
// contact goes as spacing does, treble lost in electronics above a corner, bass below
// one; a stage that comes and goes cuts all frequencies alike, now and then or through
// the whole of a capture. Whoever knows better says so in the definition.
func usualSignature(kind string, m *FaultMode) []string {
	falls := func(r []float64) bool { return len(r) == 2 && min(r[0], r[1]) < 0 }
	switch {
	case m.Mode == Intermittent && m.Mechanical:
		return []string{"unsteady_contact"}
	case m.Mode == Intermittent:
		return []string{"unsteady_joint", "gain"}
	case kind == "head" && slices.Equal(m.LevelDB, gone):
		return []string{"head_open"}
	case falls(m.TrebleDB) && m.Mechanical:
		return []string{"spacing"}
	case falls(m.TrebleDB):
		return []string{"high_corner"}
	case falls(m.BassDB):
		return []string{"low_corner"}
	case m.Mode == Dead, len(m.LevelDB) == 2:
		return []string{"gain"}
	}
	return []string{"none"}
}
