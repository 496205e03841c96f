package job

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"headstack/bias"
	"headstack/diagnosis"
	"headstack/lineup"
	"headstack/machine"
	"headstack/measure"
	"headstack/programme"
	"headstack/trim"
	"headstack/unit"
)

// LineUpStaircase is what staircases say of the bias trim of a step.
type LineUpStaircase struct {
	// Plan is the entry of the last plan, PlanSeq its Seq; Capture the entry of its replay,
	// empty where there is none yet.
	Plan    string `json:"plan"`
	PlanSeq int64  `json:"plan_seq"`
	Capture string `json:"capture,omitempty"`
	// Programme is what is recorded, Round the one of the track, from 1.
	Programme    string         `json:"programme"`
	ProgrammeSHA string         `json:"programme_sha256"`
	Round        int            `json:"round"`
	Want         bias.Want      `json:"want"`
	Track        bias.TrackPlan `json:"track"`
	// Procedure is what to do, a sentence or caution each, on a recorder with two heads; Live what
	// to do where the replay is heard while it records, else empty. Cues are what happens when
	// in the pass.
	Procedure []string   `json:"procedure"`
	Live      []string   `json:"live"`
	Cues      []bias.Cue `json:"cues"`
	// Position is where the trim stands by plan and turns, as a share of its travel; NaN, and
	// null in JSON, after a turn of which nobody noted how far it went.
	Position float64 `json:"-"`
	// Passes are the staircases that were fitted together, on the reference of the last.
	Passes []bias.Staircase `json:"passes"`
	Doubts []string         `json:"doubts"`
	// Curve, Setting and More are of the last replay that could be read; nil before one.
	Curve   *bias.Curve   `json:"curve,omitempty"`
	Setting *bias.Setting `json:"setting,omitempty"`
	More    *bias.More    `json:"more,omitempty"`
	// Now is the figure of the aim where the trim stands; nil where that is not known.
	Now *measure.Result `json:"now,omitempty"`
	// Refused says why the last replay gave nothing; Stale what was worked on since.
	Refused string `json:"refused,omitempty"`
	Stale   string `json:"stale,omitempty"`

	fresh bool // the next staircase is fitted together with these
}

// stairs are the staircases of a job.
type stairs struct {
	by map[string]*stair // by designator of the trim
	// reads are the figures that follow from a curve at an entry: of its replay, and of each
	// turn of its trim after that.
	reads map[int64][]stairRead
	// plans are the programmes of staircases: of their captures nothing else is read.
	plans map[string]bool
}

type stair struct {
	LineUpStaircase
	step  string
	track int
	id    string // machine.Trim
	replays
}

// replays are to be fitted together; keys says which, for the memory of fits.
type replays struct {
	list []bias.Staircase
	keys []int64
}

type stairRead struct {
	step   string
	result measure.Result
	aim    bias.Aim
}

// mostTogether bounds how many staircases are fitted together: the last ones.
const mostTogether = 4

// staircases goes through the record of a job. Fits are kept in memory, as long as the bench
// is open: entries do not change.
func (b *Bench) staircases(ctx context.Context, v *View, s *shelf) (*stairs, error) {
	if !slices.ContainsFunc(v.Current, func(e Entry) bool { return e.Staircase != nil }) {
		return nil, nil
	}
	def := v.AsSeen()
	o, err := lineup.New(def, s.options())
	if err != nil {
		return nil, nil // which the line-up says itself
	}
	x := &stairs{by: map[string]*stair{}, reads: map[int64][]stairRead{}, plans: map[string]bool{}}
	first := observed(v.Entries)
	current := slices.Clone(v.Current)
	slices.SortStableFunc(current, func(a, b Entry) int { return cmp.Compare(first[a.Seq], first[b.Seq]) })
	last := map[string]Entry{} // plan of a programme
	for _, e := range current {
		switch {
		case e.Staircase != nil:
			last[e.Staircase.ProgrammeSHA] = e
			p, err := b.programmeOf(ctx, e.Staircase.Programme, e.Staircase.ProgrammeSHA)
			if err != nil {
				return nil, err
			}
			x.plan(o, e, e.Staircase.Plan(p))
		case e.Capture != nil && x.plans[e.Capture.ProgrammeSHA]:
			if err := b.replayed(ctx, x, last[e.Capture.ProgrammeSHA], e); err != nil {
				return nil, err
			}
		case e.Turn != nil:
			x.turned(def, e)
		case e.Work != nil && slices.Contains([]diagnosis.WorkKind{diagnosis.WorkRepair, diagnosis.WorkReflow, diagnosis.WorkSwap}, e.Work.Kind):
			for _, t := range x.by {
				t.Stale, t.fresh, t.replays = e.Ref+": "+e.Work.Text(def), false, replays{}
			}
		}
	}
	return x, nil
}

