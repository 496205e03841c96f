package machine

// Definition describes one recorder type: what a technician writes once, from a
// circuit diagram, so that every machine of the type can be measured, diagnosed
// and lined up. One track is described; Replicas make the others.
type Definition struct {
	Format int    `yaml:"machine" json:"machine" jsonschema:"enum=1"` // 1
	ID     string `yaml:"id" json:"id"`                               // short name for files and records, [a-z0-9-]+
	Make   string `yaml:"make" json:"make"`
	Name   string `yaml:"name" json:"name"`
	Notes  string `yaml:"notes,omitempty" json:"notes,omitempty"`

	Medium    Medium    `yaml:"medium" json:"medium"`
	Supply    Supply    `yaml:"supply" json:"supply"`
	Speeds    []Speed   `yaml:"speeds" json:"speeds"`
	Reference Reference `yaml:"reference" json:"reference"`
	Tracks    Tracks    `yaml:"tracks" json:"tracks"`
	// Replicas are the sets over which stages, test points, trims and controls
	// repeat. "track" is always there and made from Tracks.Count; groups make
	// "group". Others (strip, side, card ...) are named here.
	Replicas map[string][]string `yaml:"replicas,omitempty" json:"replicas,omitempty"`
	Groups   []Group             `yaml:"groups,omitempty" json:"groups,omitempty"`
	Heads    []Head              `yaml:"heads" json:"heads"`
	// Transport lists what turns, so that lines in the flutter can be named.
	Transport []Turning `yaml:"transport,omitempty" json:"transport,omitempty"`
	// PriorWeight is how many machines that were repaired here the priors of the
	// stages weigh as much as; 0: 20.
	PriorWeight float64 `yaml:"prior_weight,omitempty" json:"prior_weight,omitempty"`

	Boards     []Board     `yaml:"boards" json:"boards"`
	Connectors []Connector `yaml:"connectors" json:"connectors"`
	Stages     []Stage     `yaml:"stages" json:"stages"`
	Functions  []Function  `yaml:"functions" json:"functions"`
	TestPoints []TestPoint `yaml:"test_points" json:"test_points"`
	Trims      []Trim      `yaml:"trims" json:"trims"`
	Controls   []Control   `yaml:"controls" json:"controls"`
	// Setups are the ways in which the bench is set up while controls are tried.
	Setups     []Setup     `yaml:"setups,omitempty" json:"setups,omitempty"`
	Openings   []Opening   `yaml:"openings" json:"openings"`
	Exceptions []Exception `yaml:"exceptions,omitempty" json:"exceptions,omitempty"`

	pos   map[string]position // where each field stands in the file
	index *index
}

// Medium is the tape the recorder takes.
type Medium struct {
	Kind    string  `yaml:"kind" json:"kind" jsonschema:"enum=cassette,enum=open-reel"` // cassette or open-reel
	WidthMm float64 `yaml:"width_mm" json:"width_mm"`
	Type    string  `yaml:"type,omitempty" json:"type,omitempty"` // e.g. "II"
}

// Supply says how the recorder is powered; it decides the safety notes.
type Supply struct {
	Class string `yaml:"class" json:"class" jsonschema:"enum=I,enum=II"` // I (earthed mains) or II (double-insulated)
	Text  string `yaml:"text" json:"text"`                               // e.g. adaptor 16 V a.c. 1.5 A
}

// Speed is one tape speed with its replay equalisation.
type Speed struct {
	CmS              float64 `yaml:"cm_s" json:"cm_s"`
	HighUs           float64 `yaml:"high_us" json:"high_us"`
	LowUs            float64 `yaml:"low_us" json:"low_us"` // 0: none
	TolerancePercent float64 `yaml:"tolerance_percent" json:"tolerance_percent"`
}

// Reference is the machine's own operating level.
type Reference struct {
	FluxivityNWbM float64 `yaml:"fluxivity_nwb_m" json:"fluxivity_nwb_m"`
	ToneHz        float64 `yaml:"tone_hz" json:"tone_hz"`
	Convention    string  `yaml:"convention" json:"convention" jsonschema:"enum=short-circuit,enum=open-circuit"`
	Output        string  `yaml:"output" json:"output"` // what 0 gives at the output, e.g. "-10 dBV at the bus"
}

// Tracks gives number and geometry; track 1 is nearest the edge at which the
// first centre is measured. FirstCentreMm 0 means the head is centred on the tape.
type Tracks struct {
	Count         int     `yaml:"count" json:"count"`
	PitchMm       float64 `yaml:"pitch_mm" json:"pitch_mm"`
	WidthMm       float64 `yaml:"width_mm" json:"width_mm"`
	FirstCentreMm float64 `yaml:"first_centre_mm,omitempty" json:"first_centre_mm,omitempty"`
}

