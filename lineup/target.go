package lineup

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/measure"
	"headstack/unit"
)

// Side says on which sides of a target its limits lie.
type Side string

// The sides.
const (
	Both    Side = ""
	AtMost  Side = "at_most"
	AtLeast Side = "at_least"
)

// Target is what a step should read, for the tape at hand.
type Target struct {
	Step     string  `json:"step"`
	Kind     Kind    `json:"kind"`
	Measure  string  `json:"measure,omitempty"`
	Track    int     `json:"track,omitempty"`
	ToneHz   float64 `json:"tone_hz,omitempty"`
	SpeedCmS float64 `json:"speed_cm_s,omitempty"`
	// Value is the sum of the lines, Lo and Hi the 95 % interval of what is not known
	// exactly of them.
	Value float64 `json:"value"`
	Lo    float64 `json:"lo"`
	Hi    float64 `json:"hi"`
	Unit  string  `json:"unit,omitempty"`
	// Reference says what zero is.
	Reference string `json:"reference,omitempty"`
	// Side and Tolerance say what is good: within ± Tolerance, or on the good side of
	// Value, which is the limit then.
	Side         Side    `json:"side,omitempty"`
	Tolerance    float64 `json:"tolerance"`
	ToleranceWhy string  `json:"tolerance_why,omitempty"`
	Lines        []Line  `json:"lines,omitempty"`
	// At is what an instrument at the step's test point shows for Value.
	At *Shown `json:"at,omitempty"`
	// Means says what an azimuth tolerance is in other terms.
	Means *AzimuthMeans `json:"means,omitempty"`
	// Start is where a trim is put before it is set by Value: bias by its current.
	Start    *Shown   `json:"start,omitempty"`
	Warnings []string `json:"warnings,omitempty"`
	// Refused says why there is no target.
	Refused string `json:"refused,omitempty"`
}

// Line is one term of a target's sum.
type Line struct {
	Term  string  `json:"term"`
	Value float64 `json:"value"`
	Lo    float64 `json:"lo"`
	Hi    float64 `json:"hi"`
	Unit  string  `json:"unit"`
	Why   string  `json:"why"`
}

// Shown is what an instrument shows.
type Shown struct {
	Point string  `json:"point"` // the test point
	Value float64 `json:"value"`
	Lo    float64 `json:"lo"` // 95 % of good recorders, by the definition's spread
	Hi    float64 `json:"hi"`
	Unit  string  `json:"unit"`
}

// ReadBy says how a step is read, because a captured response has terms taken off that
// an instrument still shows.
type ReadBy string

// The ways of reading.
const (
	// ByInstrument: level against level, as a meter at output or test point shows it.
	ByInstrument ReadBy = ""
	// ByCapture: the figures of package measure, from which the stated levels are taken
	// off and, with the geometry known, the fringing of responses.
	ByCapture ReadBy = "capture"
)

// Setup is what a target depends on beside the recorder type.
type Setup struct {
	// Tapes are the test tapes at hand; nil: those of the order.
	Tapes  []TapeAtHand `json:"tapes,omitempty"`
	ReadBy ReadBy       `json:"read_by,omitempty"`
	// ToneHz asks for another tone of a response than the step's own; 0: its own.
	ToneHz float64 `json:"tone_hz,omitempty"`
	// OutputDBFS is what the recorder's reference output gives at the interface, in
	// dBFS. With it levels by capture are in dBFS, else re the reference output.
	OutputDBFS *Amount `json:"output_dbfs,omitempty"`
	// Interface is the loop-back response of the capture interface where it was NOT
	// taken off the readings yet; Channel the input, from 1.
	Interface *measure.Interface `json:"interface,omitempty"`
	Channel   int                `json:"channel,omitempty"`
	// Offset is how much more a step reads with the case open than closed, by step
	// id, where it is read with the case open.
	Offset map[string]Amount `json:"offset,omitempty"`
	// OverbiasDB is that of the tape recorded on; nil: the custom of the speed.
	OverbiasDB *Amount `json:"overbias_db,omitempty"`
	// Tolerances are a shop's own, by kind.
	Tolerances map[Kind]Tolerance `json:"tolerances,omitempty"`
}

// add appends a term; lo and hi are the ends of its 95 % interval.
func (t *Target) add(term string, value, lo, hi float64, why string) {
	t.Lines = append(t.Lines, Line{term, value, lo, hi, t.Unit, why})
}

