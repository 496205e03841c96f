package job

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"headstack/diagnosis"
	"headstack/machine"
	"headstack/measure"
	"headstack/unit"
)

// RecordCheck records the outcome of a control (c.Item) or function (c.Function
// and c.Key) that was tried.
func (b *Bench) RecordCheck(ctx context.Context, jobID string, c Check, state measure.CaseState, remark string) (Entry, error) {
	return b.record(ctx, jobID, Entry{Kind: KindCheck, Case: state, Remark: remark, Check: &c})
}

// RecordReading records an instrument reading. TestPoint may be an id with its
// Key beside it ("TP21", "a") or a designator ("TP21-a"); it is kept as id and
// key.
func (b *Bench) RecordReading(ctx context.Context, jobID string, r Reading, state measure.CaseState, remark string) (Entry, error) {
	return b.record(ctx, jobID, Entry{Kind: KindReading, Case: state, Remark: remark, Reading: &r})
}

// RecordNote records a remark that belongs to no check, reading or capture.
func (b *Bench) RecordNote(ctx context.Context, jobID string, state measure.CaseState, text string) (Entry, error) {
	return b.record(ctx, jobID, Entry{Kind: KindNote, Case: state, Remark: text})
}

// Record appends any entry but a capture. Of e only what it carries,
// Case, Remark, Minutes, Once and Seen count; Kind may be empty. Where Case is not stated and
// openings of the job were recorded, it becomes the one that goes with them.
func (b *Bench) Record(ctx context.Context, jobID string, e Entry) (Entry, error) {
	if e.Kind == "" {
		e.Kind = kindOf(e)
	}
	if e.Kind == KindCapture || e.Kind == KindPhotograph {
		return Entry{}, &InvalidError{Field: "kind", Value: string(e.Kind), Problem: "is a file, and is kept by adding it"}
	}
	return b.record(ctx, jobID, said(e))
}

// Correct appends replacement in the place of entry seq. Of the replacement
// only Kind (empty: that of what it carries), Case, Remark, Minutes, Once, Seen and what it
// carries count; it must be of the same kind. A capture is not corrected by typing but
// measured again: [Bench.AddCapture] with Corrects. Errors: [CorrectionError],
// [NotFoundError], [InvalidError].
func (b *Bench) Correct(ctx context.Context, jobID string, seq int64, replacement Entry) (Entry, error) {
	if replacement.Kind == "" {
		replacement.Kind = kindOf(replacement)
	}
	if replacement.Kind == KindCapture {
		return Entry{}, &InvalidError{Field: "correction", Value: "capture", Problem: "is not typed; measure the kept file again with the right tracks, tape or function"}
	}
	if seq <= 0 {
		return Entry{}, EntryNotFound(seq)
	}
	e := said(replacement)
	e.Corrects = seq
	if e.Photograph != nil {
		if err := b.sameFile(ctx, jobID, seq, &e); err != nil {
			return Entry{}, err
		}
	}
	return b.record(ctx, jobID, e)
}

// said is what of an entry a caller may say.
func said(e Entry) Entry {
	e.Seq, e.Ref, e.Job, e.At, e.Clock, e.Corrects, e.Withdraw = 0, "", "", time.Time{}, time.Time{}, 0, false
	return e
}

// Withdraw appends a note that takes entry seq back; remark says why. Errors:
// [CorrectionError], [NotFoundError], [InvalidError].
func (b *Bench) Withdraw(ctx context.Context, jobID string, seq int64, remark string) (Entry, error) {
	if seq <= 0 {
		return Entry{}, EntryNotFound(seq)
	}
	return b.record(ctx, jobID, Entry{Kind: KindNote, Corrects: seq, Withdraw: true, Remark: remark})
}

func kindOf(e Entry) Kind {
	switch {
	case e.Check != nil:
		return KindCheck
	case e.Reading != nil:
		return KindReading
	case e.Capture != nil:
		return KindCapture
	case e.Work != nil:
		return KindWork
	case e.Opening != nil:
		return KindOpening
	case e.Closing != nil:
		return KindClosing
	case e.Photograph != nil:
		return KindPhotograph
	}
	return lineUpKind(e)
}