// plan takes a plan: from here on the trims stand where it says.
func (x *stairs) plan(o *lineup.Order, e Entry, whole *bias.Plan) {
	s := e.Staircase
	x.plans[s.ProgrammeSHA] = true
	for i, t := range s.Tracks {
		step, ok := o.Trim(t.Trim, t.Key)
		if !ok {
			continue
		}
		st := x.by[t.Bias.ID]
		if st == nil {
			st = &stair{}
			x.by[t.Bias.ID] = st
		}
		st.step, st.track, st.id = step.ID, t.Bias.Track, t.Trim
		st.Plan, st.PlanSeq, st.Capture = e.Ref, e.Seq, ""
		st.Programme, st.ProgrammeSHA, st.Round, st.Want = s.Programme, s.ProgrammeSHA, t.Round+1, s.Want
		st.Track, st.Position, st.Refused = whole.Tracks[i], t.Bias.Now, ""
		st.Procedure, st.Cues, st.Live = whole.TwoHead(), whole.Cues(i), []string{}
		if o.ThreeHeads {
			st.Live = bias.ThreeHead(t.Bias, s.Want.Tones, s.Want.Aim)
		}
	}
}

// replayed reads the replay of a plan.
func (b *Bench) replayed(ctx context.Context, x *stairs, plan, e Entry) error {
	c := e.Capture
	p, err := b.programmeOf(ctx, c.Programme, c.ProgrammeSHA)
	if err != nil {
		return err
	}
	whole := plan.Staircase.Plan(p)
	for _, t := range plan.Staircase.Tracks {
		st := x.by[t.Bias.ID]
		if st == nil || st.PlanSeq != plan.Seq || !slices.Contains(c.Tracks, t.Bias.Track) {
			continue
		}
		st.Capture = e.Ref
		heard, doubts, err := whole.Heard(c.Report, t.Bias.Track, nil)
		st.Doubts, st.Refused = doubts, ""
		if err != nil {
			st.Refused = err.Error() + ": was it the replay of that round, and the right track?"
			continue
		}
		st.list, st.keys = append(slices.Clone(st.list), heard), append(slices.Clone(st.keys), plan.Seq, e.Seq)
		if n := len(st.list); n > mostTogether {
			st.list, st.keys = st.list[n-mostTogether:], st.keys[2*(n-mostTogether):]
		}
		if err := b.fitStaircase(st); err != nil {
			st.Refused = err.Error()
			continue
		}
		st.fresh, st.Stale = true, ""
		x.read(st, e)
	}
	return nil
}

// programmeOf loads a programme that the record names.
func (b *Bench) programmeOf(ctx context.Context, name, sha string) (*programme.Programme, error) {
	yaml, err := b.rec.Document(ctx, sha)
	if err != nil {
		return nil, err
	}
	return programme.Load(name+".yaml", yaml)
}

// fitStaircase fits, or remembers.
func (b *Bench) fitStaircase(st *stair) error {
	key := fmt.Sprint(st.Track.Trim.ID, st.keys)
	b.mu.Lock()
	kept, ok := b.curves[key]
	b.mu.Unlock()
	if !ok {
		aligned := bias.Align(st.list...)
		c, err := bias.Fit(st.Track.Trim, st.Want.Tones, aligned...)
		if err != nil {
			return err
		}
		set := c.Set(st.Want.Aim)
		kept = curveKept{c, &set, nil, aligned}
		if c.Verdict == bias.Peak {
			more := c.More(st.Want, lineup.OverbiasTolerance(st.Want.Aim.Recipe == bias.Flat))
			kept.more = &more
		}
		b.mu.Lock()
		if b.curves == nil || len(b.curves) > curvesKept {
			b.curves = map[string]curveKept{}
		}
		b.curves[key] = kept
		b.mu.Unlock()
	}
	st.Curve, st.Setting, st.More, st.Passes = kept.curve, kept.setting, kept.more, kept.passes
	return nil
}

