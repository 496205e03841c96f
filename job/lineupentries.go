package job

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/lineup"
	"headstack/machine"
	"headstack/measure"
	"headstack/unit"
)

// Gate records that a gate of the line-up was seen to, or holds no longer: cooled down,
// dirty again, magnetised. It also records any other step that has no figure and that a
// person judges.
type Gate struct {
	Step string // lineup.Step id
	Lost bool   `json:",omitempty"`
}

// Pass records one pass of a test tape that was not captured. A capture of a test tape is
// a pass by itself.
type Pass struct {
	Tape string // test-tape name, as in Capture.Tape
}

// Figure records what a step of the line-up reads, typed by hand; also one figure that no
// step reads: see [ReferenceOutput].
type Figure struct {
	Step  string // lineup.Step id
	Value float64
	Unit  string // as typed: one that goes with the step's target
	// Half is the half width of the 95 % interval in Unit; 0 where nobody said: then
	// [UsualHalf] is taken, and the figure says so.
	Half float64 `json:",omitempty"`
	// Instrument is what it was read with, for the record.
	Instrument string `json:",omitempty"`
}

// ReferenceOutput is the step of a [Figure] that says what the recorder's reference
// output gives at the capture interface, in dBFS. Without it captured levels cannot be
// held against targets: nothing else ties full scale to the recorder.
const ReferenceOutput = "reference_output"

// SignOff records that a step is left as it is, and why.
type SignOff struct {
	Step   string // lineup.Step id
	Reason string
	By     string `json:",omitempty"` // initials
}

// Soak records a reading during the soak, of its own recording and with the case closed.
type Soak struct {
	AtMinutes float64 // since the soak began
	Measure   string  // one of the soak plan's: level, response, azimuth_line, speed_error
	Track     int     `json:",omitempty"` // 0 for what is of the whole recorder
	Value     float64
	Unit      string
	Half      float64 `json:",omitempty"` // as in Figure
}

// UsualHalf is the half width of the 95 % interval that a typed figure is taken to have
// where nobody said one: 3 % of a voltage, current, force or the like, 0.25 dB of a level,
// 0.05 % of a speed, 0.1 % of a frequency, 1 arcminute, 2 µs. Common practice, no source.
func UsualHalf(value float64, unitName string) float64 {
	switch unitName {
	case "dB", "dBFS", "dBu", "dBV":
		return 0.25
	case "%", "%/min":
		return 0.05
	case "arcmin":
		return 1
	case "µs":
		return 2
	case "Hz", "kHz":
		return 0.001 * math.Abs(value)
	}
	return 0.03 * math.Abs(value)
}

// typedByHand is the method of a figure that a person typed.
const typedByHand = "typed by hand"

// result is a typed figure as the one number type.
func typedResult(name string, track int, value, half float64, unitName string, state measure.CaseState) measure.Result {
	r := measure.Result{Name: name, Track: track, Value: value, Unit: unitName, Method: typedByHand, Conditions: measure.Conditions{Case: state}}
	if half == 0 {
		half = UsualHalf(value, unitName)
		r.Warnings = append(r.Warnings, "nobody stated how sure it is; "+unit.Figure{Lo: -half, Hi: half, Unit: unitName}.Spread()+" is taken (common practice, no source)")
	}
	r.Lo, r.Hi = value-half, value+half
	return r
}

// lineUpKind is the kind of an entry that belongs to a line-up; a note otherwise.
func lineUpKind(e Entry) Kind {
	switch {
	case e.Turn != nil:
		return KindTurn
	case e.Gate != nil:
		return KindGate
	case e.Pass != nil:
		return KindPass
	case e.Figure != nil:
		return KindFigure
	case e.SignOff != nil:
		return KindSignOff
	case e.Soak != nil:
		return KindSoak
	case e.Staircase != nil:
		return KindStaircase
	}
	return KindNote
}

// cloneLineUp copies what belongs to a line-up.
func (e Entry) cloneLineUp() Entry {
	if e.Turn != nil {
		t := *e.Turn
		t.From, t.To = clonePointer(t.From), clonePointer(t.To)
		e.Turn = &t
	}
	e.Gate, e.Pass, e.Figure = clonePointer(e.Gate), clonePointer(e.Pass), clonePointer(e.Figure)
	e.SignOff, e.Soak, e.Staircase = clonePointer(e.SignOff), clonePointer(e.Soak), e.Staircase.clone()
	return e
}

func clonePointer[T any](p *T) *T {
	if p == nil {
		return nil
	}
	v := *p
	return &v
}

// LineUpText says in a few words what an entry of a line-up holds; empty for one of
// another kind.
func (e Entry) LineUpText(def *machine.Definition) string {
	if e.Turn != nil {
		return e.Turn.Text(def)
	}
	return e.lineUpWords(def)
}

