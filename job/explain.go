package job

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/measure"
	"headstack/programme"
	"headstack/signature"
	"headstack/testtape"
)

// Explained is what the losses on captures say. It is computed from their stored
// figures and not kept: the same entries give the same again.
type Explained struct {
	Captures []Entry // that it is of, in the order of the record; of a comparison the one before and the one after
	// Between says what was done between the two captures of a comparison; else empty.
	Between     string
	Compared    bool // it is of the change from the first capture to the second
	Explanation signature.Explanation
	// Unexplained says why there is no explanation; empty when there is one.
	Unexplained string
}

// Refs names the captures: "capture 1 and capture 4", of a comparison "capture 1 to
// capture 4".
func (x Explained) Refs() string {
	var refs []string
	for _, e := range x.Captures {
		refs = append(refs, e.Ref)
	}
	if x.Compared && len(refs) > 1 {
		return refs[0] + " to " + strings.Join(refs[1:], ", ")
	}
	if n := len(refs); n > 1 {
		return strings.Join(refs[:n-1], ", ") + " and " + refs[n-1]
	}
	return strings.Join(refs, "")
}

func refsOf(set []Entry) string { return Explained{Captures: set}.Refs() }

func asUnexplained(err error) (*UnexplainedError, bool) { return errors.AsType[*UnexplainedError](err) }

// UnexplainedError says that captures hold nothing from which causes could be told.
type UnexplainedError struct {
	Refs string // "capture 1 and capture 4"
	Err  error
}

func (e *UnexplainedError) Error() string { return fmt.Sprintf("%s: not explained: %v", e.Refs, e.Err) }

// Unwrap returns the reason alone.
func (e *UnexplainedError) Unwrap() error { return e.Err }

// Explain says what the losses on a capture tell of their causes. Captures made in the
// same way that hold tracks which it does not have are looked at with it, the nearest in
// the record first, so that tracks captured two at a time are judged beside each other.
// Errors: [NotFoundError], [UnexplainedError].
func (b *Bench) Explain(ctx context.Context, jobID string, seq int64) (Explained, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return Explained{}, err
	}
	e, err := captureIn(v, seq)
	if err != nil {
		return Explained{}, err
	}
	return b.explain(ctx, v, together(v, e))
}

// ExplainJob explains the captures that count in a job, those made in the same way
// together, in the order in which each way was first taken. Of several captures of one
// track the first stands: that is what "as found" means.
func (b *Bench) ExplainJob(ctx context.Context, jobID string) ([]Explained, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return nil, err
	}
	var out []Explained
	for _, set := range conditionsOf(v) {
		x, err := b.explain(ctx, v, set)
		switch u := err.(type) {
		case nil:
		case *UnexplainedError:
			x.Unexplained = u.Err.Error()
		default:
			return nil, err
		}
		out = append(out, x)
	}
	return out, nil
}

// CompareCaptures explains the difference of two captures of the same tape by what was
// done between them, such as "pressing the shell". Errors: [NotFoundError],
// [InvalidError] where they cannot be compared, [UnexplainedError].
func (b *Bench) CompareCaptures(ctx context.Context, jobID string, before, after int64, between string) (Explained, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return Explained{}, err
	}
	if err := cleanText("what was done between", &between, maxLine, oneLine); err != nil {
		return Explained{}, err
	}
	old, err := captureIn(v, before)
	if err != nil {
		return Explained{}, err
	}
	fresh, err := captureIn(v, after)
	if err != nil {
		return Explained{}, err
	}
	x := Explained{Captures: []Entry{old, fresh}, Between: between, Compared: true}
	if err := checkPair(old, fresh); err != nil {
		return x, err
	}
	opt, err := b.signatureOptions(ctx, v.Def, *old.Capture)
	if err != nil {
		return x, err
	}
	key := fmt.Sprintf("%d to %d %s", before, after, between)
	x.Explanation, err = b.onceExplained(key, func() (signature.Explanation, error) {
		return b.opt.Compare(old.Capture.Report, fresh.Capture.Report, between, opt)
	})
	if err != nil {
		err = &UnexplainedError{x.Refs(), err}
	}
	return x, err
}

func checkPair(a, b Entry) error {
	bad := func(problem string) error {
		return &InvalidError{Field: "capture to compare with", Value: b.Ref, Problem: problem}
	}
	switch {
	case a.Seq == b.Seq:
		return bad("is the same capture")
	case a.Capture.TapeSHA+a.Capture.ProgrammeSHA != b.Capture.TapeSHA+b.Capture.ProgrammeSHA:
		return bad(fmt.Sprintf("is of %s and %s of %s; compare captures of one tape or programme", b.Capture.Played(), a.Ref, a.Capture.Played()))
	case !slices.ContainsFunc(a.Capture.Tracks, func(t int) bool { return t != 0 && slices.Contains(b.Capture.Tracks, t) }):
		return bad("has no track in common with " + a.Ref)
	}
	return nil
}

// captureIn is a capture of a job by its Seq.
func captureIn(v *View, seq int64) (Entry, error) {
	for _, e := range v.Entries {
		if e.Seq == seq && e.Capture != nil {
			return e, nil
		}
	}
	return Entry{}, &NotFoundError{What: "capture", ID: fmt.Sprint(seq), Nearest: captureRefs(v)}
}

func captureRefs(v *View) []string {
	var out []string
	for _, e := range v.Current {
		if e.Capture != nil {
			out = append(out, fmt.Sprintf("%s (entry %d)", e.Ref, e.Seq))
		}
	}
	return out
}

