package job

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"headstack/diagnosis"
	"headstack/lineup"
	"headstack/machine"
	"headstack/measure"
	"headstack/trim"
	"headstack/unit"
)

// stepReading is a figure that was read at a step, in the terms of package trim.
type stepReading struct {
	step *lineup.Step
	// value is reading less target for what is in dB, so that readings by instrument and by
	// capture, and of different tapes, are of one scale; else the reading in the model's
	// unit. What the open case adds is still in it. sd is in the same unit.
	value, sd float64
	unit      string
	state     measure.CaseState
	prop      trim.Prop
	// epoch counts turns before it; closing closings before it, of an open reading openings.
	epoch, closing int
}

// action is a turn, readings that were taken together, or a work after which nothing that
// was read before holds, in the order of the bench.
type action struct {
	turn  *Turn
	reads []stepReading
	anew  bool
}

// logger makes the events of a line-up of what counts in a record.
type logger struct {
	v     *View
	o     *lineup.Order
	shelf *shelf
	// offsets are what the open case adds, by step; nil on the first run, which finds them.
	offsets map[string]lineup.Amount
	outputs []output

	stand                   *standing
	log                     []lineup.Event
	actions                 []action
	epoch, openings, closed int
}

// output is what the reference output gives at the interface, from an entry on.
type output struct {
	seq    int64
	amount lineup.Amount
}

func newLogger(v *View, o *lineup.Order, s *shelf, offsets map[string]lineup.Amount) *logger {
	g := &logger{v: v, o: o, shelf: s, offsets: offsets, stand: &standing{def: v.Def, state: v.Job.Case}}
	first := observed(v.Entries)
	current := slices.Clone(v.Current)
	slices.SortStableFunc(current, func(a, b Entry) int { return cmp.Compare(first[a.Seq], first[b.Seq]) })
	for _, e := range current {
		if f := e.Figure; f != nil && f.Step == ReferenceOutput {
			half := f.Half
			if half == 0 {
				half = UsualHalf(f.Value, f.Unit)
			}
			g.outputs = append(g.outputs, output{first[e.Seq], lineup.Amount{Value: f.Value, Half: half, Source: e.Ref}})
		}
	}
	for _, e := range current {
		g.entry(e, first[e.Seq])
	}
	return g
}

// output is what is known of the interface for a capture: the last figure before it, else
// the first one after.
func (g *logger) output(seq int64) *lineup.Amount {
	var out *lineup.Amount
	for i := range g.outputs {
		if out == nil || g.outputs[i].seq <= seq {
			out = &g.outputs[i].amount
		}
	}
	return out
}

func (g *logger) entry(e Entry, seq int64) {
	g.opened(e)
	x := lineup.Event{Seq: int(e.Seq)}
	switch {
	case e.Turn != nil:
		x.Kind, x.Trim, x.Key = lineup.Turned, e.Turn.Trim, e.Turn.Key
		g.epoch++
		g.actions = append(g.actions, action{turn: e.Turn})
		g.log = append(g.log, x)
		g.stairs(e)
		return
	case e.Gate != nil:
		x.Kind, x.Step = lineup.GateDone, e.Gate.Step
		if e.Gate.Lost {
			x.Kind = lineup.GateLost
		}
	case e.Pass != nil:
		x.Kind, x.Tape = lineup.Played, e.Pass.Tape
	case e.SignOff != nil:
		x.Kind, x.Step, x.Reason, x.By = lineup.SignedOff, e.SignOff.Step, e.SignOff.Reason, e.SignOff.By
	case e.Soak != nil:
		s := e.Soak
		r := typedResult(s.Measure, s.Track, s.Value, s.Half, s.Unit, e.Case)
		x.Kind, x.Minutes, x.Result = lineup.Soaked, s.AtMinutes, &r
	case e.Figure != nil && e.Figure.Step != ReferenceOutput:
		g.figure(e)
		return
	case e.Reading != nil:
		g.reading(e)
		return
	case e.Capture != nil:
		g.capture(e, seq)
		return
	case e.Work != nil:
		g.work(e)
		return
	default:
		return
	}
	g.log = append(g.log, x)
}