// record checks an entry against the job's definition and appends it.
func (b *Bench) record(ctx context.Context, jobID string, e Entry) (Entry, error) {
	j, err := b.getJob(ctx, jobID)
	if err != nil {
		return Entry{}, err
	}
	def, err := b.definition(ctx, j)
	if err != nil {
		return Entry{}, err
	}
	e = e.Clone() // what the caller holds stays as it was given
	e.Job, e.At = jobID, b.opt.Now()
	if e.Once == "" {
		e.Once = nameFor(ctx)
	}
	asked := def
	if e.Turn != nil {
		entries, err := b.rec.Entries(ctx, jobID)
		if err != nil {
			return Entry{}, err
		}
		asked = asSeen(def, Current(entries))
	}
	if err := checkEntry(asked, &e); err != nil {
		return Entry{}, err
	}
	if r := e.Reading; r != nil && r.Instrument != "" {
		known, err := b.Instruments(ctx)
		if err != nil {
			return Entry{}, err
		}
		r.Instrument, _ = registered(known, r.Instrument)
	}
	if err := b.checkStep(ctx, def, &e); err != nil {
		return Entry{}, err
	}
	if err := b.checkStaircaseProgramme(ctx, e.Staircase); err != nil {
		return Entry{}, err
	}
	if e.Pass != nil {
		if err := b.namePass(ctx, e.Pass); err != nil {
			return Entry{}, err
		}
	}
	if err := b.fit(ctx, def, j, &e); err != nil {
		return Entry{}, err
	}
	if e.Corrects != 0 {
		if _, _, err := b.fitClosing(ctx, j, e); err != nil {
			return Entry{}, err
		}
	}
	if e.Closing != nil || e.Withdraw {
		defer b.shop.taught()
	}
	defer b.shop.changed(jobID)
	defer b.forgetCases(jobID)
	switch {
	case e.Check != nil:
		return b.appendCheck(ctx, e)
	case e.Closing != nil && e.Corrects == 0:
		return b.appendClosing(ctx, j, e)
	}
	return b.rec.AppendEntry(ctx, e)
}

// checkEntry brings an entry into the form in which it is kept, or refuses it.
func checkEntry(def *machine.Definition, e *Entry) error {
	field := "remark"
	if e.Kind == KindNote {
		field = "note"
	}
	if err := firstError(cleanText(field, &e.Remark, maxText, manyLines), checkCase(e.Case), checkMinutes(e.Minutes)); err != nil {
		return err
	}
	switch {
	case e.Kind == KindNote && e.Remark == "" && !e.Withdraw:
		return &InvalidError{Field: "note", Problem: "is empty"}
	case e.Kind == KindCheck && e.Check != nil:
		return checkCheck(def, e.Check)
	case e.Kind == KindReading && e.Reading != nil:
		return checkReading(def, e.Reading)
	case e.Kind == KindWork && e.Work != nil:
		return checkWork(def, e.Work)
	case e.Kind == KindOpening && e.Opening != nil:
		return checkOpening(def, e.Opening)
	case e.Kind == KindClosing && e.Closing != nil:
		return checkClosing(def, e.Closing)
	case e.Kind == KindPhotograph && e.Photograph != nil:
		return checkPhotograph(def, e.Photograph)
	}
	if err := checkLineUp(def, e); err != nil {
		return err
	}
	return nil // CheckShape refuses what does not fit together
}

// The outcomes and symptoms that can be recorded.
var (
	outcomes = []diagnosis.Outcome{diagnosis.Works, diagnosis.Faulty, diagnosis.Intermittent, diagnosis.NotFitted, diagnosis.NotTried}
	symptoms = []diagnosis.Symptom{diagnosis.SymptomDead, diagnosis.SymptomWeak, diagnosis.SymptomDull, diagnosis.SymptomThin, diagnosis.SymptomNoisy}
	// and the ways of provoking a fault
	provocations = []diagnosis.Provocation{diagnosis.Pressed, diagnosis.Warm, diagnosis.Cold}
)

// Outcomes are those that can be recorded.
func Outcomes() []diagnosis.Outcome { return slices.Clone(outcomes) }

// Symptoms are those of what is faulty or intermittent.
func Symptoms() []diagnosis.Symptom { return slices.Clone(symptoms) }

// maxMinutes is a week at the bench for one entry.
const maxMinutes = 7 * 24 * 60

func checkMinutes(m unit.Minutes) error {
	if m >= 0 && m <= maxMinutes {
		return nil
	}
	return &InvalidError{Field: "minutes", Value: fmt.Sprint(float64(m)), Problem: fmt.Sprintf("are not between 0 (not said) and %d", maxMinutes)}
}

func checkProvoked(p diagnosis.Provocation) error {
	if p == diagnosis.Unprovoked || slices.Contains(provocations, p) {
		return nil
	}
	return &InvalidError{Field: "provocation", Value: shorten(string(p)), Problem: "is not known", Nearest: names(provocations)}
}

