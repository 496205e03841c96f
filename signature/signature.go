package signature

import (
	"headstack/tape"
	"headstack/testtape"
)

// Cause is a class of trouble by what it does to the response, the delays and the
// steadiness of the tracks. The values are those of the JSON form.
type Cause string

// The causes that are told apart.
const (
	None             Cause = "none"               // nothing beyond what sound machines show
	Gain             Cause = "gain"               // one track low or high at all tones
	Spacing          Cause = "spacing"            // tape away from the head: dirt, pad, pressure
	SpacingRamp      Cause = "spacing_ramp"       // spacing that grows across the head: zenith, guide, uneven wear
	Azimuth          Cause = "azimuth"            // gap not square to the recording
	GapWear          Cause = "gap_wear"           // gap longer than the chain makes up for
	Height           Cause = "height"             // core partly beside what was recorded
	Equalisation     Cause = "equalisation"       // replay curve of another standard
	LowCorner        Cause = "low_corner"         // bass lost below a first-order corner
	HighCorner       Cause = "high_corner"        // treble lost above a first-order corner of the electronics
	GroupGain        Cause = "group_gain"         // a group of tracks low or high together
	HeadOpen         Cause = "head_open"          // next to no signal, more noise: open winding or lead
	NoiseReductionOn Cause = "noise_reduction_on" // level steps stretched
	UnsteadyContact  Cause = "unsteady_contact"   // treble flickers, bass stands
	UnsteadyJoint    Cause = "unsteady_joint"     // all frequencies flicker alike
)

// Nature says where a cause sits.
type Nature string

// The natures of causes.
const (
	Mechanical Nature = "mechanical" // contact, alignment, wear, guiding
	Electrical Nature = "electrical" // head winding, lead, board, setting of the electronics
	Neither    Nature = ""           // nothing is wrong
)

// NatureOf is where a cause sits. A single low gain may be either; it counts as
// electrical because no contact leaves the treble alone.
func NatureOf(c Cause) Nature {
	switch c {
	case None:
		return Neither
	case Spacing, SpacingRamp, Azimuth, GapWear, Height, UnsteadyContact:
		return Mechanical
	}
	return Electrical
}

// Names of parameters in the JSON form.
const (
	GainDB        = "gain_db"        // re the mean of the tracks without such a finding
	SpacingUm     = "spacing_um"     // distance of tape and head; in a comparison its change
	AzimuthArcmin = "azimuth_arcmin" // positive: a higher track plays later
	GapUm         = "gap_um"         // gap length of which nothing is made up for, or of the head where its design gap is known
	CornerHz      = "corner_hz"      // first-order corner; of an equalisation the treble turnover of the replay chain
)

// Parameter is one number of a finding with its 95 % credible interval.
type Parameter struct {
	Name  string
	Track int // from 1; 0 for all tracks together (null in JSON)
	Value float64
	Unit  string
	Lo    float64
	Hi    float64
}

// Finding is one cause on some tracks.
type Finding struct {
	Cause       Cause       `json:"cause"`
	Tracks      []int       `json:"tracks"` // from 1, rising; empty for none
	Parameters  []Parameter `json:"parameters"`
	Probability float64     `json:"probability"` // that this cause acts on these tracks
	Nature      Nature      `json:"nature"`
	// Sentence says it in plain words with numbers.
	Sentence string `json:"sentence"`
	// WouldSeparate is the next cheap test that would tell this finding from what
	// remains possible, or which of its sources it is; empty where nothing does.
	WouldSeparate string `json:"would_separate"`
}

// Explanation is what a capture says about the causes of its response, and the JSON
// object that `headstack explain --json` prints.
type Explanation struct {
	// Findings, most probable first. A sound capture has the one finding None.
	Findings []Finding `json:"findings"`
	// Open lists what these tones cannot tell apart.
	Open []Confusion `json:"open"`
	// Curves are measured points, fit and contributions, one per track.
	Curves []Curve `json:"curves"`
	// Set aside: figures that fit nothing and were not used, in words.
	SetAside []string `json:"set_aside"`
	Warnings []string `json:"warnings"`
	// Reference says what 0 dB is ("what a sound track plays: ..."), Method how the figures came about.
	Reference string `json:"reference"`
	Method    string `json:"method"`
}

// Confusion is a pair of causes that the tones at hand do not tell apart.
type Confusion struct {
	A             Cause  `json:"a"`
	B             Cause  `json:"b"`
	Tracks        []int  `json:"tracks"`
	Sentence      string `json:"sentence"`
	WouldSeparate string `json:"would_separate"`
}

// Curve is the response of one track with what the most probable causes make of it.
type Curve struct {
	Track         int            `json:"track"`
	Points        []CurvePoint   `json:"points"`        // rising frequency
	Contributions []Contribution `json:"contributions"` // of each cause, dB at the points' frequencies
}

// CurvePoint is one tone of a track. Levels are dB re what a sound track plays.
type CurvePoint struct {
	Hz         float64 `json:"hz"`
	Section    string  `json:"section"`
	MeasuredDB float64 `json:"measured_db"`
	Lo         float64 `json:"lo"` // 95 % interval of the measurement and the tape's tone error
	Hi         float64 `json:"hi"`
	FittedDB   float64 `json:"fitted_db"`
	SetAside   bool    `json:"set_aside,omitempty"`
}

// Contribution is what one cause takes from or adds to a track.
type Contribution struct {
	Cause Cause     `json:"cause"`
	DB    []float64 `json:"db"`
}

// Group is a set of tracks that share something: a record group, a board, a plug.
type Group struct {
	Name   string
	Tracks []int // from 1
}

// Options say what was played and on what.
type Options struct {
	// Tape is the test tape, or Programme.Tape of a record programme.
	Tape *testtape.Tape
	// Geometry is that of the playing head.
	Geometry tape.Geometry
	// SpeedCmS is the machine's nominal speed; 0 takes the tape's.
	SpeedCmS float64
	// Groups of the definition; odd and even tracks are always looked at.
	Groups []Group
	// DesignGapUm is the replay gap that the chain makes up for; 0: not known.
	DesignGapUm float64
	// ToneErrorDB is the standard deviation of the tape's unknown tone errors; 0 takes
	// 0.17 dB, even spread within ±0.3 dB (common practice, no source).
	ToneErrorDB float64
	// OwnRecording says that the machine recorded what it plays.
	OwnRecording bool
}