// exact appends a term without doubt.
func (t *Target) exact(term string, value float64, why string) { t.add(term, value, value, value, why) }

// amount appends a term that is known to an interval.
func (t *Target) amount(term string, a Amount, why string) {
	if a.Source != "" {
		why += " (" + a.Source + ")"
	}
	t.add(term, a.Value, a.Value-a.Half, a.Value+a.Half, why)
}

// sum adds the lines up; their doubts are independent.
func (t *Target) sum() {
	t.Value = 0
	lo, hi := 0.0, 0.0
	for _, l := range t.Lines {
		t.Value += l.Value
		lo = math.Hypot(lo, l.Value-l.Lo)
		hi = math.Hypot(hi, l.Hi-l.Value)
	}
	t.Lo, t.Hi = t.Value-lo, t.Value+hi
}

// targeter makes one target.
type targeter struct {
	d    *machine.Definition
	step *Step
	set  *Setup
	t    *Target
}

// Target returns what a step should read. Where the definition, the tape or physics
// gives no figure, Refused says why; so it is for steps that a person judges. The
// step must be one of the order's; otherwise the target is refused too.
func (o *Order) Target(step string, set Setup) Target {
	s, ok := o.Step(step)
	if !ok {
		return Target{Step: step, Refused: "no such step"}
	}
	if set.Tapes == nil {
		set.Tapes = o.tapes
	}
	t := &Target{Step: s.ID, Kind: s.Kind, Measure: s.Measure, SpeedCmS: s.SpeedCmS, ToneHz: s.Source.ToneHz}
	if len(s.Tracks) > 0 {
		t.Track = s.Tracks[0]
	}
	g := &targeter{o.def, s, &set, t}
	g.make()
	if t.Refused != "" {
		t.Lines = nil
		return *t
	}
	if off, ok := set.Offset[s.ID]; ok && t.Side == Both {
		t.amount("case open", off, "read with the case open, this much more than with it closed")
	}
	t.sum()
	g.shown()
	return *t
}

func (g *targeter) make() {
	sp, _ := g.d.Speed(g.step.SpeedCmS)
	tol := toleranceOf(g.d, g.step.Kind, sp)
	if g.set.ToneHz != 0 && (g.step.Kind == Treble || g.step.Kind == ProofTreble || g.step.Kind == PlayBass || g.step.Kind == ProofRecordTreble) {
		tol = responseTolerance(g.d, sp, g.set.ToneHz)
	}
	if own, ok := g.set.Tolerances[g.step.Kind]; ok {
		tol = own
	}
	g.t.Tolerance, g.t.ToleranceWhy = tol.Value, tol.Source
	switch g.step.Kind {
	case Speed, ProofSpeed:
		g.speed()
	case Drift:
		g.t.Unit, g.t.Reference = "%/min", "mean speed of the section"
		g.t.exact("no drift", 0, "the speed holds")
	case Flutter, ProofFlutter:
		g.limit("%", AtMost, tol, "limit")
		g.t.Reference = "mean speed of the section"
	case Azimuth, AzimuthAgain, ProofAzimuth:
		g.azimuth(true)
	case RecordAzimuth:
		g.azimuth(false)
	case Level, LevelAgain, ProofLevel, SyncLevel, Meter:
		g.level()
	case Treble, ProofTreble, SyncTreble:
		g.response()
	case PlayBass, RecordTreble, ProofRecordTreble:
		g.flat("the same track's own recording at the reference tone, recorded levels allowed for")
	case RecordLevel, ProofRecordLevel, NoiseReductionOn:
		g.flat("the recorder's reference output: what is recorded at 0 dB plays at 0 dB")
	case RecordAgain:
		g.limit("dB", AtMost, tol, "largest change")
		g.t.Reference = "the last round's bias, level and treble"
	case NoiseReduction:
		g.noiseReduction()
	case Bias:
		g.bias()
	case BiasFrequency:
		g.biasFrequency()
	case Erase, Trap, Tension:
		g.point()
	case ProofErase:
		g.limit("dB", AtMost, tol, "erase depth")
		g.t.Reference = "the same tone before it was recorded over"
	case ProofNoise:
		g.limit("dB", AtMost, tol, "noise, A-weighted")
		g.t.Reference = "reference level on the same track"
	case ProofDistortion:
		g.limit("%", AtMost, tol, "third harmonic")
		g.t.Reference = "the fundamental = 100 %"
	case ProofCrosstalk:
		g.limit("dB", AtMost, tol, "crosstalk at 1 kHz")
		g.t.Reference = "the same tone on the track where it was recorded"
	default:
		g.t.Refused = "a person judges it"
	}
}

