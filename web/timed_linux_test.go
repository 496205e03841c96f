package web

import (
	"context"
	"sync"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/job"
)

// timedBench says how long the reasoning took, and holds the words of a verdict back for as
// long as it is told to: what follows is then not counted with what comes first.
type timedBench struct {
	*job.Bench
	t                    testing.TB
	diagnosing, advising *time.Duration
	mu                   sync.RWMutex
}

func (b *timedBench) hold()  { b.mu.Lock() }
func (b *timedBench) letGo() { b.mu.Unlock() }

func (b *timedBench) Diagnose(ctx context.Context, id string) (*diagnosis.Verdict, *job.View, error) {
	b.mu.RLock()
	defer b.mu.RUnlock()
	start := time.Now()
	defer func() { *b.diagnosing = time.Since(start) }()
	return b.Bench.Diagnose(ctx, id)
}

func (b *timedBench) Advise(ctx context.Context, id string) (*diagnosis.Advice, *job.View, error) {
	start := time.Now()
	defer func() { *b.advising = time.Since(start) }()
	return b.Bench.Advise(ctx, id)
}
