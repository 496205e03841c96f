package job

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/lineup"
	"headstack/machine"
	"headstack/programme"
	"headstack/testtape"
	"headstack/trim"
	"headstack/unit"
)

// shelf are the test tapes of a bench, and those that captures of a job were measured
// with, by SHA-256.
type shelf struct {
	tapes []lineup.TapeAtHand
	uses  []TapeUse
	bySHA map[string]*testtape.Tape
	// programmes are the record programmes that were replayed in the job, the last one
	// first, and then those of the bench: the first of a speed names the parts.
	programmes []*programme.Programme
	stairs     *stairs // of the job; nil: none
}

// tapesAtHand loads the test tapes on the bench, and those of a job's captures that have
// another version.
func (b *Bench) tapesAtHand(ctx context.Context, def *machine.Definition, entries []Entry) (*shelf, error) {
	list, err := b.shelf(ctx, TapeDocument)
	if err != nil {
		return nil, err
	}
	s := &shelf{bySHA: map[string]*testtape.Tape{}}
	for _, i := range list {
		yaml, _, err := b.TapeYAML(ctx, i.sha)
		if err != nil {
			return nil, err
		}
		t, err := testtape.Load(i.id+".yaml", yaml)
		if err != nil {
			return nil, err
		}
		s.bySHA[i.sha] = t
		_, fits := def.Speed(t.SpeedCmS)
		s.uses = append(s.uses, TapeUse{Name: t.Name, ID: i.id, SpeedCmS: t.SpeedCmS, Fits: fits})
		if fits {
			s.tapes = append(s.tapes, lineup.TapeAtHand{Tape: t})
		}
	}
	for _, e := range entries {
		c := e.Capture
		if c == nil || c.TapeSHA == "" || s.bySHA[c.TapeSHA] != nil {
			continue
		}
		yaml, err := b.rec.Document(ctx, c.TapeSHA)
		if err != nil {
			return nil, err
		}
		t, err := testtape.Load(c.Tape+".yaml", yaml)
		if err != nil {
			return nil, err
		}
		s.bySHA[c.TapeSHA] = t
	}
	return s, b.programmesAtHand(ctx, s, entries)
}

// programmesAtHand loads the record programmes of a job's captures and of the bench.
func (b *Bench) programmesAtHand(ctx context.Context, s *shelf, entries []Entry) error {
	seen := map[string]bool{}
	load := func(name string, yaml []byte, err error) error {
		if err != nil {
			return err
		}
		p, err := programme.Load(name+".yaml", yaml)
		if err == nil && !onlyStaircase(p) {
			s.programmes = append(s.programmes, p)
		}
		return err
	}
	for _, e := range slices.Backward(entries) {
		if c := e.Capture; c != nil && c.ProgrammeSHA != "" && !seen[c.ProgrammeSHA] {
			seen[c.ProgrammeSHA] = true
			yaml, err := b.rec.Document(ctx, c.ProgrammeSHA)
			if err := load(c.Programme, yaml, err); err != nil {
				return err
			}
		}
	}
	list, err := b.shelf(ctx, ProgrammeDocument)
	if err != nil {
		return err
	}
	for _, i := range list {
		if seen[i.sha] {
			continue
		}
		yaml, _, err := b.ProgrammeYAML(ctx, i.sha)
		if err := load(i.id, yaml, err); err != nil {
			return err
		}
	}
	return nil
}

// onlyStaircase tells the programme of a bias staircase, which names no part of any other step:
// what it has beside are reference and marks.
func onlyStaircase(p *programme.Programme) bool {
	kinds := map[programme.Kind]bool{}
	for _, part := range p.Parts {
		kinds[part.Kind] = true
	}
	return kinds[programme.Staircase] && len(kinds) == 2 && kinds[programme.Tone]
}

// options are those of an order for what is at hand.
func (s *shelf) options() lineup.Options {
	return lineup.Options{Tapes: s.tapes, Programmes: s.programmes}
}

// newLineUp makes the line-up of a view.
func newLineUp(v *View, s *shelf, others map[float64][]trim.CaseReading) (*LineUp, error) {
	seen := *v
	seen.Def = v.AsSeen()
	v = &seen
	o, err := lineup.New(v.Def, s.options())
	if err != nil {
		return nil, &NoLineUpError{v.Job.ID, v.Job.Definition, err}
	}
	l := &LineUp{Order: o, Next: []string{}, Turns: []LineUpTurn{}, Waits: []string{}, Offsets: []CaseOffset{}, Doubts: []string{}, Problems: []string{}}
	l.Hearing = hearingOf(v)
	return l, l.fill(v, s, others)
}

