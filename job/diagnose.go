package job

import (
	"context"
	"fmt"

	"headstack/diagnosis"
)

// Diagnose reasons over the current entries of a job. The view is the one that
// the verdict is about.
func (b *Bench) Diagnose(ctx context.Context, jobID string) (*diagnosis.Verdict, *View, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return nil, nil, err
	}
	engine, err := b.engine(v)
	if err != nil {
		return nil, nil, fmt.Errorf("diagnosing %s: %w", jobID, err)
	}
	evidence, err := b.ShapedEvidence(ctx, v)
	if err != nil {
		return nil, nil, fmt.Errorf("diagnosing %s: %w", jobID, err)
	}
	verdict, err := engine.Diagnose(evidence)
	if err != nil {
		return nil, nil, fmt.Errorf("diagnosing %s: %w", jobID, err)
	}
	return verdict, v, nil
}

// engine returns the engine for a job's definition; it keeps nothing between
// jobs and is made once per version of a definition.
func (b *Bench) engine(v *View) (*diagnosis.Engine, error) {
	b.mu.Lock()
	e := b.engines[v.Job.DefinitionSHA]
	b.mu.Unlock()
	if e != nil {
		return e, nil
	}
	e, err := diagnosis.New(v.Def, diagnosis.Options{})
	if err != nil {
		return nil, err
	}
	b.mu.Lock()
	b.engines[v.Job.DefinitionSHA] = e
	b.mu.Unlock()
	return e, nil
}
