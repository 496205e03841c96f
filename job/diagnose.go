package job

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"headstack/diagnosis"
	"headstack/learn"
)

// Diagnose reasons over the current entries of a job. The view is the one that
// the verdict is about. The verdict is kept and not to be changed.
func (b *Bench) Diagnose(ctx context.Context, jobID string) (*diagnosis.Verdict, *View, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return nil, nil, err
	}
	r, err := b.reckon(ctx, v)
	if err != nil {
		return nil, nil, fmt.Errorf("diagnosing %s: %w", jobID, err)
	}
	verdict, err := r.verdict.get(ctx, func() (*diagnosis.Verdict, error) {
		w, err := r.weigh(ctx, b, v)
		if err != nil {
			return nil, err
		}
		verdict, err := w.Verdict(ctx)
		if err == nil {
			verdict.Sentences = append(verdict.Sentences, r.engine.priors(v, verdict)...)
		}
		return verdict, err
	})
	if err != nil {
		return nil, nil, fmt.Errorf("diagnosing %s: %w", jobID, err)
	}
	return verdict, v, nil
}

// engine is a diagnosis engine with what its priors were learned from.
type engine struct {
	*diagnosis.Engine
	lesson *learn.Lesson
	counts *learn.Counts
}

// engineKey is what an engine depends on: a version of a definition and what was counted.
type engineKey struct{ definition, counts string }

// enginesKept bounds how many of one definition are kept: that of open jobs, and those of
// closed ones, for each of which its own machine is left out.
const enginesKept = 4

// engine returns the engine for a job's definition with the priors that closed jobs give
// it, those of the same machine left out. It keeps nothing between jobs.
func (b *Bench) engine(ctx context.Context, v *View) (*engine, error) {
	counted, err := b.sum(ctx, v.Job.ID)
	if err != nil {
		return nil, err
	}
	key := engineKey{v.Job.DefinitionSHA, counted.id}
	b.mu.Lock()
	e := b.engines[key]
	b.mu.Unlock()
	if e != nil {
		return e, nil
	}
	e = &engine{lesson: learn.Learn(v.Def, counted.counts), counts: counted.counts}
	if e.Engine, err = diagnosis.New(e.lesson.Definition, diagnosis.Options{}); err != nil {
		return nil, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	var older []engineKey
	for k := range b.engines {
		if k.definition == key.definition {
			older = append(older, k)
		}
	}
	if len(older) >= enginesKept {
		for _, k := range older {
			delete(b.engines, k)
		}
	}
	b.engines[key] = e
	return e, nil
}

// mostFound is how many suspects a verdict says it of.
const mostFound = 3

// priors says in sentences where the priors of a verdict come from, and how often its
// suspects were at fault before.
func (e *engine) priors(v *View, verdict *diagnosis.Verdict) []string {
	text := e.lesson.PriorsText()
	if text == "" {
		return nil
	}
	var found, seen []string
	for _, s := range verdict.Stages {
		if s.Status != diagnosis.Suspect || slices.Contains(seen, s.Stage) || len(found) == mostFound {
			continue
		}
		seen = append(seen, s.Stage)
		if f := e.counts.StageText(v.Def.ID, s.Stage); f != "" {
			found = append(found, f)
		}
	}
	out := strings.ToUpper(text[:1]) + text[1:]
	if len(found) > 0 {
		out += "; " + strings.Join(found, "; ")
	}
	return []string{out + "."}
}