// curveKept is a fit in memory; read-only.
type curveKept struct {
	curve   *bias.Curve
	setting *bias.Setting
	more    *bias.More
	passes  []bias.Staircase
}

const curvesKept = 200

// turned follows the trims. A turn that bears on the recorded level or treble of a track ends
// what is fitted together: output is then another at the same bias.
func (x *stairs) turned(def *machine.Definition, e Entry) {
	t := e.Turn
	if st := x.by[t.Part(def)]; st != nil {
		travel, u, ok := TravelOf(def, t.Trim)
		switch {
		case t.unnoted() || !ok:
			st.Position = math.NaN()
		default:
			st.Position = min(max(st.Position+float64(st.Track.Trim.Sign)*inUnit(t.By, t.Unit, u)/travel, 0), 1)
		}
		x.read(st, e)
		return
	}
	set := trimOf(def, t.Trim)
	if set == nil || !slices.Contains([]string{"level", "response", "record_level", "record_response", "azimuth"}, set.Sets) {
		return
	}
	for _, st := range x.by {
		if set.Each != machine.EachTrack || t.Key == fmt.Sprint(st.track) {
			st.fresh, st.replays = false, replays{}
		}
	}
}

// read is what the curve says of where the trim stands, as a reading of its step.
func (x *stairs) read(st *stair, e Entry) {
	st.Now = nil
	if st.Curve == nil || st.Stale != "" || math.IsNaN(st.Position) {
		return
	}
	r := st.Curve.Expect(st.Want.Aim, st.Position)
	if r.Refused != "" {
		return
	}
	st.Now = &r
	out := r
	out.Name, out.Conditions.Case = overbiasMeasure, e.Case
	out.Method = fmt.Sprintf("%s, %s", st.Plan, r.Method)
	if e.Turn != nil {
		out.Warnings = append(slices.Clone(r.Warnings), "from the curve and the turn, not read again")
	}
	if st.Want.Aim.Recipe == bias.Flat { // of a response, less of treble is less
		out.Name, out.Value, out.Lo, out.Hi = "response", -r.Value, -r.Hi, -r.Lo
	}
	x.reads[e.Seq] = append(x.reads[e.Seq], stairRead{st.step, out, st.Want.Aim})
}

// overbias is the aim of a staircase as the tape's own, for targets; nil for one that is no
// fall of treble.
func overbiasOf(a bias.Aim) *lineup.Amount {
	if a.Recipe != bias.TrebleFall && a.Recipe != "" {
		return nil
	}
	return &lineup.Amount{Value: a.FallDB, Half: max(a.HiDB-a.FallDB, a.FallDB-a.LoDB), Source: a.Source}
}

// stairs enters what staircases say at an entry.
func (g *logger) stairs(e Entry) {
	if g.shelf.stairs == nil {
		return
	}
	for i := range g.shelf.stairs.reads[e.Seq] {
		r := &g.shelf.stairs.reads[e.Seq][i]
		if s, ok := g.o.Step(r.step); ok {
			g.measured(e, []heard{{s, &r.result}}, lineup.Setup{OverbiasDB: overbiasOf(r.aim)})
		}
	}
}

// fillStaircases puts them beside their steps, with the target that their aim gives.
func (l *LineUp) fillStaircases(x *stairs) {
	if x == nil {
		return
	}
	for _, st := range x.by {
		if s, ok := l.Step(st.step); ok {
			own := st.LineUpStaircase
			own.Doubts, own.Passes = list(own.Doubts), list(own.Passes)
			s.Staircase = &own
			if a := overbiasOf(own.Want.Aim); a != nil && s.Target.Refused == "" {
				s.Target = l.Order.Target(s.ID, lineup.Setup{OverbiasDB: a})
				s.closed = s.Target
			}
		}
	}
}

