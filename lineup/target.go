package lineup

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/measure"
	"headstack/tape"
	"headstack/testtape"
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
		g.t.Tolerance, g.t.ToleranceWhy = e.Value*math.Expm1(2*e.SDLn), "the definition, test point "+tp.ID
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

// tapeOf is the tape that plays for the step and its section; Refused is set without
// them.
func (g *targeter) tapeOf(hz, db float64) (*TapeAtHand, *testtape.Section) {
	at := TapeFor(g.set.Tapes, g.step.SpeedCmS)
	if at == nil {
		g.t.Refused = fmt.Sprintf("no test tape for %g cm/s is at hand; one of another speed serves for ratios of frequency, not for level or treble", g.step.SpeedCmS)
		return nil, nil
	}
	if hz == g.d.Reference.ToneHz {
		if i, ok := at.Tape.ReferenceSection(); ok && db == 0 {
			return at, &at.Tape.Sections[i]
		}
	}
	sec := nearest(at.Tape, hz, db)
	if sec == nil {
		g.t.Refused = fmt.Sprintf("%s has no section near %s", at.Tape.Name, unit.Frequency(unit.Hertz(hz)))
	}
	return at, sec
}

// level is the sum for a level at the reference tone.
func (g *targeter) level() {
	at, sec := g.tapeOf(g.d.Reference.ToneHz, 0)
	if sec == nil {
		return
	}
	g.t.Unit, g.t.ToneHz = "dB", sec.ToneHz
	g.t.Reference = fmt.Sprintf("what %g nWb/m (%s) at %s gives: %s", g.d.Reference.FluxivityNWbM, g.d.Reference.Convention, unit.Frequency(unit.Hertz(g.d.Reference.ToneHz)), g.d.Reference.Output)
	g.output()
	g.fluxivity(at)
	if sec.LevelDB != 0 {
		g.t.exact("section's stated level", sec.LevelDB, "certificate, "+sec.Name)
	}
	g.certificate(at, sec, nil)
	g.equalisation(at, sec.ToneHz, g.d.Reference.ToneHz)
	g.fringing(at, sec, nil)
	g.face(sec.ToneHz, 0)
	if g.step.Kind == Level || g.step.Kind == LevelAgain {
		if tp, ok := g.d.TestPoint(g.step.At); ok && tp.Expect.SpreadDB > 0 {
			g.t.Tolerance, g.t.ToleranceWhy = tp.Expect.SpreadDB, "the definition, test point "+tp.ID
		}
	}
}

// response is the sum for a treble tone against the reference section.
func (g *targeter) response() {
	at, ref := g.tapeOf(g.d.Reference.ToneHz, 0)
	if ref == nil {
		return
	}
	if i, ok := at.Tape.ReferenceSection(); ok {
		ref = &at.Tape.Sections[i]
	}
	hz := g.set.ToneHz
	if hz == 0 {
		hz = TrebleHz(g.step.SpeedCmS)
	}
	_, sec := g.tapeOf(hz, trebleLevelDB)
	if sec == nil {
		return
	}
	g.t.Unit, g.t.ToneHz = "dB", sec.ToneHz
	g.t.Reference = fmt.Sprintf("the same track in section %q", ref.Name)
	if g.set.ReadBy == ByInstrument {
		g.t.exact("stated levels", sec.LevelDB-ref.LevelDB, fmt.Sprintf("certificate: %q is recorded so against %q", sec.Name, ref.Name))
	} else {
		g.t.Reference += ", stated levels allowed for"
	}
	g.certificate(at, sec, ref)
	g.equalisation(at, sec.ToneHz, ref.ToneHz)
	if g.set.ReadBy == ByInstrument {
		g.fringing(at, sec, ref)
	}
	g.face(sec.ToneHz, ref.ToneHz)
}

// fluxivity refers the tape's 0 dB to the recorder's.
func (g *targeter) fluxivity(at *TapeAtHand) {
	ref, own := at.Tape.Reference, g.d.Reference
	g.t.exact("fluxivity", float64(tape.FluxivityDB(unit.NanoweberPerMetre(ref.FluxivityNWbM), unit.NanoweberPerMetre(own.FluxivityNWbM))),
		fmt.Sprintf("the tape's 0 dB is %g nWb/m, the recorder's %g", ref.FluxivityNWbM, own.FluxivityNWbM))
	from, to := tape.Convention(ref.Convention), tape.Convention(own.Convention)
	switch {
	case from == to:
		return
	case from != tape.ShortCircuit && from != tape.OpenCircuit:
		g.t.add("convention", 0, -1, 1, fmt.Sprintf("the tape's fluxivity is stated as %q: without the method it is uncertain by about 1 dB", ref.Convention))
		g.t.Warnings = append(g.t.Warnings, "The tape's method of stating fluxivity is not known; ask its maker.")
		return
	}
	// Sources disagree: 0.75, 0.83, 0.92 dB printed, 0.3 to 1 dB said.
	diff := Amount{Value: float64(tape.UsualConventionDifference)}
	lo, hi, why := 0.3, 1.0, "usual difference; sources disagree between 0.3 and 1 dB, so it is a setting of the tape"
	if at.ConventionDB != nil {
		diff = *at.ConventionDB
		lo, hi, why = diff.Value-diff.Half, diff.Value+diff.Half, said(diff.Source, "set for this tape")
	} else {
		g.t.Warnings = append(g.t.Warnings, "The usual difference of the two conventions is taken; set the tape's own where it is known.")
	}
	if from == tape.OpenCircuit {
		g.t.add("convention", -diff.Value, -hi, -lo, "the tape's open-circuit figure is larger than the short-circuit one of the same flux: "+why)
	} else {
		g.t.add("convention", diff.Value, lo, hi, "the recorder's open-circuit figure is larger than the short-circuit one of the same flux: "+why)
	}
}

