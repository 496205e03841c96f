package lining

import (
	"fmt"
	"math"
	"slices"

	"headstack/lineup"
	"headstack/machine"
	"headstack/measure"
	"headstack/sim/trims"
	"headstack/trim"
)

// Way is how the planned technician works.
type Way struct {
	// NoCase sets to the targets of the closed recorder with the case open, as if that
	// made no difference.
	NoCase bool
}

// key is a figure of a speed.
type key struct {
	cmS float64
	q   trim.Quantity
}

// technician lines a recorder up as packages lineup, trim and bias say.
type technician struct {
	m    *trims.Recorder
	way  Way
	tell func(format string, args ...any)

	def   *machine.Definition // as seen
	order *lineup.Order
	log   []lineup.Event
	setup lineup.Setup

	// Of package trim, by speed: play is told what is heard of tapes, own what is heard of
	// own recordings since bias was set.
	model     map[float64]*trim.Model
	play, own map[float64]*trim.Bench
	refs      map[trim.ID]trims.Ref
	moved     map[string]bool // trims of the definition of which one was ever turned

	last, closed       map[key]float64 // the last readings, case open and closed
	cases              map[float64]*trim.Case
	offsets            map[key]trim.Offset // what the open case adds
	closings, openings int

	// By trim of the definition, of what is read at test points: what a turn does over
	// nominal, and how sharp an extreme is.
	learned map[string]float64
	sharp   map[string]extreme
}

// What readings of a recorder of sim/trims err by, r.m.s.; a bench knows that of its own.
const (
	levelSD = 0.1 // dB
	delaySD = 2   // µs
	speedSD = 0.02
	angleSD = 0.2 // arcminutes, of the outer tracks of either recorder
)

// anglesFrom is how well an angle must be read, in arcminutes r.m.s., to be compared closed
// and open: of tracks far enough apart.
const anglesFrom = 0.5

// Planned lines a recorder up as the packages say.
func Planned(m *trims.Recorder, way Way, tell func(format string, args ...any)) (Result, error) {
	if tell == nil {
		tell = func(string, ...any) {}
	}
	out := begin(m)
	t := &technician{m: m, way: way, tell: tell, def: asSeen(m),
		model: map[float64]*trim.Model{}, play: map[float64]*trim.Bench{}, own: map[float64]*trim.Bench{},
		refs: map[trim.ID]trims.Ref{}, moved: map[string]bool{}, last: map[key]float64{}, closed: map[key]float64{},
		cases: map[float64]*trim.Case{}, offsets: map[key]trim.Offset{}, learned: map[string]float64{}, sharp: map[string]extreme{}}
	if err := t.prepare(); err != nil {
		return out, err
	}
	if err := t.work(); err != nil {
		return out, err
	}
	st := t.order.Status(t.log)
	out.Problems = st.Problems
	for _, s := range st.Steps {
		if s.State != lineup.StateDone && s.State != lineup.StateNotNeeded {
			out.Open = append(out.Open, fmt.Sprintf("%s is %s: %s", s.Step, s.State, s.Why))
		}
	}
	out.end(m)
	return out, nil
}

func (t *technician) prepare() (err error) {
	t.setup = lineup.Setup{Tapes: testTapes(t.def), ReadBy: lineup.ByCapture, Offset: map[string]lineup.Amount{}}
	if t.order, err = lineup.New(t.def, lineup.Options{Tapes: t.setup.Tapes}); err != nil {
		return err
	}
	for _, v := range t.def.Speeds {
		model, err := trim.ForMachine(t.def, trim.Options{SpeedCmS: v.CmS})
		if err != nil {
			return err
		}
		if t.cases[v.CmS], err = trim.NewCase(model, thisOne, prop, nil); err != nil {
			return err
		}
		t.model[v.CmS], t.play[v.CmS], t.own[v.CmS] = model, trim.NewBench(model), trim.NewBench(model)
	}
	for _, ref := range t.m.Trims() {
		x := trimOf(t.def, ref.ID)
		t.refs[trim.ID(t.def.Designator(x.Part, x.Each, ref.Key))] = ref
	}
	return nil
}

func (t *technician) work() error {
	t.gates()
	// Tension and brakes come before the good tape, wherever their trims are.
	if err := t.tensions(); err != nil {
		return err
	}
	// Where each own recording is rewound and played, what an open case adds to it is
	// taken to be what it adds to replay; the proof shows the rest.
	own := !t.m.OneHead()
	if !t.way.NoCase {
		t.close()
		if err := t.readAll(own); err != nil {
			return err
		}
	}
	for _, x := range t.def.Trims {
		if err := t.open(x.Opening); err != nil {
			return err
		}
	}
	if err := t.readAll(own); err != nil {
		return err
	}
	t.compare()
	for _, phase := range []func() error{t.speeds, t.replay, t.record, t.sync} {
		if err := phase(); err != nil {
			return err
		}
	}
	return t.prove()
}

