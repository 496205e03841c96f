package trial

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"headstack/diagnosis"
	"headstack/machine"
	"headstack/measure"
	"headstack/sim"
)

// Where a technician gives up.
const (
	maxActions = 60
	maxMinutes = 600 // the intake included
)

// Minutes of what the definition says nothing of (common practice, no source).
const (
	readingMinutes = 2
	cleanMinutes   = 5
	reseatMinutes  = 5
	reflowMinutes  = 20
	swapMinutes    = 2 // one way
	pressMinutes   = 1
	warmMinutes    = 10
	coldMinutes    = 3
)

// fickleTries is how often a function that comes and goes must work before it counts as
// mended: a fault that shows every other time slips through in 6 %.
const fickleTries = 4

// Advisor says what is known and what to do next.
type Advisor interface {
	Advise(ctx context.Context, ev diagnosis.Evidence, now diagnosis.Situation) (*diagnosis.Advice, error)
}

// Policy decides what to do next, from what is known.
type Policy interface {
	// Next is the next step; done says that the recorder is mended as far as the
	// policy can tell.
	Next(v *View) (step diagnosis.Step, done bool)
}

// View is what a policy can see.
type View struct {
	Def       *machine.Definition // as the advisor was told
	Advice    *diagnosis.Advice
	Evidence  *diagnosis.Evidence
	Open      []string
	Complaint []Task // every function that ever failed, in the order in which they did

	needs func(Task) int // how often it must work before it counts as mended
	left  []Hidden       // what shows and is not cured: for the clairvoyant
}

// opened is an opening that is open; key says for which replica where it has several.
type opened struct{ id, key string }

// technician does on one recorder what a policy says.
type technician struct {
	m         *Machine
	told      *machine.Definition
	bench     *sim.Bench
	advisor   Advisor
	policy    Policy
	situation diagnosis.Situation              // how advice is asked for
	tell      func(format string, args ...any) // the story; never nil

	ev        diagnosis.Evidence
	complaint []Task
	open      []opened
	seq       int64
	session   int
	tries     map[Task]int
	placings  map[string]int
	out       Result
}

// mend works on a recorder until it is mended or the limits are reached.
func mend(ctx context.Context, m *Machine, told *machine.Definition, a Advisor, p Policy, how diagnosis.Situation, tell func(string, ...any)) (Result, error) {
	b, err := m.Bench()
	if err != nil {
		return Result{}, err
	}
	t := &technician{m: m, told: told, bench: b, advisor: a, policy: p, situation: how, tell: tell, session: 1,
		complaint: slices.Clone(m.Complaint), seq: int64(len(m.Intake)), tries: map[Task]int{}, placings: map[string]int{}}
	t.ev.Checks = slices.Clone(m.Intake)
	t.ev.Instruments = instruments
	for _, c := range m.Intake {
		t.tries[Task{c.Function, c.Key}] = 1
	}
	t.out.Minutes = m.IntakeMinutes
	err = t.work(ctx)
	return t.out, err
}

// The two instruments on the bench.
var instruments = []diagnosis.Instrument{
	{ID: "meter", Name: "bench millivoltmeter", Kind: diagnosis.TrueRMS, BandwidthHz: 500e3, ACPercent: 7, DCPercent: 0.7},
	{ID: "scope", Name: "oscilloscope, x10 probe", Kind: diagnosis.Scope, BandwidthHz: 50e6, ACPercent: 7, DCPercent: 0.7},
}

// scopeAbove is the tone from which the oscilloscope is taken.
const scopeAbove = 20000

func (t *technician) work(ctx context.Context) error {
	for t.out.Actions < maxActions && t.out.Minutes < maxMinutes {
		v, err := t.ask(ctx)
		if err != nil {
			return err
		}
		step, done := t.policy.Next(v)
		t.out.Actions++
		if !done {
			if err := t.do(step); err != nil {
				return err
			}
			continue
		}
		t.tell("%s done, as far as can be told: put together and tried", t.clock())
		ok, err := t.verify()
		if err != nil {
			return err
		}
		if ok {
			t.finish()
			return nil
		}
		t.session++
	}
	t.out.Outcome = Unfinished
	t.tell("%s given up after %d actions", t.clock(), t.out.Actions)
	return nil
}

