package job

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"

	"headstack/diagnosis"
	"headstack/measure"
	"headstack/signature"
)

// ShapedEvidence is [Bench.Evidence] with what the shapes of the losses say: captures
// made in the same way are weighed together, each track once. A capture that nothing can
// be told from has its figures alone. It takes up to a second for captures that were not
// weighed before.
func (b *Bench) ShapedEvidence(ctx context.Context, v *View) (diagnosis.Evidence, error) {
	out := Evidence(v)
	for _, set := range weighedTogether(v) {
		shapes, err := b.shapes(ctx, v, set)
		if err != nil {
			return out, err
		}
		if shapes == nil {
			continue
		}
		for i := range out.Measures {
			m := &out.Measures[i]
			if slices.ContainsFunc(set, func(e Entry) bool { return e.Ref == m.Ref }) {
				m.Shapes = shapes
			}
		}
	}
	return out, nil
}

// weighedTogether groups all captures that count by how they were made, so that no set
// has a track twice: what was captured again makes further sets.
func weighedTogether(v *View) [][]Entry {
	var out [][]Entry
	rest := *v
	for {
		sets := conditionsOf(&rest)
		if len(sets) == 0 {
			return out
		}
		out = append(out, sets...)
		used := map[int64]bool{}
		for _, set := range sets {
			for _, e := range set {
				used[e.Seq] = true
			}
		}
		rest.Current = slices.DeleteFunc(slices.Clone(rest.Current), func(e Entry) bool { return e.Capture == nil || used[e.Seq] })
	}
}

// shapes weighs captures made in the same way; nil where they hold nothing to weigh. The
// error is one of the record, not of the fit.
func (b *Bench) shapes(ctx context.Context, v *View, set []Entry) (*signature.Evidence, error) {
	c := *set[0].Capture
	rep := merged(set)
	if c.WhileRecording || len(rep.Measures) == 0 {
		return nil, nil
	}
	key := weighKey(v, set)
	if have, ok := b.weighed.get(key); ok {
		return have, nil
	}
	opt, err := b.signatureOptions(ctx, v.Def, c)
	if err != nil {
		return nil, ctx.Err() // a tape that cannot be read again leaves the figures as they are
	}
	var shapes *signature.Evidence
	if ev, err := b.opt.Likelihoods(rep, opt); err == nil {
		shapes = &ev
	}
	b.weighed.put(key, shapes)
	return shapes, nil
}

// weighed holds ready what the captures last looked at say, nil where they say nothing.
// The zero value is empty.
type weighed struct {
	mu sync.Mutex
	by map[string]*signature.Evidence
}

// weighedKept is how many sets of captures are held.
const weighedKept = 64

func (w *weighed) get(key string) (*signature.Evidence, bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	have, ok := w.by[key]
	return have, ok
}

func (w *weighed) put(key string, shapes *signature.Evidence) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.by == nil || len(w.by) >= weighedKept {
		w.by = map[string]*signature.Evidence{}
	}
	w.by[key] = shapes
}

// weighKey names all that the outcome depends on; the number of an entry stands for its
// figures, which never change.
func weighKey(v *View, set []Entry) string {
	var out strings.Builder
	fmt.Fprint(&out, v.Job.DefinitionSHA)
	for _, e := range set {
		c := e.Capture
		fmt.Fprintf(&out, "|%d %s %s %s %s %v", e.Seq, c.SHA256, c.TapeSHA, c.ProgrammeSHA, c.Function, c.Tracks)
	}
	return out.String()
}

// merged is the figures of captures as of one.
func merged(set []Entry) measure.Report {
	var rep measure.Report
	for _, e := range set {
		r := e.Capture.Report
		rep.Sections = append(rep.Sections, r.Sections...)
		rep.Measures = append(rep.Measures, r.Measures...)
		rep.Traces = append(rep.Traces, r.Traces...)
		rep.Warnings = append(rep.Warnings, r.Warnings...)
	}
	return rep
}