// limit makes a target that is kept on one side.
func (g *targeter) limit(unitName string, side Side, tol Tolerance, term string) {
	g.t.Unit, g.t.Side, g.t.Tolerance = unitName, side, 0
	g.t.ToleranceWhy = tol.Source
	g.t.exact(term, tol.Value, tol.Source)
}

func (g *targeter) speed() {
	if tp, ok := g.d.TestPoint(g.step.At); ok && g.set.ReadBy == ByInstrument && tp.ExpectedSI().Known && g.fits(tp) {
		g.point()
		return
	}
	g.t.Unit, g.t.Reference = "%", fmt.Sprintf("nominal %g cm/s", g.step.SpeedCmS)
	g.t.exact("nominal speed", 0, "the mean speed is the nominal one")
}

// fits tells whether a test point's value holds at the step's speed: one whose mode
// names a speed holds at no other.
func (g *targeter) fits(tp *machine.TestPoint) bool {
	return !strings.Contains(tp.Mode, "cm/s") || strings.Contains(tp.Mode, speedText(g.step.SpeedCmS)+" cm/s")
}

func (g *targeter) azimuth(testTape bool) {
	g.t.Unit, g.t.Reference = "arcmin", "the line through all gaps is square to the tape; positive: higher tracks are later"
	g.t.exact("square", 0, "all gaps on one line across the tape")
	if at := TapeFor(g.set.Tapes, g.step.SpeedCmS); testTape && at != nil && at.AzimuthArcmin != nil {
		g.t.amount("the tape's own azimuth", *at.AzimuthArcmin, "the recording stands so off square")
	}
	if m, ok := MeansOf(g.d.Geometry(), g.step.SpeedCmS, g.t.Tolerance, TrebleHz(g.step.SpeedCmS)); ok {
		g.t.Means = &m
	}
}

// flat is the target of the machine's own recordings.
func (g *targeter) flat(reference string) {
	g.t.Unit, g.t.Reference = "dB", reference
	switch g.step.Kind {
	case RecordLevel, ProofRecordLevel, NoiseReductionOn:
		g.output()
	}
	g.t.exact("flat", 0, "a recording plays as it was recorded")
	switch g.step.Kind {
	case RecordTreble, ProofRecordTreble, PlayBass:
		if g.set.ToneHz != 0 {
			g.t.ToneHz = g.set.ToneHz
		}
		g.face(g.t.ToneHz, g.d.Reference.ToneHz)
	}
}

// output refers a level by capture to full scale where it is known what the recorder's
// reference output gives there.
func (g *targeter) output() {
	if g.set.ReadBy == ByCapture && g.set.OutputDBFS != nil {
		g.t.Unit, g.t.Reference = "dBFS", "full-scale sine = 0 dBFS"
		g.t.amount("reference output at the interface", *g.set.OutputDBFS, "measured once with a tone at the recorder's reference output")
	}
}

func (g *targeter) noiseReduction() {
	tp, ok := g.d.TestPoint(g.step.At)
	if !ok || !tp.ExpectedSI().Known {
		g.t.Refused = "the definition gives no value at a test point"
		return
	}
	g.t.Unit, g.t.Reference = "dB", "the value at test point "+tp.ID
	g.t.exact("reference level", 0, "read with noise reduction as the test point says: "+tp.Mode)
	if e := tp.ExpectedSI(); e.SDLn > 0 {
		g.t.Tolerance, g.t.ToleranceWhy = 2*e.SDDB(), "the definition, test point "+tp.ID
	}
}