// Group is a set of tracks that share circuitry (a record group).
type Group struct {
	ID     string `yaml:"id" json:"id"` // as in designators: "a"
	Name   string `yaml:"name" json:"name"`
	Tracks []int  `yaml:"tracks" json:"tracks"`
}

// Head is one head stack.
type Head struct {
	ID     string `yaml:"id" json:"id"`
	Name   string `yaml:"name" json:"name"`
	Use    string `yaml:"use" json:"use" jsonschema:"enum=record,enum=play,enum=record-play,enum=erase"` // record, play, record-play, erase
	DCR    string `yaml:"dcr,omitempty" json:"dcr,omitempty"`
	L      string `yaml:"inductance,omitempty" json:"inductance,omitempty"`
	Spread string `yaml:"spread,omitempty" json:"spread,omitempty"`
	// GapUm is the length of the replay gap as designed, in micrometres, whose loss the
	// replay chain makes up for; 0: not known.
	GapUm float64 `yaml:"gap_um,omitempty" json:"gap_um,omitempty"`
}

// Board is a circuit board or other place that carries stages.
type Board struct {
	ID      string `yaml:"id" json:"id"`
	Name    string `yaml:"name" json:"name"`
	Each    string `yaml:"each,omitempty" json:"each,omitempty"` // replica set, e.g. card per track
	Place   string `yaml:"place" json:"place"`
	Opening string `yaml:"opening" json:"opening"` // the opening at which it can be probed
	// Work is the opening at which its parts can be changed, where that is another one.
	Work string `yaml:"work,omitempty" json:"work,omitempty"`
}

// Connector joins two boards. Pins are listed for BOTH sides in the pin order
// printed on that side; on a mirrored connector the two orders run against each
// other, and that must be written out.
type Connector struct {
	ID       string        `yaml:"id" json:"id"`
	Kind     string        `yaml:"kind,omitempty" json:"kind,omitempty"` // ribbon, flat cable, card edge ...
	Keyed    bool          `yaml:"keyed" json:"keyed"`
	Mirrored bool          `yaml:"mirrored,omitempty" json:"mirrored,omitempty"`
	Each     string        `yaml:"each,omitempty" json:"each,omitempty"`
	LoomMm   float64       `yaml:"loom_mm,omitempty" json:"loom_mm,omitempty"`
	Rated    int           `yaml:"rated_insertions,omitempty" json:"rated_insertions,omitempty"`
	A        ConnectorSide `yaml:"a" json:"a"`
	B        ConnectorSide `yaml:"b" json:"b"`
	Cautions []string      `yaml:"cautions,omitempty" json:"cautions,omitempty"`
	Notes    string        `yaml:"notes,omitempty" json:"notes,omitempty"`
}

// ConnectorSide is a connector as seen from one board: Pins[0] is pin 1.
type ConnectorSide struct {
	Board string   `yaml:"board" json:"board"`
	Pins  []string `yaml:"pins" json:"pins"`
}

// Stage is one link of a signal path.
type Stage struct {
	ID    string `yaml:"id" json:"id"`
	Name  string `yaml:"name" json:"name"`
	Part  string `yaml:"part" json:"part"`                     // designator pattern: "C11-{track}"
	Kind  string `yaml:"kind" json:"kind"`                     // head, amplifier, coupling-capacitor, trim, switch, relay ...
	Each  string `yaml:"each,omitempty" json:"each,omitempty"` // replica set; empty: one, shared by all
	Board string `yaml:"board" json:"board"`
	Value string `yaml:"value,omitempty" json:"value,omitempty"`
	// Prior is the probability that one instance is faulty on an untouched
	// machine; 0 takes the default of its Kind.
	Prior  float64     `yaml:"prior,omitempty" json:"prior,omitempty"`
	Faults []FaultMode `yaml:"faults,omitempty" json:"faults,omitempty"` // empty: the defaults of its Kind
	Notes  string      `yaml:"notes,omitempty" json:"notes,omitempty"`
}

