package job

import (
	"context"
	"errors"

	"headstack/diagnosis"
)

// Diagnose reasons over the current entries of a job.
func (b *Bench) Diagnose(ctx context.Context, jobID string) (*diagnosis.Verdict, *View, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return nil, nil, err
	}
	return nil, v, errors.New("the diagnosis is not built yet")
}
