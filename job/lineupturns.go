package job

import (
	"fmt"
	"math"
	"slices"

	"headstack/lineup"
	"headstack/machine"
	"headstack/trim"
)

// speedBench is what package trim makes of the record at one speed.
type speedBench struct {
	cmS      float64
	def      *machine.Definition
	model    *trim.Model
	bench    *trim.Bench
	trebleHz float64 // at which treble is read
	bassHz   float64
	overbias bool                   // bias is set by how far the treble falls past its peak
	read     map[trim.Quantity]bool // what was read at all
	doubts   []string
}

// overbiasMeasure is that of a bias which is set past the peak of treble.
const overbiasMeasure = "overbias"

// newSpeedBench makes the model of a speed. The error says which range is not understood.
func newSpeedBench(def *machine.Definition, o *lineup.Order, cmS float64) (*speedBench, error) {
	b := &speedBench{cmS: cmS, def: def, read: map[trim.Quantity]bool{}}
	for _, s := range o.Steps {
		if s.SpeedCmS != cmS {
			continue
		}
		switch {
		case s.Kind == lineup.Treble && b.trebleHz == 0:
			b.trebleHz = s.Source.ToneHz
		case s.Kind == lineup.PlayBass && b.bassHz == 0:
			b.bassHz = s.Source.ToneHz
		}
	}
	for _, s := range o.Steps {
		if s.Kind == lineup.Bias && s.SpeedCmS == cmS {
			if t := o.Target(s.ID, lineup.Setup{}); t.Refused == "" {
				b.overbias = t.Measure == overbiasMeasure
			}
			break
		}
	}
	if b.trebleHz == 0 {
		b.trebleHz = lineup.TrebleHz(cmS)
	}
	var err error
	if b.model, err = trim.ForMachine(def, trim.Options{SpeedCmS: cmS, TrebleHz: b.trebleHz, BassHz: b.bassHz, Overbias: b.overbias}); err != nil {
		return nil, err
	}
	b.bench = trim.NewBench(b.model)
	return b, nil
}

// quantity is the figure of package trim that a step reads. ok is false where the model
// has none, or has it in a unit that does not fit.
func (b *speedBench) quantity(s *lineup.Step) (q trim.Quantity, ok bool) {
	if s.SpeedCmS != 0 && s.SpeedCmS != b.cmS && !s.AllSpeeds {
		return q, false
	}
	track := 0
	if len(s.Tracks) == 1 {
		track = s.Tracks[0]
	}
	switch s.Kind {
	case lineup.Speed, lineup.ProofSpeed:
		q = trim.Quantity{Measure: "speed_error"}
	case lineup.Azimuth, lineup.AzimuthAgain, lineup.ProofAzimuth:
		q = trim.Quantity{Measure: "azimuth"}
	case lineup.RecordAzimuth:
		q = trim.Quantity{Measure: "azimuth", At: s.At}
	case lineup.Level, lineup.LevelAgain, lineup.ProofLevel:
		q = trim.Quantity{Measure: "level", Track: track}
	case lineup.Treble, lineup.ProofTreble:
		q = trim.Quantity{Measure: "response", Track: track, ToneHz: b.trebleHz}
	case lineup.PlayBass:
		q = trim.Quantity{Measure: "response", Track: track, ToneHz: b.bassHz}
	case lineup.RecordLevel, lineup.ProofRecordLevel:
		q = trim.Quantity{Measure: "record_level", Track: track}
	case lineup.Bias:
		q = trim.Quantity{Measure: "record_response", Track: track, ToneHz: b.trebleHz}
		if b.overbias {
			q = trim.Quantity{Measure: overbiasMeasure, Track: track}
		}
	case lineup.RecordTreble, lineup.ProofRecordTreble:
		q = trim.Quantity{Measure: "record_response", Track: track, ToneHz: b.trebleHz}
	case lineup.SyncLevel:
		q = trim.Quantity{Measure: "sync_level", Track: track}
	case lineup.SyncTreble:
		q = trim.Quantity{Measure: "sync_response", Track: track, ToneHz: b.trebleHz}
	default:
		x, known := b.model.Trim(trim.ID(s.Part))
		if !known {
			return q, false
		}
		q = x.Sets
	}
	return q, b.model.Unit(q) != ""
}