// lineUpWords names the steps; without a definition they stand by id, as they are typed.
func (e Entry) lineUpWords(def *machine.Definition) string {
	step := func(id string) string {
		switch {
		case def == nil:
			return id
		case id == ReferenceOutput:
			return "reference output at the interface"
		}
		return lineup.Words(def, id)
	}
	switch {
	case e.Turn != nil:
		return e.Turn.text(strings.TrimSuffix(e.Turn.Trim+"/"+e.Turn.Key, "/"))
	case e.Gate != nil && e.Gate.Lost:
		return step(e.Gate.Step) + " holds no longer"
	case e.Gate != nil:
		return step(e.Gate.Step) + " was seen to"
	case e.Pass != nil:
		return fmt.Sprintf("one pass of test tape %q", e.Pass.Tape)
	case e.Figure != nil:
		f := e.Figure
		s := step(f.Step) + ": " + typedText(f.Value, f.Half, f.Unit)
		return strings.TrimSpace(s + " " + f.Instrument)
	case e.SignOff != nil:
		s := fmt.Sprintf("%s is left as it is: %s", step(e.SignOff.Step), e.SignOff.Reason)
		if e.SignOff.By != "" {
			s += " (" + e.SignOff.By + ")"
		}
		return s
	case e.Soak != nil:
		s := fmt.Sprintf("soak, %g min: %s", e.Soak.AtMinutes, e.Soak.Measure)
		if e.Soak.Track > 0 {
			s += fmt.Sprintf(" of track %d", e.Soak.Track)
		}
		return s + " " + typedText(e.Soak.Value, e.Soak.Half, e.Soak.Unit)
	case e.Staircase != nil:
		return e.Staircase.text()
	}
	return ""
}

// LineUpWords is LineUpText where no definition is at hand: steps and parts stand by id and key.
func (e Entry) LineUpWords() string { return e.lineUpWords(nil) }

// typedText writes a typed figure with the interval that it counts with.
func typedText(value, half float64, unitName string) string {
	usual := ""
	if half == 0 {
		half, usual = UsualHalf(value, unitName), " (usual spread)"
	}
	return unit.Figure{Value: value, Lo: value - half, Hi: value + half, Unit: unitName}.String() + usual
}

// orderOf is the order of a definition without anything at hand: its steps are the same
// with any tape.
func orderOf(def *machine.Definition) (*lineup.Order, error) {
	return lineup.New(def, lineup.Options{})
}

// ParseStep finds a step of a definition's line-up by its id, or by the designator of the
// trim that is set there; case does not matter. The error is an [InvalidError] with the
// nearest ids.
func ParseStep(def *machine.Definition, s string) (id string, err error) {
	o, err := orderOf(def)
	if err != nil {
		return "", &InvalidError{Field: "step", Value: shorten(s), Problem: "is of a recorder that has no line-up: " + err.Error()}
	}
	st, err := findStep(o, s)
	if err != nil {
		return "", err
	}
	return st.ID, nil
}

func findStep(o *lineup.Order, s string) (*lineup.Step, error) {
	s = strings.TrimSpace(s)
	ids := make([]string, 0, len(o.Steps))
	for i := range o.Steps {
		if strings.EqualFold(o.Steps[i].ID, s) {
			return &o.Steps[i], nil
		}
		ids = append(ids, o.Steps[i].ID)
	}
	for i := range o.Steps {
		if st := &o.Steps[i]; st.Part != "" && strings.EqualFold(st.Part, s) {
			return st, nil
		}
	}
	return nil, &InvalidError{Field: "step", Value: shorten(s), Problem: "is no step of the line-up", Nearest: nearest(s, ids)}
}

// checkLineUp brings an entry of a line-up into the form in which it is kept.
func checkLineUp(def *machine.Definition, e *Entry) error {
	if e.Kind == KindTurn && e.Turn != nil {
		return checkTurn(def, e.Turn)
	}
	if e.Kind == KindPass && e.Pass != nil {
		return cleanText("test tape", &e.Pass.Tape, maxLine, oneLine)
	}
	if e.Kind == KindSoak && e.Soak != nil {
		return checkSoak(def, e)
	}
	if e.Kind == KindStaircase && e.Staircase != nil {
		return checkStaircase(def, e.Staircase)
	}
	return nil
}

// checkStep does the same for entries of a step, whose targets depend on the test tapes at
// hand.
func (b *Bench) checkStep(ctx context.Context, def *machine.Definition, e *Entry) error {
	if e.Gate == nil && e.Figure == nil && e.SignOff == nil {
		return nil
	}
	s, err := b.tapesAtHand(ctx, def, nil)
	if err != nil {
		return err
	}
	o, err := lineup.New(def, s.options())
	if err != nil {
		return &InvalidError{Field: "line-up", Value: def.ID, Problem: "has no order: " + err.Error()}
	}
	switch {
	case e.Kind == KindGate && e.Gate != nil:
		return checkGate(o, e.Gate)
	case e.Kind == KindFigure && e.Figure != nil:
		return checkFigure(o, e.Figure)
	case e.Kind == KindSignOff && e.SignOff != nil:
		return checkSignOff(o, e.SignOff)
	}
	return nil
}

