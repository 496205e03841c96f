package web

import (
	"context"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/job"
)

// timedBench says how long the reasoning took.
type timedBench struct {
	*job.Bench
	t                    testing.TB
	diagnosing, advising *time.Duration
}

func (b *timedBench) Diagnose(ctx context.Context, id string) (*diagnosis.Verdict, *job.View, error) {
	start := time.Now()
	defer func() { *b.diagnosing = time.Since(start) }()
	return b.Bench.Diagnose(ctx, id)
}

func (b *timedBench) Advise(ctx context.Context, id string) (*diagnosis.Advice, *job.View, error) {
	start := time.Now()
	defer func() { *b.advising = time.Since(start) }()
	return b.Bench.Advise(ctx, id)
}