// scaled is a reading of a step for the model.
func (b *speedBench) scaled(r stepReading) (trim.Reading, bool) {
	q, ok := b.quantity(r.step)
	if !ok || r.step.SpeedCmS != 0 && r.step.SpeedCmS != b.cmS {
		return trim.Reading{}, false
	}
	k, ok := convertible(1, r.unit, b.model.Unit(q))
	return trim.Reading{Quantity: q, Value: sense(q) * k * r.value, SD: max(k*r.sd, steady(r.unit)*k)}, ok
}

// steady is how well a figure of one pass repeats at best, r.m.s.: intervals of measures are
// those of the noise within the pass, and the next pass lies otherwise on the head. Common
// practice, no source.
func steady(unitName string) float64 {
	switch unitName {
	case "dB":
		return 0.03
	case "%":
		return 0.01
	case "arcmin":
		return 0.05
	}
	return 0
}

// sense is −1 for the angle of own recordings, which package trim counts from the play
// head's to the record head's: what is read is positive where higher tracks play later.
func sense(q trim.Quantity) float64 {
	if q.Measure == "azimuth" && q.At != "" {
		return -1
	}
	return 1
}

// take plays turns and readings back, in their order. adds is what the open case adds to
// a figure, taken off those read open.
func (b *speedBench) take(actions []action, adds func(q trim.Quantity) (value, sd float64)) {
	for _, a := range actions {
		switch {
		case a.anew: // what a repair changed says nothing of a trim, and contradicts none
			b.bench, b.read, b.doubts = trim.NewBench(b.model), map[trim.Quantity]bool{}, nil
			continue
		case a.turn != nil:
			b.turn(a.turn)
			continue
		}
		best := map[trim.Quantity]trim.Reading{}
		var order []trim.Quantity
		for _, r := range a.reads {
			x, ok := b.scaled(r)
			if !ok {
				continue
			}
			if opens(r.state) {
				value, sd := adds(x.Quantity)
				x.Value, x.SD = x.Value-value, math.Hypot(x.SD, sd)
			}
			// One figure settles several steps, as level and level again.
			if old, twice := best[x.Quantity]; !twice {
				order = append(order, x.Quantity)
			} else if old.SD <= x.SD {
				continue
			}
			best[x.Quantity] = x
		}
		var reads []trim.Reading
		for _, q := range order {
			reads = append(reads, best[q])
			b.read[q] = true
		}
		if len(reads) == 0 {
			continue
		}
		doubts, err := b.bench.Read(reads...)
		if err != nil {
			b.doubts = append(b.doubts, err.Error())
		}
		for _, d := range doubts {
			b.doubts = append(b.doubts, d.Sentence)
		}
	}
}

func (b *speedBench) turn(t *Turn) {
	x, ok := b.model.Trim(trim.ID(t.Part(b.def)))
	if !ok {
		return // of another speed, or tuned for least or most
	}
	mv := trim.Move{Trim: x.ID, By: inUnit(t.By, t.Unit, x.Unit), Stopped: t.Stopped}
	if t.unnoted() {
		mv.SD = x.Travel / 3 // how far is anybody's guess
	}
	if err := b.bench.Turn(mv); err != nil {
		b.doubts = append(b.doubts, err.Error())
	}
}

// unnoted tells a turn of which nobody noted how far it went.
func (t Turn) unnoted() bool { return t.By == 0 && !t.Stopped && t.From == nil }

// next says what to turn for the steps of this speed that have a trim and were read.
func (b *speedBench) next(l *LineUp) ([]LineUpTurn, error) {
	var targets []trim.Target
	steps := map[trim.Quantity]string{}
	for i := range l.Steps {
		s := &l.Steps[i]
		q, ok := b.quantity(&s.Step)
		if !ok || s.Trim == "" || s.SpeedCmS != 0 && s.SpeedCmS != b.cmS || steps[q] != "" || !b.read[q] {
			continue
		}
		x, _, ok := b.aim(s)
		if !ok {
			continue
		}
		steps[q] = s.ID
		targets = append(targets, x)
	}
	if len(targets) == 0 {
		return nil, nil
	}
	turns, err := b.bench.Next(targets)
	if err != nil {
		return nil, err
	}
	var out []LineUpTurn
	for _, t := range turns {
		out = append(out, b.asTurn(l, steps[t.Target.Quantity], t))
	}
	return out, nil
}