// hearingOf is how the tracks of a recorder reach the interface: as many at once as any
// capture had; a stereo pair where there is none.
func hearingOf(v *View) lineup.Hearing {
	most := 0
	for _, e := range v.Current {
		if c := e.Capture; c != nil {
			n := 0
			for _, t := range c.Tracks {
				if t > 0 {
					n++
				}
			}
			most = max(most, n)
		}
	}
	h := lineup.Hearing{AtOnce: most}
	if most <= 2 {
		h.AtOnce = min(2, v.Def.Tracks.Count)
	}
	h.Bus = h.AtOnce == 2 && len(v.Def.ReplicaKeys("side")) == 2 // tracks are panned to its sides
	return h
}

// fill computes all that follows from the record.
func (l *LineUp) fill(v *View, s *shelf, others map[float64][]trim.CaseReading) error {
	benches := l.benches(v.Def)
	l.speeds = benches
	first := newLogger(v, l.Order, s, nil)
	cases := newCases(v, first, benches, others)
	g := newLogger(v, l.Order, s, cases.amounts(l.Order))
	for _, b := range benches {
		b.take(g.actions, cases.adds(b))
		for _, d := range b.doubts {
			l.Doubts = append(l.Doubts, b.doubtText(d))
		}
	}
	l.Log, l.OutputDBFS = g.log, g.output(math.MaxInt64)
	l.Status = l.Order.Status(l.Log)
	ok, waits := l.Order.MayPlayTestTape(l.Log)
	l.MayPlay, l.Waits = ok, append(l.Waits, waits...)
	l.fillSteps(v, cases)
	l.fillStaircases(s.stairs)
	l.Offsets = append(l.Offsets, cases.list(l)...)
	l.fillNext()
	l.fillProblems(v)
	if err := l.fillTurns(v, benches, g.actions); err != nil {
		return err
	}
	for _, t := range s.uses {
		t.Passes = l.Status.Passes[t.Name]
		if t.Fits || t.Passes > 0 {
			l.Tapes = append(l.Tapes, t)
		}
	}
	l.fillProof(v)
	var err error
	if l.Rounds, err = lineup.RecordRounds(v.Def, lineup.Recording{}); err != nil {
		return err
	}
	l.Rounds = list(l.Rounds)
	l.Passes, err = l.Order.TapePasses(l.Hearing)
	l.Passes = list(l.Passes)
	return err
}

// benches are those of the speeds; a speed whose trims are not understood has none, which
// is said.
func (l *LineUp) benches(def *machine.Definition) []*speedBench {
	var out []*speedBench
	for _, sp := range def.Speeds {
		b, err := newSpeedBench(def, l.Order, sp.CmS)
		if err != nil {
			l.Problems = append(l.Problems, fmt.Sprintf("at %g cm/s no turns are reckoned: %v", sp.CmS, err))
			continue
		}
		out = append(out, b)
	}
	return out
}

// fillSteps puts standing, targets and readings beside the steps.
func (l *LineUp) fillSteps(v *View, cases *cases) {
	refs := map[int]string{}
	for _, e := range v.Current {
		refs[int(e.Seq)] = e.Ref
	}
	ref := func(i int) string {
		if i < 0 {
			return ""
		}
		return refs[l.Log[i].Seq]
	}
	set := lineup.Setup{}
	if opens(v.Case) {
		set.Offset = cases.amounts(l.Order)
	}
	heard := set
	heard.ReadBy, heard.OutputDBFS = lineup.ByCapture, l.OutputDBFS
	l.Steps = make([]LineUpStep, 0, len(l.Order.Steps))
	for i, st := range l.Order.Steps {
		x := LineUpStep{Step: st, Standing: l.Status.Steps[i], Target: l.Order.Target(st.ID, set), closed: l.Order.Target(st.ID, lineup.Setup{})}
		if st.Source.Carrier != lineup.NoTape && x.Target.Refused == "" {
			t := l.Order.Target(st.ID, heard)
			x.Captured = &t
		}
		x.Found, x.Last, x.Since = ref(x.Standing.Found), ref(x.Standing.Last), ref(x.Standing.Since)
		if x.Standing.Last >= 0 {
			if r := l.Log[x.Standing.Last].Result; r != nil && r.Refused == "" {
				x.Read = &LineUpFigure{r.Value, r.Lo, r.Hi, r.Unit}
			}
		}
		l.Steps = append(l.Steps, x)
	}
}

