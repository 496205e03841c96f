package testtape

import "math"

// Tape is a calibration tape as its maker's certificate states it.
type Tape struct {
	Format              int          `yaml:"testtape" json:"testtape" jsonschema:"enum=1" jsonschema_description:"Version of this file format: 1."`
	Name                string       `yaml:"name" json:"name" jsonschema:"minLength=1,maxLength=100" jsonschema_description:"What you call this tape, with its number if it has one."`
	SpeedCmS            float64      `yaml:"speed_cm_s" json:"speed_cm_s" jsonschema:"minimum=1,maximum=160" jsonschema_description:"Nominal tape speed in centimetres per second, such as 9.525 or 38.1."`
	Reference           Reference    `yaml:"reference" json:"reference" jsonschema_description:"The fluxivity that the tape calls 0 dB."`
	EqualisationUs      Equalisation `yaml:"equalisation_us" json:"equalisation_us" jsonschema_description:"Time constants of the recorded flux in microseconds."`
	TrackLayout         Layout       `yaml:"track_layout" json:"track_layout" jsonschema:"enum=full-width,enum=per-track" jsonschema_description:"full-width when one head recorded across the whole tape, per-track when each track was recorded by itself."`
	FringingCompensated bool         `yaml:"fringing_compensated" json:"fringing_compensated" jsonschema_description:"true when the maker lowered the low tones of a full-width tape to make up for fringing."`
	Sections            []Section    `yaml:"sections" json:"sections" jsonschema:"minItems=1,maxItems=400" jsonschema_description:"The sections in the order in which the tape plays them."`
}

// Reference is the fluxivity that the tape calls 0 dB.
type Reference struct {
	FluxivityNWbM float64 `yaml:"fluxivity_nwb_m" json:"fluxivity_nwb_m" jsonschema:"minimum=10,maximum=2000" jsonschema_description:"Reference fluxivity in nanowebers per metre, such as 250."`
	ToneHz        float64 `yaml:"tone_hz" json:"tone_hz" jsonschema:"minimum=10,maximum=24000" jsonschema_description:"Frequency of the reference tone in hertz."`
	Convention    string  `yaml:"convention" json:"convention" jsonschema:"minLength=1,maxLength=60,example=short-circuit,example=open-circuit" jsonschema_description:"How the fluxivity was measured: short-circuit or open-circuit, or the certificate's own words."` // e.g. short-circuit, open-circuit
}

// Equalisation holds the time constants of the recorded flux in microseconds;
// Low 0 means no low-frequency time constant.
type Equalisation struct {
	High float64 `yaml:"high" json:"high" jsonschema:"minimum=1,maximum=1000" jsonschema_description:"High-frequency time constant in microseconds, such as 70."`
	Low  float64 `yaml:"low" json:"low" jsonschema:"minimum=0,maximum=20000" jsonschema_description:"Low-frequency time constant in microseconds, such as 3180; 0 for none."`
}

// Layout says over which width the tape was recorded.
type Layout string

// The two layouts of test tapes.
const (
	FullWidth Layout = "full-width"
	PerTrack  Layout = "per-track"
)

// Section is one stretch of the tape: a tone, or silence when ToneHz is 0.
type Section struct {
	Name    string  `yaml:"name" json:"name" jsonschema:"minLength=1,maxLength=100" jsonschema_description:"Name of the section; no two alike."`
	ToneHz  float64 `yaml:"tone_hz" json:"tone_hz" jsonschema_description:"Frequency in hertz at nominal speed, 10 to 24000; 0 for silence."`
	LevelDB float64 `yaml:"level_db" json:"level_db" jsonschema:"minimum=-100,maximum=20" jsonschema_description:"Level in dB re the tape's reference fluxivity, flux through the stated equalisation. Of no meaning, and not needed, for silence."` // re the tape's reference fluxivity, flux through the stated equalisation
	Seconds float64 `yaml:"seconds" json:"seconds" jsonschema:"exclusiveMinimum=0,maximum=3600" jsonschema_description:"Length in seconds at nominal speed."`                                                                                        // nominal length at nominal speed
}

// Silent reports whether the section is unrecorded tape.
func (s Section) Silent() bool { return s.ToneHz == 0 }

// sameTone is the relative difference up to which two stated frequencies are
// one tone: a certificate may round 3150 to 3.15k but not further.
const sameTone = 1e-3

// ReferenceSection returns the section that the others are compared with: at
// the reference tone, stated level nearest to 0 dB, the first of equals. ok is
// false when no section has the reference tone; Load refuses such a tape.
func (t *Tape) ReferenceSection() (index int, ok bool) {
	best := math.Inf(1)
	for i, s := range t.Sections {
		if s.Silent() || math.Abs(s.ToneHz/t.Reference.ToneHz-1) > sameTone {
			continue
		}
		if d := math.Abs(s.LevelDB); d < best {
			index, ok, best = i, true, d
		}
	}
	return index, ok
}