func checkGate(o *lineup.Order, g *Gate) error {
	s, err := findStep(o, g.Step)
	if err != nil {
		return err
	}
	g.Step = s.ID
	switch t := o.Target(s.ID, lineup.Setup{}); {
	case s.Kind == lineup.CaseClosed:
		return &InvalidError{Field: "step", Value: s.ID, Problem: "follows from the openings; record what was opened and put back"}
	case t.Refused == "" && !g.Lost:
		return &InvalidError{Field: "step", Value: s.ID, Problem: "is measured; record the figure, in " + orElse(t.Unit, "its unit")}
	}
	return nil
}

func orElse(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

// checkFigure wants a unit that goes with the step's target.
func checkFigure(o *lineup.Order, f *Figure) error {
	if err := cleanText("instrument", &f.Instrument, maxLine, oneLine); err != nil {
		return err
	}
	if strings.EqualFold(strings.TrimSpace(f.Step), ReferenceOutput) {
		f.Step = ReferenceOutput
		return firstError(checkTyped(f.Value, f.Half), checkUnitIs(&f.Unit, "dBFS"))
	}
	s, err := findStep(o, f.Step)
	if err != nil {
		return err
	}
	f.Step = s.ID
	if err := checkTyped(f.Value, f.Half); err != nil {
		return err
	}
	if name, ok := unit.Name(f.Unit); ok {
		f.Unit = name
	}
	t := o.Target(s.ID, lineup.Setup{})
	if t.Refused != "" {
		return &InvalidError{Field: "step", Value: s.ID, Problem: "has no target to hold a figure against (" + t.Refused + "); record it as seen to"}
	}
	r := typedResult(s.Measure, t.Track, f.Value, f.Half, f.Unit, measure.CaseUnknown)
	if j := lineup.Judge(&t, &r); j.Verdict == lineup.NotMeasured {
		units := []string{t.Unit}
		if t.At != nil {
			units = append(units, t.At.Unit)
		}
		return &InvalidError{Field: "unit", Value: shorten(f.Unit), Problem: "does not go with " + s.ID, Nearest: units}
	}
	return nil
}

func checkTyped(value, half float64) error {
	switch {
	case math.IsNaN(value) || math.IsInf(value, 0):
		return &InvalidError{Field: "value", Value: fmt.Sprint(value), Problem: "is not a finite number"}
	case !(half >= 0) || math.IsInf(half, 0):
		return &InvalidError{Field: "half width", Value: fmt.Sprint(half), Problem: "is not a number from 0 (nobody said) up"}
	}
	return nil
}

func checkUnitIs(name *string, want string) error {
	if strings.EqualFold(strings.TrimSpace(*name), want) {
		*name = want
		return nil
	}
	return &InvalidError{Field: "unit", Value: shorten(*name), Problem: "is not that of this figure", Nearest: []string{want}}
}

func checkSignOff(o *lineup.Order, s *SignOff) error {
	if err := firstError(cleanText("reason", &s.Reason, maxText, manyLines), cleanText("initials", &s.By, maxLine, oneLine)); err != nil {
		return err
	}
	if s.Reason == "" {
		return &InvalidError{Field: "reason", Problem: "is empty; say why it is left as it is"}
	}
	st, err := findStep(o, s.Step)
	if err == nil {
		s.Step = st.ID
	}
	return err
}

// mostSoakMinutes bounds the time since a soak began: a week.
const mostSoakMinutes = 7 * 24 * 60

func checkSoak(def *machine.Definition, e *Entry) error {
	s := e.Soak
	if !(s.AtMinutes >= 0 && s.AtMinutes <= mostSoakMinutes) {
		return &InvalidError{Field: "minutes of the soak", Value: fmt.Sprint(s.AtMinutes), Problem: fmt.Sprintf("are not between 0 and %d", mostSoakMinutes)}
	}
	plan := lineup.NewSoak(def, 0)
	var known []string
	for _, l := range plan.Limits {
		known = append(known, l.Measure)
	}
	i := slices.IndexFunc(plan.Limits, func(l lineup.SoakLimit) bool { return strings.EqualFold(l.Measure, strings.TrimSpace(s.Measure)) })
	if i < 0 {
		return &InvalidError{Field: "measure", Value: shorten(s.Measure), Problem: "is not read in a soak", Nearest: nearest(s.Measure, known)}
	}
	l := plan.Limits[i]
	s.Measure = l.Measure
	switch {
	case l.Tracks == 0 && s.Track != 0:
		return &InvalidError{Field: "track", Value: fmt.Sprint(s.Track), Problem: "does not go with " + l.Measure + ", which is of the whole recorder"}
	case l.Tracks > 0 && (s.Track < 1 || s.Track > l.Tracks):
		return &InvalidError{Field: "track", Value: fmt.Sprint(s.Track), Problem: fmt.Sprintf("is not on this recorder, which has tracks 1 to %d", l.Tracks)}
	}
	if s.Measure == "level" && strings.EqualFold(s.Unit, "dBFS") {
		s.Unit = "dB" // changes only are looked at
	}
	return firstError(checkTyped(s.Value, s.Half), checkUnitIs(&s.Unit, l.Unit))
}

// namePass gives a pass the name of a test tape of the bench.
func (b *Bench) namePass(ctx context.Context, p *Pass) error {
	i, err := b.find(ctx, TapeDocument, p.Tape)
	if err == nil {
		p.Tape = i.name
	}
	return err
}