func (t *technician) open(opening string) error {
	if opening == machine.Closed || slices.Contains(t.m.IsOpen(), opening) {
		return nil
	}
	t.log = append(t.log, lineup.Event{Kind: lineup.Opened, Opening: opening})
	if t.m.Case() == machine.Closed {
		t.openings++
	}
	return t.m.Also(opening)
}

func (t *technician) close() {
	for _, id := range slices.Backward(t.m.IsOpen()) {
		t.log = append(t.log, lineup.Event{Kind: lineup.Closed, Opening: id})
	}
	t.m.Close()
	t.closings++
}

// measured enters a reading of a step.
func (t *technician) measured(s *lineup.Step, value, sd float64) {
	target := t.order.Target(s.ID, t.setup)
	r := measure.Result{Name: s.Measure, Value: value, Lo: value - 1.96*sd, Hi: value + 1.96*sd, Unit: target.Unit,
		Conditions: measure.Conditions{Case: measure.CaseState(t.m.Case()), SpeedCmS: s.SpeedCmS}}
	if len(s.Tracks) > 0 {
		r.Track = s.Tracks[0]
	}
	e := lineup.Event{Kind: lineup.Measured, Step: s.ID, Result: &r}
	if target.Refused == "" {
		e.Target = &target
	}
	t.log = append(t.log, e)
}

// steps are those of some kinds at a speed; 0 is any.
func (t *technician) steps(cmS float64, kinds ...lineup.Kind) []*lineup.Step {
	var out []*lineup.Step
	for i := range t.order.Steps {
		if s := &t.order.Steps[i]; slices.Contains(kinds, s.Kind) && (cmS == 0 || s.SpeedCmS == cmS || s.SpeedCmS == 0) {
			out = append(out, s)
		}
	}
	return out
}

// gates are seen to; of a recorder without faults the transport is steady.
func (t *technician) gates() {
	for _, s := range t.order.Steps {
		if s.Gate && s.Phase == lineup.PhaseGates {
			t.log = append(t.log, lineup.Event{Kind: lineup.GateDone, Step: s.ID})
		}
	}
}

// quantity is the figure of package trim by which a step is set.
func (t *technician) quantity(s *lineup.Step) (trim.Quantity, bool) {
	track := 0
	if len(s.Tracks) == 1 {
		track = s.Tracks[0]
	}
	hz := lineup.TrebleHz(s.SpeedCmS)
	switch s.Kind {
	case lineup.Speed, lineup.ProofSpeed:
		return trim.Quantity{Measure: "speed_error"}, true
	case lineup.Azimuth, lineup.AzimuthAgain, lineup.ProofAzimuth:
		return trim.Quantity{Measure: "azimuth"}, true
	case lineup.RecordAzimuth:
		return trim.Quantity{Measure: "azimuth", At: "record-play"}, true
	case lineup.Level, lineup.LevelAgain, lineup.ProofLevel:
		return trim.Quantity{Measure: "level", Track: track}, true
	case lineup.Treble, lineup.ProofTreble:
		return trim.Quantity{Measure: "response", Track: track, ToneHz: hz}, true
	case lineup.PlayBass:
		return trim.Quantity{Measure: "response", Track: track, ToneHz: bassHz}, true
	case lineup.RecordLevel, lineup.ProofRecordLevel:
		return trim.Quantity{Measure: "record_level", Track: track}, true
	case lineup.RecordTreble, lineup.ProofRecordTreble:
		return trim.Quantity{Measure: "record_response", Track: track, ToneHz: hz}, true
	case lineup.SyncLevel:
		return trim.Quantity{Measure: "sync_level", Track: track}, true
	case lineup.SyncTreble:
		return trim.Quantity{Measure: "sync_response", Track: track, ToneHz: hz}, true
	}
	if x, ok := t.model[t.def.Speeds[0].CmS].Trim(trim.ID(s.Part)); ok {
		return x.Sets, true
	}
	return trim.Quantity{}, false
}

const bassHz = 60