// opened follows what stands open: what an entry says of it, or lets follow.
func (g *logger) opened(e Entry) {
	before, state := slices.Clone(g.stand.open), g.stand.state
	g.stand.take(e)
	for _, id := range slices.Backward(before) {
		if !slices.Contains(g.stand.open, id) {
			g.log = append(g.log, lineup.Event{Seq: int(e.Seq), Kind: lineup.Closed, Opening: id})
		}
	}
	for _, id := range g.stand.open {
		if !slices.Contains(before, id) {
			g.log = append(g.log, lineup.Event{Seq: int(e.Seq), Kind: lineup.Opened, Opening: id})
		}
	}
	was, is := opens(state), opens(g.stand.state)
	switch {
	case is && !was:
		g.openings++
	case was && !is:
		g.closed++
	}
}

// opens tells the case states in which the case is not closed.
func opens(c measure.CaseState) bool { return c == measure.CasePropped || c == measure.CaseOpen }

// prop is what holds the recorder open: the outermost opening that opens the case.
func (g *logger) prop() trim.Prop {
	for _, id := range g.stand.open {
		if o, _ := g.v.Def.Opening(id); o.Case != string(measure.CaseClosed) {
			return trim.Prop{Name: id}
		}
	}
	return trim.Prop{Name: string(g.stand.state)}
}

// work makes stale what is read through a stage that was worked on. Cleaning and
// reseating are taken to leave settings alone.
func (g *logger) work(e Entry) {
	w := e.Work
	if !slices.Contains([]diagnosis.WorkKind{diagnosis.WorkRepair, diagnosis.WorkReflow, diagnosis.WorkSwap}, w.Kind) {
		return
	}
	lost := false
	for i := range g.o.Steps {
		s := &g.o.Steps[i]
		if s.Gate || s.OnEvidence || len(s.Tracks) == 0 && !g.geometry(s, w) || !g.passes(s, w) {
			continue
		}
		lost = true
		g.log = append(g.log, lineup.Event{Seq: int(e.Seq), Kind: lineup.GateLost, Step: s.ID})
	}
	if lost {
		g.epoch++
		g.actions = append(g.actions, action{anew: true})
	}
}

// geometry tells whether work on a stage can move a figure of the whole recorder: only
// work at a head moves its angle.
func (g *logger) geometry(s *lineup.Step, w *Work) bool {
	st, ok := g.v.Def.Stage(w.Stage)
	if !ok || st.Kind != "head" && st.Kind != "alignment" {
		return false
	}
	return s.Kind == lineup.Azimuth || s.Kind == lineup.RecordAzimuth
}

// passes tells whether what a step reads goes through a stage.
func (g *logger) passes(s *lineup.Step, w *Work) bool {
	function := g.function(s)
	f, ok := g.v.Def.Function(function)
	if !ok {
		return false
	}
	keys := g.v.Def.ReplicaKeys(f.Each)
	if f.Each == machine.EachTrack && s.Key != "" && s.Each == machine.EachTrack {
		keys = []string{s.Key}
	}
	for _, key := range keys {
		path, err := g.v.Def.Path(f.ID, key)
		if err != nil {
			continue
		}
		for _, in := range path {
			if in.Stage.ID == w.Stage && (in.Key == w.Key || w.With != "" && in.Key == w.With) {
				return true
			}
		}
	}
	return false
}

// function is that at which a step is read: of a test point the function that it belongs to.
func (g *logger) function(s *lineup.Step) string {
	if tp, ok := g.v.Def.TestPoint(s.At); ok {
		return tp.Function
	}
	return s.At
}

// figure takes a figure that was typed for a step.
func (g *logger) figure(e Entry) {
	f := e.Figure
	s, ok := g.o.Step(f.Step)
	if !ok {
		return // of an older version of the order
	}
	track := 0
	if len(s.Tracks) == 1 {
		track = s.Tracks[0]
	}
	r := typedResult(s.Measure, track, f.Value, f.Half, f.Unit, e.Case)
	r.ToneHz = s.Source.ToneHz
	r.Conditions.SpeedCmS, r.Conditions.Instrument = s.SpeedCmS, f.Instrument
	g.measured(e, []heard{{s, &r}}, lineup.Setup{})
}