// finish looks at the truth.
func (t *technician) finish() {
	t.out.Outcome = Correct
	if slices.ContainsFunc(t.m.Hidden, func(h Hidden) bool { return h.Shows && t.there(h.Stage, h.Key) }) {
		t.out.Outcome = Wrong
	}
	t.tell("%s everything works, case closed: %s fix", t.clock(), t.out.Outcome)
}

// there says whether a stage instance is faulty now.
func (t *technician) there(stage, key string) bool {
	return slices.ContainsFunc(t.bench.Faults, func(f sim.Fault) bool { return f.Stage == stage && f.Key == key })
}

// ask asks for advice and notes how good it is.
func (t *technician) ask(ctx context.Context) (*View, error) {
	v := &View{Def: t.told, Evidence: &t.ev, Open: t.openIDs(), Complaint: t.complaint, needs: t.needs}
	for _, h := range t.m.Hidden {
		if h.Shows && t.there(h.Stage, h.Key) {
			v.left = append(v.left, h)
		}
	}
	if _, ok := t.policy.(clairvoyant); ok {
		return v, nil
	}
	now := t.situation
	now.Open, now.Instrument, now.Session = v.Open, "meter", t.sessionName()
	start := time.Now()
	a, err := t.advisor.Advise(ctx, t.ev, now)
	if err != nil {
		return nil, fmt.Errorf("trial: machine %s, seed %d, after %d actions: %w", t.m.Def.ID, t.m.Seed, t.out.Actions, err)
	}
	took := time.Since(start)
	t.out.Slowest, t.out.Thinking = max(t.out.Slowest, took), t.out.Thinking+took
	v.Advice = a
	for _, s := range a.Suspects {
		t.out.Stated.add(s.Probability, t.there(s.Stage, s.Track))
	}
	for i := range t.out.Slips {
		s := &t.out.Slips[i]
		if !s.Questioned && slices.ContainsFunc(a.Recheck, func(r diagnosis.Recheck) bool { return r.Reading == s.Ref }) {
			s.Questioned, s.After = true, t.out.Readings-s.at
		}
	}
	t.tellAdvice(a, took)
	return v, nil
}

func (t *technician) sessionName() string { return fmt.Sprintf("session %d", t.session) }

func (t *technician) next() int64 { t.seq++; return t.seq }

// do carries out a step and pays for it.
func (t *technician) do(s diagnosis.Step) error {
	for _, id := range s.Close {
		name, _, _ := strings.Cut(id, "/")
		t.close(name)
	}
	switch s.Kind {
	case diagnosis.StepCheck, diagnosis.StepProvoke:
		if s.Kind == diagnosis.StepProvoke && s.Stage != "" && s.Provoked == diagnosis.Pressed {
			t.reachBoard(s.Stage, s.Key)
		}
		_, err := t.check(Task{s.Function, s.Key}, s.Provoked)
		return err
	case diagnosis.StepReading:
		for _, key := range append([]string{s.Key}, s.Siblings...) {
			if err := t.read(s.TestPoint, key, s.ToneHz); err != nil {
				return err
			}
		}
		return nil
	case diagnosis.StepRepair:
		return t.workOn(diagnosis.WorkRepair, s, t.repairMinutes(s.Stage, s.Key))
	case diagnosis.StepClean:
		return t.workOn(diagnosis.WorkClean, s, cleanMinutes)
	case diagnosis.StepSwap:
		return t.swap(s)
	}
	return fmt.Errorf("trial: a step of kind %q", s.Kind)
}