func checkCheck(def *machine.Definition, c *Check) error {
	if !slices.Contains(outcomes, c.Outcome) {
		return &InvalidError{Field: "outcome", Value: shorten(string(c.Outcome)), Problem: "is not known", Nearest: names(outcomes)}
	}
	if c.Symptom != diagnosis.SymptomUnknown {
		if !slices.Contains(symptoms, c.Symptom) {
			return &InvalidError{Field: "symptom", Value: shorten(string(c.Symptom)), Problem: "is not known", Nearest: names(symptoms)}
		}
		if c.Outcome != diagnosis.Faulty && c.Outcome != diagnosis.Intermittent {
			return &InvalidError{Field: "symptom", Value: string(c.Symptom), Problem: fmt.Sprintf("does not go with the outcome %q", c.Outcome)}
		}
	}
	if err := checkProvoked(c.Provoked); err != nil {
		return err
	}
	switch {
	case c.Item != "" && c.Function != "":
		return &InvalidError{Field: "check", Value: shorten(c.Item), Problem: "is of a control and of a function at once; record two checks"}
	case c.Item != "":
		return checkItem(def, c)
	case c.Function != "":
		return checkFunction(def, c)
	}
	return &InvalidError{Field: "check", Problem: "names neither a control nor a function"}
}

func checkItem(def *machine.Definition, c *Check) error {
	var ids []string
	for _, it := range def.CheckItems() {
		if strings.EqualFold(it.ID, c.Item) {
			c.Item = it.ID
			return nil
		}
		ids = append(ids, it.ID)
	}
	return &InvalidError{Field: "check item", Value: shorten(c.Item), Problem: "is not on the check sheet", Nearest: nearest(c.Item, ids)}
}

func checkFunction(def *machine.Definition, c *Check) error {
	f, ok := def.Function(c.Function)
	if !ok {
		return unknownFunction(def, c.Function)
	}
	keys := def.ReplicaKeys(f.Each)
	for _, k := range keys {
		if strings.EqualFold(k, c.Key) {
			c.Key = k
			return nil
		}
	}
	if f.Each == "" {
		return &InvalidError{Field: "key", Value: shorten(c.Key), Problem: fmt.Sprintf("does not go with %s, of which there is one only", f.ID)}
	}
	return &InvalidError{Field: f.Each, Value: shorten(c.Key), Problem: "has no function " + f.ID, Nearest: keys}
}

func unknownFunction(def *machine.Definition, id string) error {
	var ids []string
	for _, f := range def.Functions {
		ids = append(ids, f.ID)
	}
	return &InvalidError{Field: "function", Value: shorten(id), Problem: "is not in the definition", Nearest: nearest(id, ids)}
}

func names[T ~string](list []T) []string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = string(v)
	}
	return out
}

// checkReading completes test point and key and checks value and unit.
func checkReading(def *machine.Definition, r *Reading) error {
	var err error
	if r.TestPoint, r.Key, err = ParsePoint(def, r.TestPoint, r.Key); err != nil {
		return err
	}
	tp, _ := def.TestPoint(r.TestPoint)
	err = firstError(
		cleanText("instrument", &r.Instrument, maxLine, oneLine),
		cleanText("session", &r.Session, maxLine, oneLine),
		cleanText("setting", &r.Setting, maxLine, oneLine),
		checkProvoked(r.Provoked),
	)
	if err != nil {
		return err
	}
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return &InvalidError{Field: "value", Value: fmt.Sprint(r.Value), Problem: "is not a finite number"}
	}
	if math.IsNaN(r.ToneHz) || r.ToneHz < 0 || r.ToneHz > maxToneHz {
		return &InvalidError{Field: "tone", Value: fmt.Sprint(r.ToneHz), Problem: fmt.Sprintf("is not a frequency in Hz between 0 (the test point's own) and %g", float64(maxToneHz))}
	}
	return checkUnit(tp, r)
}

// maxToneHz is above any bias oscillator.
const maxToneHz = 10e6

func checkUnit(tp *machine.TestPoint, r *Reading) error {
	want := tp.Expect.Unit
	if _, base, ok := unit.ToBase(1, tp.Expect.Unit); ok {
		want = base
	}
	name, known := unit.Name(r.Unit)
	if !known {
		return &InvalidError{Field: "unit", Value: shorten(r.Unit), Problem: "is not known", Nearest: unitsFor(want)}
	}
	value, base, _ := unit.ToBase(r.Value, r.Unit)
	switch {
	case base != want:
		return &InvalidError{Field: "unit", Value: r.Unit, Problem: fmt.Sprintf("does not convert to %s, which %s is read in", tp.Expect.Unit, tp.ID), Nearest: unitsFor(want)}
	case math.IsInf(value, 0):
		return &InvalidError{Field: "value", Value: fmt.Sprintf("%g %s", r.Value, r.Unit), Problem: "is beyond any instrument"}
	case value < 0 && base != "dB" && (r.ToneHz > 0 || tp.ToneHz > 0):
		return &InvalidError{Field: "value", Value: fmt.Sprintf("%g %s", r.Value, r.Unit), Problem: "is negative, and a tone is read at " + tp.ID + "; a level re 1 V is typed with dBV, re 0.775 V with dBu"}
	}
	r.Unit = name
	return nil
}