// FaultMode is one way in which a stage fails and what that does to the signal
// passing it. Ranges are [low, high] in dB relative to the same stage when good;
// a missing range means no effect.
type FaultMode struct {
	Mode   Mode    `yaml:"mode" json:"mode" jsonschema:"enum=dead,enum=weak,enum=noisy,enum=intermittent"`
	Cause  string  `yaml:"cause" json:"cause"`   // "dried out", "dirt on the face"
	Weight float64 `yaml:"weight" json:"weight"` // relative to the stage's other modes
	// Mechanical says that the cause is of contact, dirt, alignment or case,
	// not of electronics.
	Mechanical bool      `yaml:"mechanical,omitempty" json:"mechanical,omitempty"`
	LevelDB    []float64 `yaml:"level_db,omitempty" json:"level_db,omitempty,omitzero"`   // at the reference tone
	TrebleDB   []float64 `yaml:"treble_db,omitempty" json:"treble_db,omitempty,omitzero"` // at 10 kHz re the reference tone
	BassDB     []float64 `yaml:"bass_db,omitempty" json:"bass_db,omitempty,omitzero"`     // at 63 Hz re the reference tone
	NoiseDB    []float64 `yaml:"noise_db,omitempty" json:"noise_db,omitempty,omitzero"`   // rise of the noise
	// Signature lists what this fault looks like in the response, the delays and the
	// steadiness of a capture, in the words of [Signatures]; several are alternatives
	// of equal weight. Missing: what the effects and the kind of stage suggest.
	Signature []string `yaml:"signature,omitempty" json:"signature,omitempty,omitzero" jsonschema:"enum=none,enum=gain,enum=spacing,enum=spacing_ramp,enum=azimuth,enum=gap_wear,enum=height,enum=equalisation,enum=low_corner,enum=high_corner,enum=group_gain,enum=head_open,enum=noise_reduction_on,enum=unsteady_contact,enum=unsteady_joint"`
	// Presence is the probability that an intermittent fault shows at one look.
	Presence float64 `yaml:"presence,omitempty" json:"presence,omitempty"`
	// Shows is the same under a condition: pressed, warm, cold, closed, propped, open.
	// What is missing is as [FaultMode.ShowsWhen] says.
	Shows map[string]float64 `yaml:"shows,omitempty" json:"shows,omitempty"`
	// CuredBy is the probability that a work which looks for no cause cures it: clean,
	// reseat, reflow. What is missing is as [FaultMode.CureChance] says.
	CuredBy map[string]float64 `yaml:"cured_by,omitempty" json:"cured_by,omitempty"`
	Cure    string             `yaml:"cure,omitempty" json:"cure,omitempty"`                 // what to do, one line
	CureMin float64            `yaml:"cure_minutes,omitempty" json:"cure_minutes,omitempty"` // once it is reachable
}

// Mode classes what a fault does.
type Mode string

// The fault modes of a stage. A stage without fault is good.
const (
	Good         Mode = "good"
	Dead         Mode = "dead"
	Weak         Mode = "weak" // level, treble or bass low
	Noisy        Mode = "noisy"
	Intermittent Mode = "intermittent"
)

// Function is something the recorder does (play, record, erase, sync, monitor,
// meter), as a path through stages.
type Function struct {
	ID    string   `yaml:"id" json:"id"`
	Name  string   `yaml:"name" json:"name"`
	Each  string   `yaml:"each,omitempty" json:"each,omitempty"` // usually track
	Modes []string `yaml:"modes" json:"modes"`                   // transport or switch states in which the path is active
	// Through lists stage ids in signal order. An item "@play" stands for the
	// stages of the function play.
	Through []string `yaml:"through" json:"through"`
	// With fixes a replica set that the function does not follow, e.g. side: L.
	With map[string]string `yaml:"with,omitempty" json:"with,omitempty"`
	// CheckMinutes is how long it takes to try this function once by ear or
	// meter, the machine as it stands; 0: it is not tried by itself.
	CheckMinutes float64 `yaml:"check_minutes,omitempty" json:"check_minutes,omitempty"`
}

// TestPoint is a place where an instrument meets a path.
type TestPoint struct {
	ID         string   `yaml:"id" json:"id"` // "TP10"
	Name       string   `yaml:"name" json:"name"`
	Part       string   `yaml:"part" json:"part"` // "TP10-{track}"
	Each       string   `yaml:"each,omitempty" json:"each,omitempty"`
	Function   string   `yaml:"function,omitempty" json:"function,omitempty"` // empty: a rail or logic level, on no signal path
	After      string   `yaml:"after,omitempty" json:"after,omitempty"`       // the last stage it sees
	Mode       string   `yaml:"mode,omitempty" json:"mode,omitempty"`         // transport state and source, e.g. "play, test tape 315 Hz at reference"
	Expect     Quantity `yaml:"expect" json:"expect"`
	Instrument string   `yaml:"instrument,omitempty" json:"instrument,omitempty"`
	ToneHz     float64  `yaml:"tone_hz,omitempty" json:"tone_hz,omitempty"`
	Board      string   `yaml:"board" json:"board"`
	Connector  string   `yaml:"connector,omitempty" json:"connector,omitempty"` // when it is a connector pin
	Pin        string   `yaml:"pin,omitempty" json:"pin,omitempty"`             // signal name on that connector, pattern allowed
	Minutes    float64  `yaml:"minutes,omitempty" json:"minutes,omitempty"`     // one reading once reachable; 0: 2
	Cautions   []string `yaml:"cautions,omitempty" json:"cautions,omitempty"`
}