// check tries a function once.
func (t *technician) check(task Task, provoked diagnosis.Provocation) (works bool, err error) {
	t.power(machine.Closed)
	state := t.caseState()
	c, err := t.bench.CheckUnder(task.Function, task.Key, t.tries[task], sim.Condition{Provoked: string(provoked), Case: state})
	if err != nil {
		return false, fmt.Errorf("trial: %w", err)
	}
	t.tries[task]++
	f, _ := t.m.Def.Function(task.Function)
	t.pay(f.CheckMinutes)
	switch provoked {
	case diagnosis.Pressed:
		t.pay(pressMinutes)
	case diagnosis.Warm:
		t.pay(warmMinutes)
	case diagnosis.Cold:
		t.pay(coldMinutes)
	}
	t.out.Checks++
	seen := diagnosis.Check{Ref: fmt.Sprintf("check %d", len(t.ev.Checks)+1), Function: task.Function, Key: task.Key,
		Outcome: diagnosis.Outcome(c.Outcome), Symptom: diagnosis.Symptom(c.Symptom), Case: state, Seq: t.next(), Provoked: provoked}
	t.ev.Checks = append(t.ev.Checks, seen)
	works = c.Outcome == sim.Works
	if !works && !slices.Contains(t.complaint, task) {
		t.complaint = append(t.complaint, task)
	}
	t.tellCheck(seen, c)
	return works, nil
}

// read takes one reading with a fresh probe.
func (t *technician) read(point, key string, toneHz float64) error {
	tp, ok := t.m.Def.TestPoint(point)
	if !ok {
		return fmt.Errorf("trial: no test point %q", point)
	}
	if b, ok := t.m.Def.Board(tp.Board); ok {
		t.power(b.Opening)
		t.reach(b.Opening, key)
	}
	at := fmt.Sprintf("%s %s %g Hz", point, key, cmp.Or(toneHz, tp.ToneHz))
	t.placings[at]++
	p := sim.Probe{TestPoint: point, Key: key, ToneHz: toneHz, Instrument: "meter", Session: t.sessionName(),
		Setting: fmt.Sprintf("%s, placing %d", at, t.placings[at]), Condition: sim.Condition{Case: t.caseState()}}
	if max(toneHz, tp.ToneHz) > scopeAbove {
		p.Instrument = "scope"
	}
	r, err := t.bench.Read(p)
	if err != nil {
		return fmt.Errorf("trial: %w", err)
	}
	t.pay(cmp.Or(tp.Minutes, readingMinutes))
	t.out.Readings++
	seen := diagnosis.Reading{Ref: fmt.Sprintf("reading %d", t.out.Readings), TestPoint: point, Key: key, Value: r.Value, Unit: r.Unit,
		ToneHz: r.ToneHz, Instrument: p.Instrument, Session: p.Session, Setting: p.Setting, Case: p.Case, Seq: t.next()}
	t.ev.Readings = append(t.ev.Readings, seen)
	if r.Slip != sim.NoSlip {
		t.out.Slips = append(t.out.Slips, Slipped{Ref: seen.Ref, Slip: r.Slip, Matters: matters(r), at: t.out.Readings})
	}
	t.tellReading(seen, r)
	return nil
}

// mattersDB is how far a wrong reading must be off before it can mislead.
const mattersDB = 2

func matters(r sim.Reading) bool {
	ratio := r.Value / r.Right
	return !(ratio > 0) || math.Abs(20*math.Log10(ratio)) > mattersDB
}

// workOn does a work on the stage of a step.
func (t *technician) workOn(kind diagnosis.WorkKind, s diagnosis.Step, minutes float64) error {
	if kind == diagnosis.WorkRepair {
		t.reachPart(s.Stage, s.Key)
	} else {
		t.reachBoard(s.Stage, s.Key)
	}
	t.pay(minutes)
	if kind == diagnosis.WorkRepair {
		t.out.Repairs++
		if !t.there(s.Stage, s.Key) {
			t.out.Needless++
		}
	}
	return t.book(diagnosis.Work{Kind: kind, Stage: s.Stage, Key: s.Key, With: s.With})
}

