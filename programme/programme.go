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
	// Staircase carries a treble tone, and a low one beside it where both are to be
	// known, with marks at which a trim is moved.
	Staircase Kind = "staircase"
)

// Sine is one steady tone of a part.
type Sine struct {
	Hz       float64 `yaml:"hz" json:"hz" jsonschema:"minimum=10,maximum=24000" jsonschema_description:"Frequency in hertz."`
	LevelDB  float64 `yaml:"level_db" json:"level_db" jsonschema:"minimum=-100,maximum=30" jsonschema_description:"Level in dB re the programme's reference level."`                                                // re the programme's reference level
	PhaseDeg float64 `yaml:"phase_deg,omitempty" json:"phase_deg,omitempty" jsonschema:"minimum=-360,maximum=360" jsonschema_description:"Phase in degrees of the sine at the start of the part; 0 when left out."` // at the start of the part
}

// Part is one stretch of a programme.
type Part struct {
	Name    string  `yaml:"name" json:"name" jsonschema:"minLength=1,maxLength=100" jsonschema_description:"Name of the part; no two alike."`
	Kind    Kind    `yaml:"kind" json:"kind" jsonschema_description:"What the part is for."`
	Seconds float64 `yaml:"seconds" json:"seconds" jsonschema:"minimum=0.1,maximum=3600" jsonschema_description:"Length in seconds."`
	// All is what every track carries; nil when Each says it.
	All []Sine `yaml:"all,omitempty" json:"all,omitempty" jsonschema:"maxItems=64" jsonschema_description:"The tones that every track carries; not beside each."`
	// Each, by track from 0, is what each track carries; shorter than the number of
	// tracks: nothing on the rest.
	Each [][]Sine `yaml:"each,omitempty" json:"each,omitempty" jsonschema:"maxItems=32" jsonschema_description:"The tones of each track, from track 1; [] for none; tracks left out at the end carry none."`
	// StepSeconds is the time between the marks of a staircase, or the length of one
	// step of a companding part; else 0. Each companding step is a part of its own, so
	// that it is then equal to Seconds.
	StepSeconds float64 `yaml:"step_seconds,omitempty" json:"step_seconds,omitempty" jsonschema:"minimum=0,maximum=3600" jsonschema_description:"Time between the marks of a staircase in seconds; of a companding part, its length."`
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
	Format   int     `yaml:"programme" json:"programme" jsonschema:"enum=1" jsonschema_description:"Version of this file form: 1."` // of this file form: 1
	Name     string  `yaml:"name" json:"name" jsonschema:"minLength=1,maxLength=100" jsonschema_description:"What you call this programme."`
	Tracks   int     `yaml:"tracks" json:"tracks" jsonschema:"minimum=1,maximum=32" jsonschema_description:"Number of tracks of the machine."`
	SpeedCmS float64 `yaml:"speed_cm_s" json:"speed_cm_s" jsonschema:"minimum=1,maximum=160" jsonschema_description:"Nominal tape speed in cm/s, such as 9.525 or 38.1."`
	// ReferenceHz is the tone of the reference part, to which responses refer.
	ReferenceHz float64 `yaml:"reference_hz" json:"reference_hz" jsonschema:"minimum=10,maximum=24000" jsonschema_description:"Frequency in hertz of the reference tone; one part of kind tone carries it at 0 dB on all tracks."`
	// ReferenceDBFS is the level in the written file that stands for 0 dB, a
	// full-scale sine being 0 dBFS.
	ReferenceDBFS float64 `yaml:"reference_dbfs" json:"reference_dbfs" jsonschema:"minimum=-60,maximum=0" jsonschema_description:"Level in the written file that stands for 0 dB, in dBFS: full-scale sine = 0."`
	// Rounds lists the tracks recorded in each round, in order; one round of all
	// tracks when the machine records them all at once.
	Rounds [][]int `yaml:"rounds" json:"rounds" jsonschema:"minItems=1,maxItems=32" jsonschema_description:"The tracks recorded in each round, each track once."`
	Parts  []Part  `yaml:"parts" json:"parts" jsonschema:"minItems=1,maxItems=400" jsonschema_description:"The parts in the order of recording."`
}
