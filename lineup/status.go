package lineup

import (
	"fmt"
	"slices"

	"headstack/machine"
	"headstack/measure"
)

// State is where a step stands.
type State string

// The states.
const (
	StateDone      State = "done"       // seen to, or read in tolerance, and nothing that moves it was touched since
	StateDue       State = "due"        // to be done now
	StateStale     State = "stale"      // was done; something upstream has moved since
	StateBlocked   State = "blocked"    // waits for a gate or a step
	StateNotNeeded State = "not_needed" // left alone without evidence
)

// Standing is the state of one step, and why.
type Standing struct {
	Step  string `json:"step"`
	State State  `json:"state"`
	// Why says what is wrong, moved or missing, in words; empty for a plain done or due.
	Why string `json:"why,omitempty"`
	// Waits are the steps that must come first. A stale step may wait too.
	Waits []string `json:"waits,omitempty"`
	// Since is the index in the log of the event that made the state, -1 for none.
	Since int `json:"since"`
	// Last is the index of the last reading that counted, -1 for none; Found that of the
	// first reading taken at all: as found, when nothing had been touched before it.
	Last  int `json:"last"`
	Found int `json:"found"`
	// Judgement is that of the last reading, where it was taken against a target.
	Judgement *Judgement `json:"judgement,omitempty"`
	// Signed is set where a person answers for it as it stands.
	Signed *SignOff `json:"signed,omitempty"`
}

// Ready reports that the step can be worked on now.
func (s Standing) Ready() bool {
	return (s.State == StateDue || s.State == StateStale) && len(s.Waits) == 0
}

// Status is where a line-up stands after a log.
type Status struct {
	// Steps are in the order of the line-up, one for each step.
	Steps []Standing `json:"steps"`
	// Next is the first step that can be worked on now; empty when there is none.
	Next string            `json:"next,omitempty"`
	Case measure.CaseState `json:"case"`
	// Passes counts the passes of each test tape, by name.
	Passes map[string]int `json:"passes,omitempty"`
	// Problems are entries that do not fit: a good tape played before its gates, a step
	// that does not exist.
	Problems []string `json:"problems,omitempty"`
	// Touched is the index of the first event that turned, opened with loss, or cleaned
	// something, -1 for none: readings before it are as found.
	Touched int `json:"touched"`
}

// Of returns the standing of a step; ok is false for an unknown one.
func (s *Status) Of(step string) (Standing, bool) {
	i := slices.IndexFunc(s.Steps, func(x Standing) bool { return x.Step == step })
	if i < 0 {
		return Standing{}, false
	}
	return s.Steps[i], true
}

// Complete reports that every step is done or not needed.
func (s *Status) Complete() bool {
	return !slices.ContainsFunc(s.Steps, func(x Standing) bool { return x.State != StateDone && x.State != StateNotNeeded })
}

// Status computes where every step stands after a log. It is a pure function of order
// and log.
//
// A reading settles its step when all that the step needs was done when it was taken;
// readings taken before are kept as found and settle nothing. Out of tolerance it
// leaves the step due, and of a re-check it makes what that checks stale. Doubt whether
// the limit is kept leaves a step done whose reading lies inside; the proof shows it.
func (o *Order) Status(log []Event) *Status {
	return o.run(log).status()
}

// run goes through a log.
func (o *Order) run(log []Event) *run {
	r := &run{o: o, steps: make([]stepRun, len(o.Steps)), open: map[string]bool{}, touched: -1, passes: map[string]int{}}
	for i := range r.steps {
		r.steps[i] = stepRun{done: -1, last: -1, found: -1, moved: -1, signed: -1}
	}
	for i, e := range log {
		r.event(i, &e)
	}
	return r
}

// stepRun is what the log says of one step; indexes of events, -1 for none.
type stepRun struct {
	done, last, found, moved, signed int
	judged                           *Judgement
	movedBy, evidence                string
	sign                             *SignOff
}

// run is what a log has come to so far.
type run struct {
	o        *Order
	steps    []stepRun
	open     map[string]bool
	passes   map[string]int
	problems []string
	touched  int
}

// settled reports that a step is done, or need not be.
func (r *run) settled(i int) bool {
	s, t := &r.o.Steps[i], &r.steps[i]
	if s.OnEvidence && t.evidence == "" {
		return true
	}
	if s.Kind == CaseClosed {
		return t.signed >= 0 || r.caseState() == measure.CaseClosed && r.may(i)
	}
	return t.signed >= 0 || t.done >= 0
}

// may reports that all that a step needs is settled.
func (r *run) may(i int) bool {
	for _, j := range r.o.needs[i] {
		if !r.settled(j) {
			return false
		}
	}
	return true
}

// waits are the steps that a step needs and that are not settled.
func (r *run) waits(i int) []string {
	var out []string
	for _, j := range r.o.needs[i] {
		if !r.settled(j) {
			out = append(out, r.o.Steps[j].ID)
		}
	}
	return out
}

