package job

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"headstack/diagnosis"
	"headstack/machine"
)

// Closing says that a job is done, and what was at fault. The job counts as closed while
// it stands; taking it back opens the job again.
type Closing struct {
	// Complaint is what was wrong, as far as tracks go, in the words of symptoms.
	Complaint []diagnosis.Symptom `json:",omitempty"`
	Faults    []ClosedFault       `json:",omitempty"`
	// Returned is the job from which the machine came back with this one.
	Returned string `json:",omitempty"`
}

// ClosedFault is one stage instance that was cured.
type ClosedFault struct {
	Stage string // machine.Stage id
	Key   string
	// Cause is one of the stage's fault modes; empty: none that the definition lists, or
	// not known.
	Cause string
	// Proven says that the cause was shown. A symptom that went with cleaning or
	// reseating, and nobody knows why, is not proven.
	Proven bool
	Work   diagnosis.WorkKind // by which it was cured
}

// Comes and goes: the symptom of a complaint that no check sheet has.
const symptomIntermittent diagnosis.Symptom = "intermittent"

// Complaints are the words for what was wrong.
func Complaints() []diagnosis.Symptom { return append(Symptoms(), symptomIntermittent) }

// Part is the designator of what was cured: "C31-a".
func (f ClosedFault) Part(def *machine.Definition) string {
	return Work{Stage: f.Stage, Key: f.Key}.Part(def)
}

// Text says in a few words what a closing says.
func (c Closing) Text(def *machine.Definition) string {
	var parts []string
	for _, f := range c.Faults {
		s := f.Part(def)
		switch {
		case !f.Proven:
			s += " (cure unproven)"
		case f.Cause != "":
			s += " (" + f.Cause + ")"
		}
		parts = append(parts, s)
	}
	s := "closed: " + strings.Join(parts, ", ")
	if len(parts) == 0 {
		s = "closed: nothing was at fault"
	}
	if len(c.Complaint) > 0 {
		s += "; complaint: " + strings.Join(names(c.Complaint), ", ")
	}
	if c.Returned != "" {
		s += "; came back from " + c.Returned
	}
	return s
}

// Closing is the entry that closes the job, nil where it is open.
func (v *View) Closing() *Entry {
	for i := range v.Current {
		if v.Current[i].Closing != nil {
			return &v.Current[i]
		}
	}
	return nil
}

// checkClosing completes designators, causes and words, or refuses them.
func checkClosing(def *machine.Definition, c *Closing) error {
	for i, w := range c.Complaint {
		w = diagnosis.Symptom(strings.ToLower(strings.TrimSpace(string(w))))
		if !slices.Contains(Complaints(), w) {
			return &InvalidError{Field: "complaint", Value: shorten(string(w)), Problem: "is no symptom that is known", Nearest: names(Complaints())}
		}
		c.Complaint[i] = w
	}
	slices.SortFunc(c.Complaint, func(a, b diagnosis.Symptom) int {
		return cmp.Compare(slices.Index(Complaints(), a), slices.Index(Complaints(), b))
	})
	c.Complaint = slices.Compact(c.Complaint)
	for i := range c.Faults {
		f := &c.Faults[i]
		if err := f.check(def); err != nil {
			return err
		}
		if slices.ContainsFunc(c.Faults[:i], func(o ClosedFault) bool { return o.Stage == f.Stage && o.Key == f.Key }) {
			return &InvalidError{Field: "fault", Value: f.Part(def), Problem: "is named twice"}
		}
	}
	return nil
}

func (f *ClosedFault) check(def *machine.Definition) error {
	var err error
	if f.Stage, f.Key, err = ParseStage(def, f.Stage, f.Key); err != nil {
		return err
	}
	if f.Work == "" {
		f.Work = diagnosis.WorkRepair
	}
	if !slices.Contains(workKinds, f.Work) {
		return &InvalidError{Field: "work", Value: shorten(string(f.Work)), Problem: "is of no kind that is known", Nearest: names(workKinds)}
	}
	f.Cause = strings.TrimSpace(f.Cause)
	if f.Cause == "" {
		return nil
	}
	causes := Causes(def, f.Stage)
	for _, known := range causes {
		if strings.EqualFold(known, f.Cause) {
			f.Cause = known
			return nil
		}
	}
	return &InvalidError{Field: "cause", Value: shorten(f.Cause), Problem: "is none of the faults of " + f.Part(def) + " in the definition; leave it empty where it is another one", Nearest: nearest(f.Cause, causes)}
}