// reading takes a reading at a test point for the steps that are read there without a
// tape: what a tape plays a plain reading does not tell.
func (g *logger) reading(e Entry) {
	r := e.Reading
	tp, ok := g.v.Def.TestPoint(r.TestPoint)
	if !ok {
		return
	}
	part := g.v.Def.Designator(tp.Part, tp.Each, r.Key)
	var hits []heard
	for i := range g.o.Steps {
		s := &g.o.Steps[i]
		if s.At != tp.ID || s.AtPart != part || s.Source.Carrier != lineup.NoTape || s.Gate {
			continue
		}
		x := typedResult(s.Measure, 0, r.Value, 0, r.Unit, e.Case)
		x.ToneHz, x.Conditions.Instrument = r.ToneHz, r.Instrument
		if t := g.o.Target(s.ID, lineup.Setup{}); t.Refused == "" && lineup.Judge(&t, &x).Verdict != lineup.NotMeasured {
			hits = append(hits, heard{s, &x})
		}
	}
	g.measured(e, hits, lineup.Setup{})
}

// heard is a figure of a step.
type heard struct {
	step   *lineup.Step
	result *measure.Result
}

// measured enters figures that were taken together.
func (g *logger) measured(e Entry, hits []heard, set lineup.Setup) {
	open := opens(g.stand.state)
	if open {
		set.Offset = g.offsets
	}
	var reads []stepReading
	for _, h := range hits {
		t := g.o.Target(h.step.ID, set)
		x := lineup.Event{Seq: int(e.Seq), Kind: lineup.Measured, Step: h.step.ID, Result: h.result}
		if t.Refused == "" {
			x.Target = &t
		}
		g.log = append(g.log, x)
		shut := set
		shut.Offset = nil
		t = g.o.Target(h.step.ID, shut)
		if r, ok := g.deviation(h, &t); ok {
			reads = append(reads, r)
		}
	}
	if len(reads) > 0 {
		g.actions = append(g.actions, action{reads: reads})
	}
}

// deviation is a reading against the target of the closed recorder.
func (g *logger) deviation(h heard, t *lineup.Target) (stepReading, bool) {
	j := lineup.Judge(t, h.result)
	if j.Verdict == lineup.NotMeasured {
		return stepReading{}, false
	}
	exact := *t
	exact.Lo, exact.Hi = t.Value, t.Value
	j = lineup.Judge(&exact, h.result)
	r := stepReading{step: h.step, value: j.Error, sd: (j.Hi - j.Lo) / (2 * z95), unit: t.Unit,
		state: g.stand.state, prop: g.prop(), epoch: g.epoch, closing: g.closed}
	if t.Unit == "dBFS" {
		r.unit = "dB"
	}
	if r.unit != "dB" || t.Side != lineup.Both {
		r.value += t.Value
	}
	if opens(r.state) {
		r.closing = g.openings
	}
	return r, r.sd > 0 && !math.IsInf(r.sd, 0) && !math.IsNaN(r.value)
}

const z95 = 1.959963984540054 // of a 95 % interval, standard normal

// capture takes a capture: a pass of a test tape by itself, and the figures of its steps.
func (g *logger) capture(e Entry, seq int64) {
	c := e.Capture
	if c.Tape != "" {
		g.log = append(g.log, lineup.Event{Seq: int(e.Seq), Kind: lineup.Played, Tape: c.Tape})
	}
	if st := g.shelf.stairs; st != nil && st.plans[c.ProgrammeSHA] {
		g.stairs(e)
		return
	}
	set := lineup.Setup{ReadBy: lineup.ByCapture, OutputDBFS: g.output(seq)}
	if t := g.shelf.bySHA[c.TapeSHA]; t != nil {
		set.Tapes = append([]lineup.TapeAtHand{{Tape: t}}, g.shelf.tapes...)
	}
	var hits []heard
	for i := range g.o.Steps {
		s := &g.o.Steps[i]
		if !g.tells(c, s) {
			continue
		}
		if r := g.resultFor(c, s, set); r != nil {
			hits = append(hits, heard{s, r})
		}
	}
	g.measured(e, hits, set)
}