// condition is all in which captures must agree for their figures to stand together.
type condition struct {
	function, played, face string
	whileRecording         bool
	state                  measure.CaseState
}

func conditionOf(e Entry) condition {
	c := e.Capture
	return condition{c.Function, c.TapeSHA + c.ProgrammeSHA, c.InterfaceSHA, c.WhileRecording, e.Case}
}

// conditionsOf groups the captures that count by condition, each track once.
func conditionsOf(v *View) [][]Entry {
	var order []condition
	sets := map[condition][]Entry{}
	for _, e := range v.Current {
		if e.Capture == nil {
			continue
		}
		k := conditionOf(e)
		if sets[k] == nil {
			order = append(order, k)
		}
		if !holdAny(sets[k], e) {
			sets[k] = append(sets[k], e)
		}
	}
	out := make([][]Entry, len(order))
	for i, k := range order {
		out[i] = sets[k]
	}
	return out
}

// together is a capture with those made in the same way that hold other tracks.
func together(v *View, e Entry) []Entry {
	var others []Entry
	for _, o := range v.Current {
		if o.Capture != nil && o.Seq != e.Seq && conditionOf(o) == conditionOf(e) {
			others = append(others, o)
		}
	}
	slices.SortStableFunc(others, func(a, b Entry) int {
		return int(max(a.Seq-e.Seq, e.Seq-a.Seq) - max(b.Seq-e.Seq, e.Seq-b.Seq))
	})
	set := []Entry{e}
	if v.CorrectedBy(e.Seq) != nil {
		return set // its track numbers may be what was wrong
	}
	for _, o := range others {
		if !holdAny(set, o) {
			set = append(set, o)
		}
	}
	slices.SortFunc(set, func(a, b Entry) int { return int(a.Seq - b.Seq) })
	return set
}

// holdAny says whether a track of e is in the set already.
func holdAny(set []Entry, e Entry) bool {
	return slices.ContainsFunc(set, func(o Entry) bool {
		return slices.ContainsFunc(e.Capture.Tracks, func(t int) bool { return t != 0 && slices.Contains(o.Capture.Tracks, t) }) ||
			len(o.Capture.Tracks) == 0 || len(e.Capture.Tracks) == 0
	})
}

// explain explains captures of one condition.
func (b *Bench) explain(ctx context.Context, v *View, set []Entry) (Explained, error) {
	x := Explained{Captures: set}
	c := *set[0].Capture
	if c.WhileRecording {
		return x, &UnexplainedError{x.Refs(), errWhileRecording}
	}
	rep := merged(set)
	if len(rep.Measures) == 0 {
		return x, &UnexplainedError{x.Refs(), errNothingMeasured}
	}
	opt, err := b.signatureOptions(ctx, v.Def, c)
	if err != nil {
		return x, err
	}
	key := ""
	for _, e := range set {
		key += fmt.Sprintf("%d ", e.Seq)
	}
	x.Explanation, err = b.onceExplained(key, func() (signature.Explanation, error) { return b.opt.Explain(rep, opt) })
	if err != nil {
		err = &UnexplainedError{x.Refs(), err}
	}
	return x, err
}

// explainedKept is how many explanations are held ready.
const explainedKept = 64

// onceExplained works an explanation out, or returns the one of the same entries: those
// never change, and a page is looked at more than once.
func (b *Bench) onceExplained(key string, work func() (signature.Explanation, error)) (signature.Explanation, error) {
	b.mu.Lock()
	have, ok := b.explained[key]
	b.mu.Unlock()
	if ok {
		return have, nil
	}
	x, err := work()
	if err != nil {
		return x, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.explained) >= explainedKept {
		clear(b.explained)
	}
	b.explained[key] = x
	return x, nil
}

const (
	errWhileRecording  = plainError("it was taken while the programme was recorded, and has only what bleeds over; capture the replay")
	errNothingMeasured = plainError("nothing was measured on it")
)

type plainError string

func (e plainError) Error() string { return string(e) }

// signatureOptions are those of a capture: tape, head, groups and speed.
func (b *Bench) signatureOptions(ctx context.Context, def *machine.Definition, c Capture) (signature.Options, error) {
	opt := SignatureOptions(def, c.Function)
	opt.SpeedCmS = playedAt(c.Report)
	sha := c.TapeSHA + c.ProgrammeSHA // one of the two
	yaml, err := b.rec.Document(ctx, sha)
	if err != nil {
		return opt, fmt.Errorf("reading %s, which was played: %w", c.Played(), err)
	}
	if c.ProgrammeSHA == "" {
		opt.Tape, err = testtape.Load(c.Tape, yaml)
		return opt, err
	}
	p, err := programme.Load(c.Programme, yaml)
	if err != nil {
		return opt, err
	}
	opt.Tape, opt.OwnRecording = p.Tape(), true
	return opt, nil
}

// playedAt is the speed that a report was measured for, 0 where it does not say.
func playedAt(rep measure.Report) float64 {
	for _, r := range rep.Measures {
		if r.Conditions.SpeedCmS > 0 {
			return r.Conditions.SpeedCmS
		}
	}
	return 0
}

// SignatureOptions are what a definition says of the head and the tracks that replay in
// a function; the caller adds what was played.
func SignatureOptions(def *machine.Definition, function string) signature.Options {
	opt := signature.Options{Geometry: def.Geometry()}
	for _, g := range def.Groups {
		opt.Groups = append(opt.Groups, signature.Group{Name: g.Name, Tracks: g.Tracks})
	}
	if h := def.PlayHead(function); h != nil {
		opt.DesignGapUm = h.GapUm
	}
	return opt
}