// Causes are the causes that the definition lists for a stage, each once.
func Causes(def *machine.Definition, stage string) []string {
	s, ok := def.Stage(stage)
	if !ok {
		return nil
	}
	_, modes := def.FaultModes(s)
	var out []string
	for _, m := range modes {
		if !slices.Contains(out, m.Cause) {
			out = append(out, m.Cause)
		}
	}
	return out
}

// fitClosing holds a closing against the record: one job is closed once, and a machine
// comes back from an earlier job of its type. It returns the closing that stands, nil for
// none, and the Seq up to which it looked, as [View.Seen] does.
func (b *Bench) fitClosing(ctx context.Context, j Job, e Entry) (standing *Entry, seen int64, err error) {
	if e.Closing == nil {
		return nil, 0, nil
	}
	if e.Corrects == 0 {
		entries, err := b.rec.EntriesBut(ctx, j.ID, KindCapture)
		if err != nil {
			return nil, 0, err
		}
		v := &View{Entries: entries, Current: Current(entries)}
		if standing, seen = v.Closing(), v.Seen(); standing != nil {
			return standing, seen, nil
		}
	}
	if e.Closing.Returned == "" {
		return nil, seen, nil
	}
	from, err := b.getJob(ctx, e.Closing.Returned)
	if err != nil {
		return nil, 0, err
	}
	if from.ID == j.ID || from.Definition != j.Definition || from.Opened.After(j.Opened) {
		return nil, 0, &InvalidError{Field: "returned", Value: from.ID, Problem: "is no earlier job of a machine of this type"}
	}
	return nil, seen, nil
}

// appendClosing closes a job. Where the closing was not said to rest on what somebody had
// seen, nothing that came in meanwhile hinders it but another closing.
func (b *Bench) appendClosing(ctx context.Context, j Job, e Entry) (Entry, error) {
	said := e.Seen
	for {
		standing, seen, err := b.fitClosing(ctx, j, e)
		if err != nil {
			return Entry{}, err
		}
		if standing != nil {
			return b.closedAlready(ctx, e, standing)
		}
		if said == 0 {
			e.Seen = seen
		}
		kept, err := b.rec.AppendEntry(ctx, e)
		if _, grown := errors.AsType[*ConflictError](err); !grown || said != 0 || ctx.Err() != nil {
			return kept, err
		}
	}
}

// closedAlready answers who closes a closed job: with the closing where it is that one sent
// again, else that it stands.
func (b *Bench) closedAlready(ctx context.Context, e Entry, standing *Entry) (Entry, error) {
	refusal := &InvalidError{Field: "closing", Value: e.Job, Problem: fmt.Sprintf("is closed already, by %s of %s; correct that one, or take it back to open the job again", standing.Ref, moment(standing.At))}
	if e.Once == "" {
		return Entry{}, refusal
	}
	// Only the record knows the names. The closing that stands came after what is said to
	// be seen here, so that nothing can be appended.
	if e.Seen = standing.Seq - 1; e.Seen == 0 {
		e.Seen = -1
	}
	kept, err := b.rec.AppendEntry(ctx, e)
	if _, stands := errors.AsType[*ConflictError](err); stands {
		return Entry{}, refusal
	}
	return kept, err
}

// ProposeClosing is what the record suggests that a job was closed with: repairs as proven
// causes, what was cleaned, reseated, resoldered or exchanged as unproven cures where a function failed
// before and worked after. It is kept by [Bench.Record], once a person has looked at it.
func (b *Bench) ProposeClosing(ctx context.Context, jobID string) (Closing, *View, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return Closing{}, nil, err
	}
	if e := v.Closing(); e != nil {
		return *e.Clone().Closing, v, nil
	}
	c := Closing{Complaint: complaint(v)}
	ev := Evidence(v)
	var open []int // faults whose cause nobody named
	for _, e := range v.Current {
		w := e.Work
		if w == nil || w.Back || w.Kind != diagnosis.WorkRepair && !curedBy(v, ev, e) {
			continue
		}
		f := ClosedFault{Stage: w.Stage, Key: w.Key, Work: w.Kind, Proven: w.Kind == diagnosis.WorkRepair, Cause: causeIn(v.Def, w.Stage, e.Remark)}
		at := slices.IndexFunc(c.Faults, func(o ClosedFault) bool { return o.Stage == f.Stage && o.Key == f.Key })
		if at >= 0 { // what was done last cured it
			if f.Cause == "" {
				f.Cause = c.Faults[at].Cause
			}
			c.Faults[at] = f
		} else {
			c.Faults = append(c.Faults, f)
		}
	}
	for i, f := range c.Faults {
		if f.Proven && f.Cause == "" {
			open = append(open, i)
		}
	}
	if len(open) > 0 {
		b.likelyCauses(ctx, v, ev, &c, open)
	}
	c.Returned, err = b.cameBack(ctx, v.Job)
	return c, v, err
}