// staircaseTurns are the turns to the setting of staircases, where nothing was typed of the
// step since: a reading at the setting tells more.
func (l *LineUp) staircaseTurns(v *View) []LineUpTurn {
	var out []LineUpTurn
	for i := range l.Steps {
		s := &l.Steps[i]
		st := s.Staircase
		if st == nil || st.Setting == nil || st.Setting.At == nil || st.Stale != "" || math.IsNaN(st.Position) {
			continue
		}
		// The entries of one step stand in the log in their order; of a curve's own reading the
		// entry is that of the replay, or of a turn.
		if k := l.lastReading(s.ID); k >= 0 && l.Log[k].Result.Method == typedByHand {
			continue
		}
		if t, ok := st.turn(v.AsSeen(), s); ok {
			out = append(out, t)
		}
	}
	return out
}

// lastReading is the last event in which a step was read, counted or not; -1 for none.
func (l *LineUp) lastReading(step string) int {
	for i, e := range slices.Backward(l.Log) {
		if e.Kind == lineup.Measured && e.Step == step && e.Result != nil {
			return i
		}
	}
	return -1
}

// turn is how far to turn from where the trim stands to the setting.
func (st *LineUpStaircase) turn(def *machine.Definition, s *LineUpStep) (LineUpTurn, bool) {
	travel, u, ok := TravelOf(def, s.Trim)
	if !ok {
		return LineUpTurn{}, false
	}
	sign, set := float64(st.Track.Trim.Sign), st.Setting
	by := func(position float64) float64 { return sign * (position - st.Position) * travel }
	off := func(r measure.Result) LineUpFigure {
		f := LineUpFigure{r.Value - set.Aim.FallDB, r.Lo - set.Aim.FallDB, r.Hi - set.Aim.FallDB, "dB"}
		if set.Aim.Recipe == bias.Flat {
			f.Value, f.Lo, f.Hi = -f.Value, -f.Hi, -f.Lo
		}
		return f
	}
	t := LineUpTurn{Step: s.ID, Do: trim.DoTurn, Trim: s.Trim, Key: s.Key, Part: s.Part, By: by(set.At.Position), Lo: by(set.At.Lo), Hi: by(set.At.Hi), Unit: u,
		After: off(set.Fall), Cautions: list(s.Cautions)}
	t.Lo, t.Hi = min(t.Lo, t.Hi), max(t.Lo, t.Hi)
	t.AfterChance = insideChance(t.After, s.Target.Tolerance)
	t.Now = LineUpFigure{Unit: "dB"}
	where := fmt.Sprintf("Set %s to %s, from below", s.Part, set.At.Words)
	expect := "expect " + unit.Figure{Value: set.Fall.Value, Lo: set.Fall.Lo, Hi: set.Fall.Hi, Unit: "dB"}.String() + ", " + set.Fall.Reference + " being 0"
	if st.Now != nil {
		t.Now = off(*st.Now)
		t.Chance = insideChance(t.Now, s.Target.Tolerance)
	}
	t.Text = fmt.Sprintf("%s: %s. By %s.", where, expect, st.Plan)
	if st.Now != nil && t.Chance >= trim.Enough || st.Now != nil && t.Chance >= t.AfterChance-0.1 {
		t.Do, t.By = trim.DoEnough, 0
		t.Text = fmt.Sprintf("Enough: by %s it stands where it is inside with %s; a turn would make that %s.", st.Plan, unit.Probability(t.Chance), unit.Probability(t.AfterChance))
		if st.More != nil && st.More.Passes > 0 && t.Chance < trim.Enough {
			t.Do = trim.DoRead
			t.Text = fmt.Sprintf("Record the next staircase: by %s it is inside with %s, and no turn makes that more until more is known.", st.Plan, unit.Probability(t.Chance))
		}
	}
	return t, true
}

// insideChance takes the figure, less its target, for normal about its value.
func insideChance(f LineUpFigure, tolerance float64) float64 {
	sd := (f.Hi - f.Lo) / (2 * z95)
	if !(sd > 0) {
		if math.Abs(f.Value) <= tolerance {
			return 1
		}
		return 0
	}
	below := func(x float64) float64 { return 0.5 * math.Erfc((f.Value-x)/sd/math.Sqrt2) }
	return below(tolerance) - below(-tolerance)
}
