package testtape

// Tape is a calibration tape as its maker's certificate states it.
type Tape struct {
	Format              int          `yaml:"testtape" json:"testtape"` // 1
	Name                string       `yaml:"name" json:"name"`
	SpeedCmS            float64      `yaml:"speed_cm_s" json:"speed_cm_s"`
	Reference           Reference    `yaml:"reference" json:"reference"`
	EqualisationUs      Equalisation `yaml:"equalisation_us" json:"equalisation_us"`
	TrackLayout         Layout       `yaml:"track_layout" json:"track_layout"`
	FringingCompensated bool         `yaml:"fringing_compensated" json:"fringing_compensated"`
	Sections            []Section    `yaml:"sections" json:"sections"`
}

// Reference is the fluxivity that the tape calls 0 dB.
type Reference struct {
	FluxivityNWbM float64 `yaml:"fluxivity_nwb_m" json:"fluxivity_nwb_m"`
	ToneHz        float64 `yaml:"tone_hz" json:"tone_hz"`
	Convention    string  `yaml:"convention" json:"convention"` // e.g. short-circuit, open-circuit
}

// Equalisation holds the time constants of the recorded flux in microseconds;
// Low 0 means no low-frequency time constant.
type Equalisation struct {
	High float64 `yaml:"high" json:"high"`
	Low  float64 `yaml:"low" json:"low"`
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
	Name    string  `yaml:"name" json:"name"`
	ToneHz  float64 `yaml:"tone_hz" json:"tone_hz"`
	LevelDB float64 `yaml:"level_db" json:"level_db"` // re the tape's reference fluxivity, flux through the stated equalisation
	Seconds float64 `yaml:"seconds" json:"seconds"`   // nominal length at nominal speed
}