// bias is set by the tape; its current at a test point is where to start.
func (g *targeter) bias() {
	g.t.Unit = "dB"
	middle, lo, hi, custom := overbias(g.step.SpeedCmS)
	why := "custom of the speed, over record gaps of 6.3 to 25 µm; it belongs to the tape (from memory, 38.1 cm/s from a handbook)"
	if own := g.set.OverbiasDB; own != nil {
		middle, lo, hi, custom, why = own.Value, own.Value-own.Half, own.Value+own.Half, true, said(own.Source, "of the tape recorded on")
	}
	if custom && (g.d.Medium.Kind == "open-reel" || g.set.OverbiasDB != nil) {
		g.t.Measure, g.t.Reference = "overbias", fmt.Sprintf("the peak of %s at −20 dB: how far it has fallen as bias went on rising", unit.Frequency(unit.Hertz(g.step.Source.ToneHz)))
		g.t.add("overbias", middle, lo, hi, why)
	} else {
		g.t.Measure, g.t.Reference = "response", "the same track's own recording at the reference tone, −20 dB, record treble in the middle"
		g.t.exact("flat", 0, "cassettes: bias is set for a flat response, record treble in the middle ("+practice+")")
	}
	if tp, ok := g.d.TestPoint(g.step.At); ok && tp.ExpectedSI().Known {
		s := g.expected(tp)
		g.t.Start = &s
	}
}

// biasFrequency is that of a test point in hertz, else the tone of the points at which
// bias is read.
func (g *targeter) biasFrequency() {
	if tp, ok := g.d.TestPoint(g.step.At); ok && tp.ExpectedSI().Unit == "Hz" && tp.ExpectedSI().Known {
		g.point()
		return
	}
	i := slices.IndexFunc(g.d.TestPoints, func(tp machine.TestPoint) bool { return tp.Function == "bias" && tp.ToneHz > 0 })
	if i < 0 {
		g.t.Refused = "the definition gives no bias frequency"
		return
	}
	hz := g.d.TestPoints[i].ToneHz
	g.t.Unit, g.t.Reference = "Hz", "frequency of the oscillator, recording"
	g.t.exact("bias frequency", hz, "the tone of test point "+g.d.TestPoints[i].ID)
	g.t.Tolerance = hz * g.t.Tolerance / 100
}

// point takes value and spread of the test point at which the step is read.
func (g *targeter) point() {
	tp, ok := g.d.TestPoint(g.step.At)
	if !ok {
		g.t.Refused = "the definition gives no value at a test point"
		return
	}
	e := g.d.Expected(tp, g.pointKey(tp))
	switch {
	case e.Known:
		g.t.Unit, g.t.Reference = e.Unit, "test point "+tp.ID+": "+tp.Name
		g.t.exact("test point", e.Value, "the definition"+note(tp.Expect.Note))
		g.t.Tolerance, g.t.ToleranceWhy = math.Abs(e.Value)*math.Expm1(2*e.SDLn), "the definition, test point "+tp.ID
	case e.Max > 0:
		g.t.Unit, g.t.Reference = e.Unit, "test point "+tp.ID+": "+tp.Name
		g.limit(e.Unit, AtMost, Tolerance{e.Max, "the definition, test point " + tp.ID + note(tp.Expect.Note)}, "test point")
	default:
		g.t.Refused = "the definition gives no value at test point " + tp.ID
	}
}

func note(s string) string {
	if s == "" {
		return ""
	}
	return " (" + s + ")"
}

// pointKey is the replica of a test point that serves the step.
func (g *targeter) pointKey(tp *machine.TestPoint) string {
	b := builder{d: g.d}
	return b.pointKey(tp, g.step, g.step.Key)
}

// expected is what the step's test point shows at reference, for its replica.
func (g *targeter) expected(tp *machine.TestPoint) Shown {
	e := g.d.Expected(tp, g.pointKey(tp))
	k := math.Exp(2 * e.SDLn)
	return Shown{Point: tp.ID, Value: e.Value, Lo: e.Value / k, Hi: e.Value * k, Unit: e.Unit}
}

// shown says what an instrument shows for a target in decibels.
func (g *targeter) shown() {
	tp, ok := g.d.TestPoint(g.step.At)
	if !ok || g.t.Unit != "dB" || g.t.Side != Both || g.set.ReadBy != ByInstrument {
		return
	}
	switch g.step.Kind {
	case Level, LevelAgain, SyncLevel, Meter, NoiseReduction:
	default:
		return
	}
	if e := tp.ExpectedSI(); !e.Known || e.Unit != "V" {
		return
	}
	s := g.expected(tp)
	k := math.Pow(10, g.t.Value/20)
	s.Value, s.Lo, s.Hi = s.Value*k, s.Lo*k, s.Hi*k
	g.t.At = &s
}
