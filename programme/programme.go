package programme

// Kind says what a part of a programme is for.
type Kind string

// The kinds of parts.
const (
	// Identity carries a tone of its own on each track: a swapped cable or a wrong
	// track number shows, and a reversed polarity.
	Identity Kind = "identity"
	// Tone carries one tone on all tracks.
	Tone Kind = "tone"
	// Step is one of several levels of the same tone on all tracks.
	Step Kind = "level-step"
	// Comb carries third-octave tones all at once, for a fast response.
	Comb Kind = "comb"
	// TwoTone carries two tones for intermodulation.
	TwoTone Kind = "two-tone"
	// Silence carries nothing on any track.
	Silence Kind = "silence"
	// OneTrack carries a tone on one track while the others record silence.
	OneTrack Kind = "one-track"
	// Erase carries a tone that is later recorded over with silence in its second half.
	Erase Kind = "erase"
	// Companding carries low-level steps of two tones, to tell a noise reduction left on.
	Companding Kind = "companding"
	// Staircase carries a treble tone with marks between which a trim is moved.
	Staircase Kind = "staircase"
)

// Sine is one steady tone of a part.
type Sine struct {
	Hz       float64 `yaml:"hz" json:"hz"`
	LevelDB  float64 `yaml:"level_db" json:"level_db"`                       // re the programme's reference level
	PhaseDeg float64 `yaml:"phase_deg,omitempty" json:"phase_deg,omitempty"` // at the start of the part
}

// Part is one stretch of a programme.
type Part struct {
	Name    string  `yaml:"name" json:"name"`
	Kind    Kind    `yaml:"kind" json:"kind"`
	Seconds float64 `yaml:"seconds" json:"seconds"`
	// All is what every track carries; nil when Each says it.
	All []Sine `yaml:"all,omitempty" json:"all,omitempty"`
	// Each, by track from 0, is what each track carries; shorter than the number of
	// tracks: nothing on the rest.
	Each [][]Sine `yaml:"each,omitempty" json:"each,omitempty"`
	// StepSeconds is the time between the marks of a staircase, or the length of one
	// step of a companding part; else 0.
	StepSeconds float64 `yaml:"step_seconds,omitempty" json:"step_seconds,omitempty"`
}

// On returns what a track, from 1, carries in the part.
func (p Part) On(track int) []Sine {
	switch {
	case p.All != nil:
		return p.All
	case track >= 1 && track <= len(p.Each):
		return p.Each[track-1]
	}
	return nil
}

// Programme is what is recorded through a machine.
type Programme struct {
	Format   int     `yaml:"programme" json:"programme"` // of this file form: 1
	Name     string  `yaml:"name" json:"name"`
	Tracks   int     `yaml:"tracks" json:"tracks"`
	SpeedCmS float64 `yaml:"speed_cm_s" json:"speed_cm_s"`
	// ReferenceHz is the tone of the reference part, to which responses refer.
	ReferenceHz float64 `yaml:"reference_hz" json:"reference_hz"`
	// ReferenceDBFS is the level in the written file that stands for 0 dB, a
	// full-scale sine being 0 dBFS.
	ReferenceDBFS float64 `yaml:"reference_dbfs" json:"reference_dbfs"`
	// Rounds lists the tracks recorded in each round, in order; one round of all
	// tracks when the machine records them all at once.
	Rounds [][]int `yaml:"rounds" json:"rounds"`
	Parts  []Part  `yaml:"parts" json:"parts"`
}