// fillNext names the steps that are done together with the first that can be.
func (l *LineUp) fillNext() {
	first, ok := l.Step(l.Status.Next)
	if !ok {
		return
	}
	for i := range l.Steps {
		s := &l.Steps[i]
		if s.Standing.Ready() && s.Phase == first.Phase && s.SpeedCmS == first.SpeedCmS && (s.Kind == first.Kind || s.Gate && first.Gate) {
			l.Next = append(l.Next, s.ID)
		}
	}
}

// fillProblems names entries by their refs; entries with the same problem share a line.
func (l *LineUp) fillProblems(v *View) {
	refs := map[string][]string{}
	var order []string
	for _, p := range l.Status.Problems {
		var i int
		if _, err := fmt.Sscanf(p, "event %d", &i); err == nil && i >= 0 && i < len(l.Log) {
			p = strings.TrimPrefix(p, fmt.Sprintf("event %d", i))
			for _, e := range v.Current {
				if int(e.Seq) == l.Log[i].Seq {
					refs[p] = append(refs[p], e.Ref)
				}
			}
		}
		if !slices.Contains(order, p) {
			order = append(order, p)
		}
	}
	for _, p := range order {
		l.Problems = append(l.Problems, strings.Join(refs[p], ", ")+p)
	}
	if l.OutputDBFS == nil && slices.ContainsFunc(l.Log, func(e lineup.Event) bool { return e.Result != nil && e.Result.Unit == "dBFS" }) {
		l.Problems = append(l.Problems, "captured levels are in dBFS and cannot be held against targets: record what the recorder's reference output gives at the interface, as the figure "+ReferenceOutput+" in dBFS")
	}
}

// fillTurns says what to turn, for the steps that were read.
func (l *LineUp) fillTurns(v *View, benches []*speedBench, actions []action) error {
	var all []LineUpTurn
	for _, b := range benches {
		turns, err := b.next(l)
		if err != nil {
			return err
		}
		all = append(all, turns...)
	}
	if len(benches) == len(v.Def.Speeds) { // else a range is not understood, which is said
		turns, err := extrema(v, l, actions)
		if err != nil {
			return err
		}
		all = append(all, turns...)
	}
	own := l.staircaseTurns(v)
	all = slices.DeleteFunc(all, func(t LineUpTurn) bool {
		return slices.ContainsFunc(own, func(x LineUpTurn) bool { return x.Step == t.Step })
	})
	all = append(all, own...)
	for i := range all {
		t := all[i]
		s, ok := l.Step(t.Step)
		if !ok {
			continue
		}
		if s.Standing.Ready() && t.Do == trim.DoEnough {
			t = l.again(s, t)
		}
		all[i] = t
		s.Turn = &all[i]
		if s.Standing.Ready() {
			l.Turns = append(l.Turns, t)
		}
	}
	return nil
}

// again asks for a reading of a step that is not done though all readings and turns
// together say that it is right: it was turned since, or the last reading alone is out.
func (l *LineUp) again(s *LineUpStep, t LineUpTurn) LineUpTurn {
	t.Do = trim.DoRead
	t.Text = fmt.Sprintf("Read %s: by what was read and turned so far it is inside with %s.", s.Name, unit.Probability(t.Chance))
	if s.Standing.State == lineup.StateStale || s.Standing.Last < 0 {
		return t
	}
	t.Text = fmt.Sprintf("Read %s again: by all readings together it is inside with %s, and the last one is not.", s.Name, unit.Probability(t.Chance))
	if r := l.Log[s.Standing.Last].Result; r != nil && opens(r.Conditions.Case) {
		t.Text += " That one was taken with the case open: read it closed."
	}
	return t
}

// fillProof makes the closing proof; a soak counts once it was begun.
func (l *LineUp) fillProof(v *View) {
	var soak *lineup.SoakPlan
	if slices.ContainsFunc(l.Log, func(e lineup.Event) bool { return e.Kind == lineup.Soaked }) {
		soak = lineup.NewSoak(v.Def, 0)
	}
	l.Proof = l.Order.Proof(l.Log, lineup.Setup{ReadBy: lineup.ByCapture, OutputDBFS: l.OutputDBFS}, soak)
}