// tells reports whether a capture is of what a step is read from.
func (g *logger) tells(c *Capture, s *lineup.Step) bool {
	sync := false
	if f, ok := g.v.Def.Function(c.Function); ok {
		sync = slices.Contains(f.Modes, "sync")
	}
	switch {
	case s.Kind == lineup.Flutter || s.Kind == lineup.Drift:
		return true // of any tape
	case s.Kind == lineup.NoiseReductionOn:
		return false // a capture does not say that it was on
	case s.Source.Carrier == lineup.TestTape:
		return c.Tape != "" && sync == (s.Phase == lineup.PhaseSync)
	case s.Source.Carrier == lineup.OwnTape, s.Kind == lineup.ProofDistortion, s.Kind == lineup.ProofNoise:
		return c.Programme != ""
	}
	return false
}

// thirdOctave is how far a tone may be off that of a step, octaves.
const thirdOctave = 1.0/3 + 1e-9

// resultFor is the figure of a capture that a step is read by; nil for none. Where several
// fit it is that of the step's own section, else the one nearest in tone, of the whole
// recorder the worst.
func (g *logger) resultFor(c *Capture, s *lineup.Step, set lineup.Setup) *measure.Result {
	t := g.o.Target(s.ID, set)
	if t.Refused != "" {
		return nil
	}
	section := s.Source.Section
	if s.Kind == lineup.Level || s.Kind == lineup.LevelAgain || s.Kind == lineup.ProofLevel || s.Kind == lineup.SyncLevel {
		if tape := g.shelf.bySHA[c.TapeSHA]; tape != nil {
			if i, ok := tape.ReferenceSection(); ok {
				section = tape.Sections[i].Name
			}
		}
	}
	var best *measure.Result
	cost := math.Inf(1)
	for i := range c.Report.Measures {
		r := &c.Report.Measures[i]
		into := s.Kind == lineup.ProofCrosstalk // of one track into another
		if r.Name != t.Measure || into != (r.TrackB != 0) || !sameSpeed(r.Conditions.SpeedCmS, s.SpeedCmS) {
			continue
		}
		if len(s.Tracks) == 1 && r.Track != s.Tracks[0] {
			continue
		}
		off := 0.0
		if s.Source.ToneHz > 0 && r.ToneHz > 0 && r.Section != section {
			if off = math.Abs(math.Log2(r.ToneHz / s.Source.ToneHz)); off > thirdOctave && !spansTones(s.Kind) {
				continue
			}
			if r.Name == "level" || r.Name == "harmonic_3" { // the same tone is recorded at several levels
				continue
			}
			off++
		}
		most, bound := r.Bound()
		if bound = bound && into; r.Refused != "" && !bound {
			off += 100
		}
		switch { // of one track alone, or into one: of these the worst
		case len(s.Tracks) == 0 && r.Track != 0:
			off += 10 - math.Min(5, math.Abs(lineup.Judge(&t, r).Error))
		case into && r.ToneHz > 0 && math.Abs(math.Log2(r.ToneHz/t.ToneHz)) > thirdOctave:
			continue
		case into && (bound || r.Refused == ""):
			if !bound {
				if most = r.Hi; lineup.Judge(&t, r).Verdict == lineup.Out {
					most += 100 // known to be out, which a bound is not
				}
			}
			off += 10 - math.Max(-9, math.Min(9, most/20))
		}
		if off < cost {
			best, cost = r, off
		}
	}
	return best
}

// spansTones tells the kinds whose figures are of a tone of the measure's own.
func spansTones(k lineup.Kind) bool {
	switch k {
	case lineup.Flutter, lineup.Drift, lineup.Speed, lineup.Azimuth, lineup.AzimuthAgain, lineup.RecordAzimuth,
		lineup.ProofSpeed, lineup.ProofFlutter, lineup.ProofAzimuth:
		return true
	}
	return false
}

// sameSpeed tells printed speeds that are the same: 9.5 and 9.525 cm/s; one that is not
// said is any.
func sameSpeed(a, b float64) bool { return a == 0 || b == 0 || math.Abs(a/b-1) <= 0.01 }

// convertible brings a value into another unit of the same base.
func convertible(value float64, from, to string) (float64, bool) {
	if from == to {
		return value, true
	}
	v, base, ok := unit.ToBase(value, from)
	one, base2, ok2 := unit.ToBase(1, to)
	if !ok || !ok2 || base != base2 || strings.HasPrefix(from, "dB") || strings.HasPrefix(to, "dB") {
		return 0, false
	}
	return v / one, true
}