// complaint is how functions were found to fail, each word once.
func complaint(v *View) []diagnosis.Symptom {
	var out []diagnosis.Symptom
	for _, w := range Complaints() {
		if slices.ContainsFunc(v.Current, func(e Entry) bool {
			c := e.Check
			return c != nil && (c.Symptom == w || w == symptomIntermittent && c.Outcome == diagnosis.Intermittent)
		}) {
			out = append(out, w)
		}
	}
	return out
}

// causeIn finds the cause that a remark names: "dried out, replaced" names "dried out:
// capacitance lost". Where it fits several it names none.
func causeIn(def *machine.Definition, stage, remark string) string {
	remark = strings.ToLower(remark)
	found := ""
	for _, c := range Causes(def, stage) {
		whole := strings.ToLower(c)
		if strings.Contains(remark, whole) {
			return c
		}
		head, _, _ := strings.Cut(whole, ":")
		if !strings.Contains(remark, head) {
			continue
		}
		if found != "" {
			return ""
		}
		found = c
	}
	return found
}

// curedBy says whether a function through the place of a work failed before it and did not after.
func curedBy(v *View, ev diagnosis.Evidence, e Entry) bool {
	first := observed(v.Entries)
	seq := cmp.Or(first[e.Seq], e.Seq)
	type tried struct{ function, key string }
	before := map[tried]bool{}
	for _, c := range ev.Checks {
		if c.Seq < seq && c.Outcome != diagnosis.Works {
			before[tried{c.Function, c.Key}] = true
		}
	}
	for _, c := range ev.Checks {
		if c.Seq > seq && c.Outcome == diagnosis.Works && before[tried{c.Function, c.Key}] && passes(v.Def, c.Function, c.Key, *e.Work) {
			return true
		}
	}
	return false
}

// passes says whether a function passes what was worked on.
func passes(def *machine.Definition, function, key string, w Work) bool {
	path, err := def.Path(function, key)
	return err == nil && slices.ContainsFunc(path, func(in machine.Instance) bool {
		return in.Stage.ID == w.Stage && (in.Key == w.Key || w.With != "" && in.Key == w.With)
	})
}

// likelyCauses fills in, where nobody named a cause, the one that was most probable before
// anything was repaired. Without a diagnosis it stays open.
func (b *Bench) likelyCauses(ctx context.Context, v *View, ev diagnosis.Evidence, c *Closing, open []int) {
	first := int64(0)
	for _, w := range ev.Works {
		if w.Kind == diagnosis.WorkRepair && (first == 0 || w.Seq < first) {
			first = w.Seq
		}
	}
	later := func(seq int64) bool { return seq >= first }
	ev.Checks = slices.DeleteFunc(ev.Checks, func(x diagnosis.Check) bool { return later(x.Seq) })
	ev.Readings = slices.DeleteFunc(ev.Readings, func(x diagnosis.Reading) bool { return later(x.Seq) })
	ev.Measures = slices.DeleteFunc(ev.Measures, func(x diagnosis.Measured) bool { return later(x.Seq) })
	ev.Works = slices.DeleteFunc(ev.Works, func(x diagnosis.Work) bool { return later(x.Seq) })
	e, err := b.engine(ctx, v)
	if err != nil {
		return
	}
	verdict, err := e.Diagnose(ev)
	if err != nil {
		return
	}
	for _, s := range verdict.Stages {
		for _, i := range open {
			if f := &c.Faults[i]; f.Stage == s.Stage && f.Key == s.Key && s.Status == diagnosis.Suspect && len(s.Modes) > 0 {
				f.Cause = s.Modes[0].Cause
			}
		}
	}
}

// cameBack is the last closed job of the same machine, where this one was opened within
// the days in which a machine counts as returned.
func (b *Bench) cameBack(ctx context.Context, j Job) (string, error) {
	same, err := b.SameMachine(ctx, j.ID)
	if err != nil {
		return "", err
	}
	if err := b.learned(ctx); err != nil {
		return "", err
	}
	from := ""
	b.shop.mu.Lock()
	defer b.shop.mu.Unlock()
	for _, s := range same {
		if c := b.shop.jobs[s.ID]; c != nil && s.ID != j.ID && returnedWithin(c.at, j.Opened) {
			from = s.ID
		}
	}
	return from, nil
}