// book does a work and writes it down.
func (t *technician) book(w diagnosis.Work) error {
	did, err := t.bench.Do(sim.Work{Kind: string(w.Kind), Stage: w.Stage, Key: w.Key, With: w.With})
	if err != nil {
		return fmt.Errorf("trial: %w", err)
	}
	w.Ref, w.Seq = fmt.Sprintf("work %d", len(t.ev.Works)+1), t.next()
	t.ev.Works = append(t.ev.Works, w)
	t.tellWork(w, did)
	return nil
}

// swap exchanges siblings, tries the function on both, and exchanges them back.
func (t *technician) swap(s diagnosis.Step) error {
	w := diagnosis.Work{Kind: diagnosis.WorkSwap, Stage: s.Stage, Key: s.Key, With: s.With}
	t.reachSlot(s.Stage, s.Key)
	t.pay(2 * swapMinutes)
	if err := t.book(w); err != nil {
		return err
	}
	for _, key := range []string{s.Key, s.With} {
		if _, err := t.check(Task{s.Function, key}, diagnosis.Unprovoked); err != nil {
			return err
		}
	}
	w.Back = true
	return t.book(w)
}

// repairMinutes is what finding and curing the cause takes: that of the fault, or where
// the stage is good the mean of what might have been.
func (t *technician) repairMinutes(stage, key string) float64 {
	for _, h := range t.m.Hidden {
		if h.Stage == stage && h.Key == key && t.there(stage, key) {
			return h.CureMinutes
		}
	}
	s, ok := t.m.Def.Stage(stage)
	if !ok {
		return 0
	}
	_, modes := t.m.Def.FaultModes(s)
	mean := 0.0
	for _, m := range modes {
		mean += m.Weight * m.CureMin
	}
	return mean
}

// verify puts the recorder together and tries every function that ever failed. It stops
// at the first that fails.
func (t *technician) verify() (ok bool, err error) {
	for len(t.open) > 0 {
		t.close(t.open[0].id)
	}
	for _, task := range t.byMinutes() {
		for t.passes(task) < t.needs(task) {
			works, err := t.check(task, diagnosis.Unprovoked)
			if err != nil || !works {
				return false, err
			}
			if t.out.Minutes > 2*maxMinutes { // a sheet of many fickle functions
				return false, nil
			}
		}
	}
	return true, nil
}

// byMinutes is the complaint, what is tried fastest first.
func (t *technician) byMinutes() []Task {
	minutes := func(x Task) float64 { f, _ := t.m.Def.Function(x.Function); return f.CheckMinutes }
	return slices.SortedStableFunc(slices.Values(t.complaint), func(a, b Task) int { return cmp.Compare(minutes(a), minutes(b)) })
}

// passes counts how often in a row a function has worked, case closed, since the last
// work.
func (t *technician) passes(task Task) int {
	n := 0
	for i := len(t.ev.Checks) - 1; i >= 0; i-- {
		c := t.ev.Checks[i]
		if c.Function != task.Function || c.Key != task.Key {
			continue
		}
		if c.Seq < t.lastWork() || c.Outcome != diagnosis.Works || c.Case != measure.CaseClosed {
			break
		}
		n++
	}
	return n
}

func (t *technician) lastWork() int64 {
	if n := len(t.ev.Works); n > 0 {
		return t.ev.Works[n-1].Seq
	}
	return 0
}

// needs is how often a function must work: often when it was called intermittent, or
// failed and worked with no work in between.
func (t *technician) needs(task Task) int {
	works, fails := false, false
	work := 0
	for _, c := range t.ev.Checks {
		if c.Function != task.Function || c.Key != task.Key {
			continue
		}
		if c.Outcome == diagnosis.Intermittent {
			return fickleTries
		}
		for work < len(t.ev.Works) && t.ev.Works[work].Seq < c.Seq {
			works, fails = false, false
			work++
		}
		works, fails = works || c.Outcome == diagnosis.Works, fails || c.Outcome != diagnosis.Works
		if works && fails {
			return fickleTries
		}
	}
	return 1
}