// certificate adds the tape's own errors, that of a reference section taken off.
func (g *targeter) certificate(at *TapeAtHand, sec, ref *testtape.Section) {
	if a, ok := at.CertificateDB[sec.Name]; ok {
		g.t.amount("the tape's own error", a, fmt.Sprintf("section %q is this much stronger than stated", sec.Name))
	}
	if ref == nil || ref.Name == sec.Name {
		return
	}
	if a, ok := at.CertificateDB[ref.Name]; ok {
		a.Value = -a.Value
		g.t.amount("the reference section's own error", a, fmt.Sprintf("section %q is this much weaker than stated", ref.Name))
	}
}

// equalisation adds what the tape's curve differs from the recorder's between two tones:
//
//	E = [N_tape(f) − N_tape(f_tape)] − [N_recorder(f) − N_recorder(f_set)]
//
// f_tape is the tone at which the tape's fluxivity is stated, f_set the one at which the
// recorder's level is, or both the reference section's for a response.
func (g *targeter) equalisation(at *TapeAtHand, hz, setHz float64) {
	recorded := tape.Equalisation{HighUs: at.Tape.EqualisationUs.High, LowUs: at.Tape.EqualisationUs.Low}
	sp, _ := g.d.Speed(g.step.SpeedCmS)
	own := tape.Equalisation{HighUs: sp.HighUs, LowUs: sp.LowUs}
	from := unit.Hertz(at.Tape.Reference.ToneHz)
	f, set := unit.Hertz(hz), unit.Hertz(setHz)
	e := float64((recorded.FluxDB(f) - recorded.FluxDB(from)) - (own.FluxDB(f) - own.FluxDB(set)))
	if e == 0 && recorded == own {
		return
	}
	g.t.exact("equalisation", e, fmt.Sprintf("tape %s, recorder %s, at %s", curve(recorded), curve(own), unit.Frequency(f)))
	if recorded != own {
		g.t.Warnings = append(g.t.Warnings, fmt.Sprintf("The tape's equalisation is not the recorder's: %s against %s.", curve(recorded), curve(own)))
	}
}

func curve(e tape.Equalisation) string {
	if e.LowUs == 0 {
		return fmt.Sprintf("%g µs", e.HighUs)
	}
	return fmt.Sprintf("%g and %g µs", e.HighUs, e.LowUs)
}

// thinSheet is the side gain of a core that is a thin pole sheet over that of a block
// with square side walls: a = 0.5 against 0.7698 in e = a/k (the boundary-value problem
// of package tape). Heads lie between.
const thinSheet = 0.5 / 0.7698003589195010

// fringing adds the rise of a full-width tape on a narrow track, less that of a
// reference section where there is one.
func (g *targeter) fringing(at *TapeAtHand, sec, ref *testtape.Section) {
	if at.Tape.TrackLayout != testtape.FullWidth || g.t.Track == 0 {
		return
	}
	if own, ok := at.FringingDB[sec.Name]; ok {
		if ref != nil {
			r := at.FringingDB[ref.Name]
			own.Value, own.Half = own.Value-r.Value, math.Hypot(own.Half, r.Half)
		}
		g.t.amount("fringing", own, "measured on this head")
		return
	}
	if at.Tape.FringingCompensated {
		return
	}
	model, least, most := g.rise(at.Tape, sec.ToneHz)
	if ref != nil {
		m, lo, hi := g.rise(at.Tape, ref.ToneHz)
		model, least, most = model-m, least-lo, most-hi
	}
	if math.IsNaN(model) {
		g.t.Warnings = append(g.t.Warnings, "Fringing left out: the track's place on the tape does not allow it to be computed.")
		return
	}
	g.t.add("fringing", model, min(model, least, most), max(model, least, most),
		fmt.Sprintf("a tape recorded over its full width plays louder on a track %g mm wide, the more the lower the tone; computed, less on a head of thin pole sheets; measure it where you can", g.d.Tracks.WidthMm))
}

// rise is the computed fringing gain at a tone, that of a thin pole sheet, and the most
// there can be, with tape without end on both sides; in dB.
func (g *targeter) rise(tp *testtape.Tape, hz float64) (model, least, most float64) {
	geo, lambda := g.d.Geometry(), tape.Wavelength(unit.MetrePerSecond(tp.SpeedCmS/100), unit.Hertz(hz))
	model = float64(tape.FringingGain(geo, g.t.Track, lambda))
	extra := math.Pow(10, model/20) - 1
	w := float64(geo.Tracks[g.t.Track-1].Width)
	return model, 20 * math.Log10(1+thinSheet*extra), 20 * math.Log10(1+2*float64(tape.SideTapeEnds(unit.Metre(math.Inf(1)), lambda))/w)
}

// face adds the interface's response where it was not taken off, less that at a
// reference tone (0: its own).
func (g *targeter) face(hz, refHz float64) {
	if g.set.ReadBy != ByCapture || g.set.Interface == nil {
		return
	}
	e, ok := g.set.Interface.GainDB(g.set.Channel, hz)
	value, half := e.Value, e.Half()
	if ok && refHz != 0 && refHz != hz {
		r, known := g.set.Interface.GainDB(g.set.Channel, refHz)
		value, half, ok = value-r.Value, math.Hypot(half, r.Half()), known
	}
	if !ok {
		g.t.Warnings = append(g.t.Warnings, fmt.Sprintf("The interface's response at %s is not known and left out.", unit.Frequency(unit.Hertz(hz))))
		return
	}
	g.t.amount("interface response", Amount{value, half, g.set.Interface.Name}, "loop-back, not taken off the reading")
}