// readings of a pass, as package trim takes them.
func (t *technician) readings(f trims.Figures) []trim.Reading {
	var out []trim.Reading
	add := func(measure string, track int, hz, v, sd float64) {
		out = append(out, trim.Reading{Quantity: trim.Quantity{Measure: measure, Track: track, ToneHz: hz}, Value: v, SD: sd})
	}
	level, response := map[string]string{"play": "level", "sync": "sync_level", "record-play": "record_level"}[f.Mode],
		map[string]string{"play": "response", "sync": "sync_response", "record-play": "record_response"}[f.Mode]
	hz := lineup.TrebleHz(f.SpeedCmS)
	for _, x := range f.Tracks {
		add(level, x.Track, 0, x.LevelDB, levelSD)
		add(response, x.Track, hz, x.ResponseDB[hz], levelSD)
		// Bass is judged by the recorder's own recording.
		if f.Mode == "record-play" && !t.m.OneHead() {
			add("response", x.Track, bassHz, x.ResponseDB[bassHz], levelSD)
		}
	}
	switch f.Mode {
	case "play":
		out = append(out, trim.Reading{Quantity: trim.Quantity{Measure: "speed_error"}, Value: f.SpeedPercent, SD: speedSD})
		if v, sd, ok := t.angle(f); ok {
			out = append(out, trim.Reading{Quantity: trim.Quantity{Measure: "azimuth"}, Value: v, SD: sd})
		}
	case "record-play":
		if v, sd, ok := t.angle(f); ok && !t.m.OneHead() {
			out = append(out, trim.Reading{Quantity: trim.Quantity{Measure: "azimuth", At: "record-play"}, Value: -v, SD: sd})
		}
	}
	return out
}

// angle is the azimuth in arcminutes that the delays of a pass show: of all pairs with
// the first track, by least squares; the noise of a pair is of its own.
func (t *technician) angle(f trims.Figures) (arcmin, sd float64, ok bool) {
	g := t.def.Geometry().Tracks
	num, den := 0.0, 0.0
	for _, d := range f.Delays {
		if d.A != f.Tracks[0].Track {
			continue
		}
		s := float64(g[d.B-1].Centre-g[d.A-1].Centre) / (f.SpeedCmS / 100) * math.Pi / 10800 * 1e6 // µs per arcminute
		num, den = num+s*d.Seconds*1e6, den+s*s
	}
	if den == 0 {
		return 0, 0, false
	}
	return num / den, delaySD / math.Sqrt(den), true
}

// read enters the readings of a pass. What is read with the case closed is kept by
// itself: package trim is told of the open case alone.
func (t *technician) read(f trims.Figures, err error) error {
	if err != nil {
		return err
	}
	b := t.play[f.SpeedCmS]
	if f.Mode == "record-play" {
		b = t.own[f.SpeedCmS]
	}
	var known []trim.Reading
	for _, r := range t.readings(f) {
		if _, ok := b.State(r.Quantity); !ok {
			continue
		}
		k := key{f.SpeedCmS, r.Quantity}
		keep := r.Quantity.Measure != "azimuth" || r.SD < anglesFrom
		if f.Case == machine.Closed && !t.way.NoCase {
			if keep {
				t.closed[k] = r.Value
			}
			// Once it is known what an open case adds, package trim can learn of it.
			if more, sd := t.more(k); sd > 0 {
				known = append(known, trim.Reading{Quantity: r.Quantity, Value: r.Value + more, SD: math.Hypot(r.SD, sd)})
			}
			continue
		}
		known = append(known, r)
		if keep {
			t.last[k] = r.Value
		}
	}
	if len(known) == 0 {
		return nil
	}
	doubts, err := b.Read(known...)
	for _, d := range doubts {
		t.tell("doubt: %s", d.Sentence)
	}
	return err
}

// hear plays the test tape for some tracks.
func (t *technician) hear(mode trims.Mode, cmS float64, tracks []int) error {
	rounds, err := playRounds(t.m, tracks)
	if err != nil {
		return err
	}
	for _, r := range rounds {
		if mode == trims.PlayHead || mode == trims.SyncHead {
			t.log = append(t.log, lineup.Event{Kind: lineup.Played, Tape: tapeName(cmS)})
		}
		if err := t.read(t.m.Play(mode, cmS, r.Tracks...)); err != nil {
			return err
		}
	}
	return nil
}

func (t *technician) recordOwn(cmS float64, tracks []int) error {
	for _, r := range recordRounds(t.m, tracks) {
		if err := t.read(t.m.Record(cmS, -20, r...)); err != nil {
			return err
		}
	}
	return nil
}

// readAll takes every figure that needs a tape, as the recorder stands; own recordings if
// wanted.
func (t *technician) readAll(own bool) error {
	for i, v := range t.def.Speeds {
		if err := t.hear(trims.PlayHead, v.CmS, t.m.Tracks()); err != nil {
			return err
		}
		if own {
			if err := t.recordOwn(v.CmS, t.m.Tracks()); err != nil {
				return err
			}
		}
		if i == 0 && !t.m.OneHead() {
			if err := t.hear(trims.SyncHead, v.CmS, t.m.Tracks()); err != nil {
				return err
			}
		}
	}
	return nil
}