// Quantity is an expected value. Exactly one of the spreads is given, or Max
// for a value that must stay below.
type Quantity struct {
	Value         float64 `yaml:"value,omitempty" json:"value,omitempty"`
	Unit          string  `yaml:"unit" json:"unit"`                   // V, mV, mA, ohm, Hz ...
	Low           float64 `yaml:"low,omitempty" json:"low,omitempty"` // a range instead of a value
	High          float64 `yaml:"high,omitempty" json:"high,omitempty"`
	Max           float64 `yaml:"max,omitempty" json:"max,omitempty"`
	SpreadDB      float64 `yaml:"spread_db,omitempty" json:"spread_db,omitempty"`           // ± about 95 %
	SpreadPercent float64 `yaml:"spread_percent,omitempty" json:"spread_percent,omitempty"` // ± about 95 %
	Note          string  `yaml:"note,omitempty" json:"note,omitempty"`
}

// Trim is an adjuster.
type Trim struct {
	ID       string   `yaml:"id" json:"id"`
	Name     string   `yaml:"name" json:"name"`
	Part     string   `yaml:"part" json:"part"`
	Each     string   `yaml:"each,omitempty" json:"each,omitempty"`
	Sets     string   `yaml:"sets" json:"sets"`                 // the measure it moves: level, response, speed_error, azimuth, bias ...
	At       string   `yaml:"at,omitempty" json:"at,omitempty"` // function or test point at which it is set
	SpeedCmS float64  `yaml:"speed_cm_s,omitempty" json:"speed_cm_s,omitempty"`
	Sign     int      `yaml:"sign" json:"sign" jsonschema:"enum=-1,enum=0,enum=1"` // +1: clockwise raises, -1: lowers, 0: a peak or a dip
	Range    string   `yaml:"range" json:"range"`
	Board    string   `yaml:"board" json:"board"`
	Opening  string   `yaml:"opening" json:"opening"`
	Cautions []string `yaml:"cautions,omitempty" json:"cautions,omitempty"`
}

// Control is what a hand moves or a plug enters; each instance is one item of
// the check sheet.
type Control struct {
	ID      string   `yaml:"id" json:"id"`
	Name    string   `yaml:"name" json:"name"` // pattern allowed: "fader {strip}"
	Kind    string   `yaml:"kind" json:"kind"` // fader, pot, switch, key, jack, counter ...
	Each    string   `yaml:"each,omitempty" json:"each,omitempty"`
	Items   []string `yaml:"items,omitempty" json:"items,omitempty"` // several of a kind that repeat over no set, by name
	Board   string   `yaml:"board" json:"board"`
	Order   int      `yaml:"order,omitempty" json:"order,omitempty"` // signal-flow order on the sheet
	Minutes float64  `yaml:"minutes,omitempty" json:"minutes,omitempty"`
	Try     string   `yaml:"try,omitempty" json:"try,omitempty"`     // what to do and what should happen
	Stage   string   `yaml:"stage,omitempty" json:"stage,omitempty"` // the stage it is, when it is one
	// Setup lists the ids of set-ups under any of which it can be tried; empty: none is needed.
	Setup    []string `yaml:"setup,omitempty" json:"setup,omitempty"`
	Cautions []string `yaml:"cautions,omitempty" json:"cautions,omitempty"`
}

// Opening is one edge of the teardown tree: from a state of the recorder to the
// next more open one.
type Opening struct {
	ID          string   `yaml:"id" json:"id"`
	Name        string   `yaml:"name" json:"name"`
	From        string   `yaml:"from" json:"from"` // another opening, or closed
	DownMin     float64  `yaml:"down_minutes" json:"down_minutes"`
	UpMin       float64  `yaml:"up_minutes" json:"up_minutes"`
	AfterMin    float64  `yaml:"after_minutes,omitempty" json:"after_minutes,omitempty"` // realignment it costs
	AfterWhy    string   `yaml:"after_why,omitempty" json:"after_why,omitempty"`
	Each        string   `yaml:"each,omitempty" json:"each,omitempty"`
	Disconnects []string `yaml:"disconnects,omitempty" json:"disconnects,omitempty"`
	Case        string   `yaml:"case" json:"case" jsonschema:"enum=closed,enum=propped,enum=open"` // the case state it makes: closed (a cover that bears on nothing), propped or open
	Cautions    []string `yaml:"cautions,omitempty" json:"cautions,omitempty"`
}

// Exception says where a replica differs from the rule.
type Exception struct {
	Part    string `yaml:"part" json:"part"` // the designator of one instance
	Differs string `yaml:"differs" json:"differs"`
	// ExpectFactor multiplies the expected value of test points that read
	// through this part, where the difference is known; 0 means 1.
	ExpectFactor float64 `yaml:"expect_factor,omitempty" json:"expect_factor,omitempty"`
}