func (r *run) caseState() measure.CaseState {
	state := measure.CaseClosed
	for id := range r.open {
		for _, o := range r.o.def.OpeningChain(id) {
			state = worse(state, measure.CaseState(o.Case))
		}
	}
	return state
}

func (r *run) event(i int, e *Event) {
	switch e.Kind {
	case GateDone, Measured:
		r.read(i, e)
	case GateLost:
		if j, ok := r.find(i, e); ok {
			r.move(i, j, "no longer so: "+r.o.Steps[j].Name)
		}
	case Turned:
		r.turned(i, e)
	case Opened:
		r.opened(i, e)
	case Closed:
		for id := range r.open {
			if r.inChain(id, e.Opening) {
				delete(r.open, id)
			}
		}
	case TapeChanged:
		if e.Carrier == OwnTape {
			for j, s := range r.o.Steps {
				if s.Kind == Bias {
					r.move(i, j, "another tape to record on: "+e.Tape)
				}
			}
		}
	case Played:
		r.passes[e.Tape]++
		if w := r.goodTapeWaits(); len(w) > 0 {
			r.problems = append(r.problems, fmt.Sprintf("event %d: test tape %s played before its gates: %s", i, e.Tape, r.o.names(w)))
		}
	case Evidence:
		for j, s := range r.o.Steps {
			if e.Step == s.ID || e.Trim != "" && e.Trim == s.Trim && (e.Key == "" || e.Key == s.Key) {
				r.steps[j].evidence = said(e.Reason, "evidence")
			}
		}
	case Soaked: // counts in [SoakPlan.State] alone
	case SignedOff:
		if j, ok := r.find(i, e); ok {
			r.steps[j].signed = i
			r.steps[j].sign = &SignOff{Step: e.Step, Reason: e.Reason, By: e.By, Seq: e.Seq}
		}
	default:
		r.problems = append(r.problems, fmt.Sprintf("event %d is of no known kind: %q", i, e.Kind))
	}
}