// asTurn puts a turn into the terms of the record: figures are less the target.
func (b *speedBench) asTurn(l *LineUp, step string, t trim.Turn) LineUpTurn {
	off := func(f trim.Figure) LineUpFigure {
		d := LineUpFigure{f.Value - t.Target.Value, f.Lo - t.Target.Value, f.Hi - t.Target.Value, f.Unit}
		if sense(t.Target.Quantity) < 0 {
			d.Value, d.Lo, d.Hi = -d.Value, -d.Hi, -d.Lo
		}
		return d
	}
	out := LineUpTurn{Step: step, Do: t.Do, Part: string(t.Trim), By: t.By, Lo: t.Lo, Hi: t.Hi, Unit: t.Unit,
		Now: off(t.Now), After: off(t.After), Chance: t.Chance, AfterChance: t.After95, Text: t.Sentence, Cautions: list(t.Cautions)}
	if t.Now.Unit == "dB" {
		out.Text += " Decibels are re the step's target."
	}
	// What is beyond all travel has no end; JSON knows no infinity.
	x, known := b.model.Trim(t.Trim)
	if known {
		out.Lo, out.Hi = max(out.Lo, -x.Travel), min(out.Hi, x.Travel)
	}
	for i := range l.Steps {
		if s := &l.Steps[i]; s.Part == out.Part && s.Part != "" {
			out.Trim, out.Key = s.Trim, s.Key
			break
		}
	}
	return out
}

// extrema are the turns of what is tuned for least or most, by the readings of their steps.
func extrema(v *View, l *LineUp, actions []action) ([]LineUpTurn, error) {
	seen := map[trim.ID]bool{}
	var out []LineUpTurn
	for _, sp := range v.Def.Speeds {
		list, err := trim.Extrema(v.Def, trim.Options{SpeedCmS: sp.CmS})
		if err != nil {
			return nil, err
		}
		for _, x := range list {
			if seen[x.Trim().ID] {
				continue
			}
			seen[x.Trim().ID] = true
			t, ok, err := tuned(v.Def, l, x, actions)
			if err != nil {
				return nil, err
			}
			if ok {
				out = append(out, t)
			}
		}
	}
	return out, nil
}

// nearExtreme is how near to its best reading a tuned adjuster is to come, dB: common
// practice, no source.
const nearExtreme = 0.5

// tuned plays back the turns and readings of one adjuster that is tuned. ok is false
// where nothing was read.
func tuned(def *machine.Definition, l *LineUp, x *trim.Extremum, actions []action) (out LineUpTurn, ok bool, err error) {
	t := x.Trim()
	i := slices.IndexFunc(l.Steps, func(s LineUpStep) bool { return s.Part == string(t.ID) })
	if i < 0 {
		return out, false, nil
	}
	s := &l.Steps[i]
	for _, a := range actions {
		if a.turn != nil && a.turn.Part(def) == string(t.ID) {
			sd := 0.0
			if a.turn.unnoted() {
				sd = t.Travel / 3
			}
			x.Turn(inUnit(a.turn.By, a.turn.Unit, t.Unit), sd)
		}
		for _, r := range a.reads {
			if r.step.ID != s.ID {
				continue
			}
			db, sd := r.value, r.sd
			if r.unit != "dB" {
				if !(r.value > 0) {
					continue
				}
				db, sd = 20*math.Log10(r.value), 20/math.Ln10*r.sd/r.value
			}
			if err := x.Read(db, sd); err != nil {
				return out, false, err
			}
			ok = true
		}
	}
	if !ok {
		return out, false, nil
	}
	n := x.Next(nearExtreme)
	out = LineUpTurn{Step: s.ID, Do: n.Do, Trim: s.Trim, Key: s.Key, Part: s.Part, By: n.By, Lo: n.Lo, Hi: n.Hi, Unit: t.Unit,
		Now: figureOf(n.Now), After: figureOf(n.After), Chance: n.Chance, AfterChance: n.After95, Text: n.Sentence, Cautions: list(n.Cautions)}
	return out, true, nil
}

// doubtText says at which speed something is doubted, where there are several.
func (b *speedBench) doubtText(d string) string {
	if len(b.def.Speeds) < 2 {
		return d
	}
	return fmt.Sprintf("%g cm/s: %s", b.cmS, d)
}