func said(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

func (r *run) find(i int, e *Event) (int, bool) {
	j, ok := r.o.at[e.Step]
	if !ok {
		r.problems = append(r.problems, fmt.Sprintf("event %d names no step of this order: %q", i, e.Step))
	}
	return j, ok
}

// read takes a reading, or a gate that was seen to.
func (r *run) read(i int, e *Event) {
	j, ok := r.find(i, e)
	if !ok {
		return
	}
	s, t := &r.o.Steps[j], &r.steps[j]
	if t.found < 0 && e.Kind == Measured {
		t.found = i
	}
	if e.Kind == GateDone && s.Kind != CaseClosed && r.touched < 0 && (s.Kind == PathClean || s.Kind == Demagnetised) {
		r.touched = i // what was dirty is found no longer
	}
	if !r.may(j) || s.OnEvidence && t.evidence == "" {
		return // before its turn: it says how the recorder was found
	}
	var judged *Judgement
	switch {
	case e.Result == nil:
	case e.Target != nil:
		j := Judge(e.Target, e.Result)
		judged = &j
	case e.Result.Refused != "":
		judged = &Judgement{Verdict: NotMeasured, Why: e.Result.Refused}
	}
	if s.Kind.Proof() && e.Result != nil && e.Result.Conditions.Case != measure.CaseUnknown && e.Result.Conditions.Case != measure.CaseClosed {
		judged = &Judgement{Verdict: NotMeasured, Why: "taken with the case " + string(e.Result.Conditions.Case)}
	}
	t.last, t.judged, t.signed, t.sign = i, judged, -1, nil
	if judged != nil && !judged.Inside {
		t.done = -1
		if judged.Verdict != NotMeasured {
			for _, id := range s.Checks {
				r.move(i, r.o.at[id], fmt.Sprintf("%s read out: %s", s.Name, judged.Why))
			}
		}
		return
	}
	t.done, t.moved = i, -1
}

// move makes a step, and all that it moves, stale.
func (r *run) move(i, from int, why string) {
	seen := map[int]bool{from: true}
	for queue := []int{from}; len(queue) > 0; queue = queue[1:] {
		j := queue[0]
		t := &r.steps[j]
		if t.done >= 0 || t.signed >= 0 {
			t.moved, t.movedBy = i, why
		}
		t.done, t.signed, t.sign = -1, -1, nil
		for _, k := range r.o.moved[j] {
			if !seen[k] {
				seen[k] = true
				queue = append(queue, k)
			}
		}
	}
}

func (r *run) turned(i int, e *Event) {
	if r.touched < 0 {
		r.touched = i
	}
	found := false
	for j, s := range r.o.Steps {
		if s.Trim == "" || s.Trim != e.Trim || e.Key != "" && e.Key != s.Key {
			continue
		}
		found = true
		if s.OnEvidence && r.steps[j].evidence == "" {
			r.steps[j].evidence = "it was turned"
		}
		r.move(i, j, fmt.Sprintf("%s (%s) was turned", s.Part, s.Name))
	}
	if !found {
		r.problems = append(r.problems, fmt.Sprintf("event %d turns no trim of this order: %q %q", i, e.Trim, e.Key))
	}
}

func (r *run) opened(i int, e *Event) {
	op, ok := r.o.def.Opening(e.Opening)
	if !ok {
		r.problems = append(r.problems, fmt.Sprintf("event %d names no opening of this recorder: %q", i, e.Opening))
		return
	}
	before := r.caseState()
	r.open[op.ID] = true
	if before == measure.CaseClosed && r.caseState() != before {
		r.move(i, r.o.at[string(CaseClosed)], "the case was opened: "+op.Name)
	}
	lost := Loses(op)
	if len(lost) > 0 && r.touched < 0 {
		r.touched = i
	}
	for j, s := range r.o.Steps {
		if !slices.Contains(lost, s.Kind) {
			continue
		}
		if s.OnEvidence {
			r.steps[j].evidence = op.Name + ": " + op.AfterWhy
		}
		r.move(i, j, fmt.Sprintf("%s: %s", op.Name, op.AfterWhy))
	}
}

// inChain reports whether an opening is id or lies on the way to it.
func (r *run) inChain(id, opening string) bool {
	return id == opening || slices.ContainsFunc(r.o.def.OpeningChain(id), func(o *machine.Opening) bool { return o.ID == opening })
}

// goodTapeWaits are the gates that must be done before a good test tape plays.
func (r *run) goodTapeWaits() []string {
	var out []string
	for i, s := range r.o.Steps {
		if guardsTape(s.Kind) && !r.settled(i) {
			out = append(out, s.ID)
		}
	}
	return out
}

// guardsTape tells the gates without which the good tape stays in its box.
func guardsTape(k Kind) bool {
	switch k {
	case PathClean, Demagnetised, DemagnetiserAway, ScrapRun, Flutter, Drift:
		return true
	}
	return false
}

// MayPlayTestTape reports whether the good test tape may go on after a log, and else
// which gates it waits for.
func (o *Order) MayPlayTestTape(log []Event) (ok bool, waits []string) {
	w := o.run(log).goodTapeWaits()
	return len(w) == 0, w
}

// names lists steps in words, three at most.
func (o *Order) names(ids []string) string {
	text := ""
	for i, id := range ids {
		if i == 3 {
			return text + fmt.Sprintf(" and %d more", len(ids)-3)
		}
		if i > 0 {
			text += ", "
		}
		if s, ok := o.Step(id); ok {
			id = s.label()
		}
		text += id
	}
	return text
}

// label names a step for a person: name, track, speed.
func (s *Step) label() string {
	t := s.Name
	if len(s.Tracks) == 1 {
		t += fmt.Sprintf(", track %d", s.Tracks[0])
	} else if s.Key != "" {
		t += fmt.Sprintf(", %s %s", s.Each, s.Key)
	}
	if s.SpeedCmS > 0 && !s.AllSpeeds && s.Trim == "" {
		t += fmt.Sprintf(", %g cm/s", s.SpeedCmS)
	}
	return t
}

func (r *run) status() *Status {
	st := &Status{Case: r.caseState(), Passes: r.passes, Problems: r.problems, Touched: r.touched}
	for i := range r.o.Steps {
		x := r.standing(i)
		if st.Next == "" && x.Ready() {
			st.Next = x.Step
		}
		st.Steps = append(st.Steps, x)
	}
	return st
}

func (r *run) standing(i int) Standing {
	s, t := &r.o.Steps[i], &r.steps[i]
	x := Standing{Step: s.ID, Since: -1, Last: t.last, Found: t.found, Judgement: t.judged, Signed: t.sign}
	switch {
	case s.OnEvidence && t.evidence == "":
		x.State, x.Why = StateNotNeeded, "left alone unless something points at it"
		return x
	case t.signed >= 0:
		x.State, x.Since, x.Why = StateDone, t.signed, "signed off: "+t.sign.Reason
		return x
	case r.settled(i):
		x.State, x.Since = StateDone, t.done
		if t.judged != nil && t.judged.Verdict == Doubt {
			x.Why = t.judged.Why
		}
		return x
	}
	x.Waits = r.waits(i)
	switch {
	case t.moved >= 0:
		x.State, x.Since, x.Why = StateStale, t.moved, t.movedBy
	case len(x.Waits) > 0:
		x.State, x.Why = StateBlocked, "first: "+r.o.names(x.Waits)
		for _, n := range s.Needs {
			if n.Step == x.Waits[0] {
				x.Why += " (" + n.Why + ")"
			}
		}
	default:
		x.State = StateDue
		switch {
		case t.judged != nil:
			x.Since, x.Why = t.last, t.judged.Why
		case t.evidence != "":
			x.Why = t.evidence
		case s.Kind == CaseClosed:
			x.Why = "the case is " + string(r.caseState())
		}
	}
	return x
}
