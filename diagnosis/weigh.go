package diagnosis

import (
	"context"
	"math"
	"slices"
)

// Weighed is evidence summed once: verdict and advice are both read from it, and are what
// [Engine.Diagnose] and [Engine.Advise] give by themselves, to the last bit. What is done
// with it is best asked for in the order of what is waited for: Next and Marks need no
// further sums, Verdict and Reasons take several times as long. It may be used from
// several goroutines.
type Weighed struct {
	e    *Engine
	ev   Evidence
	p    *problem
	post *posterior
	loo  [][]float64 // the fault of every component with each observation left out
	a    *accusation // both verdict and advice list the explanations
	// turn is held by who reads from the posterior: what it works out on demand it keeps.
	turn chan struct{}
}

// Weigh sums the evidence. The error says which entry cannot be understood, or is the
// context's.
func (e *Engine) Weigh(ctx context.Context, ev Evidence) (*Weighed, error) {
	p, err := e.build(ev)
	if err != nil {
		return nil, err
	}
	post, err := solveWithin(ctx, p.model)
	if err != nil {
		return nil, err
	}
	if post.net != nil {
		post.net.ctx = context.Background() // what is asked of it later ends with who asks then
	}
	return &Weighed{e: e, ev: ev, p: p, post: post, turn: make(chan struct{}, 1)}, nil
}

// take waits for the turn, which the caller gives back with what it returns.
func (w *Weighed) take(ctx context.Context) (back func(), err error) {
	select {
	case w.turn <- struct{}{}:
		return func() { <-w.turn }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// accused is what is accused, worked out once. The caller has the turn.
func (w *Weighed) accused() *accusation {
	if w.a == nil {
		w.a = accuse(w.p, w.post)
	}
	return w.a
}

// leftOut is, worked out once, the fault of every component with each observation left
// out. The caller has the turn.
func (w *Weighed) leftOut() [][]float64 {
	if w.loo == nil {
		w.loo = w.post.without()
	}
	return w.loo
}

// Marks is the part of the verdict that needs no further sums: the stages with what clears
// and accuses them, the doubts, and the masses. Sentences, Explanations, Next and WrongFix
// are empty.
func (w *Weighed) Marks(ctx context.Context) (*Verdict, error) {
	back, err := w.take(ctx)
	if err != nil {
		return nil, err
	}
	defer back()
	return w.marks(), nil
}

func (w *Weighed) marks() *Verdict {
	return &Verdict{
		Stages:      w.p.stageStates(w.post, w.leftOut()),
		Doubts:      w.p.doubts(w.post),
		OutsideMass: w.post.s.outside(), OffsetsOutside: w.post.s.offsetsLost(),
		PFaultFree: w.post.faultFree(),
	}
}

// Verdict says what the evidence means. The error is the context's.
func (w *Weighed) Verdict(ctx context.Context) (*Verdict, error) {
	back, err := w.take(ctx)
	if err != nil {
		return nil, err
	}
	defer back()
	v, a := w.marks(), w.accused()
	found := a.explain()
	for _, f := range found {
		x := Explanation{P: f.p}
		for _, c := range f.causes {
			x.Faults = append(x.Faults, w.p.fault(c))
		}
		v.Explanations = append(v.Explanations, x)
	}
	if len(found) > 0 {
		v.WrongFix = math.Max(0, 1-a.cured(found[0].causes))
	}
	if v.Next, err = w.e.next(ctx, w.p, w.post, a, v); err != nil {
		return nil, err
	}
	v.Sentences = w.p.sentences(w.post, a, v)
	return v, nil
}

// Next is advice without the reasons of suspects and without what is cleared: the actions
// with all that a person needs to take them, what to take again, and what is unproven.
func (w *Weighed) Next(ctx context.Context, now Situation) (*Advice, error) {
	back, err := w.take(ctx)
	if err != nil {
		return nil, err
	}
	defer back()
	return w.e.advise(ctx, w.p, w.post, w.accused(), now)
}

// Reasons is a copy of what Next gave with by what stages are suspect and cleared. It sums
// parts of the evidence by themselves, dozens of them. The error is the context's.
func (w *Weighed) Reasons(ctx context.Context, a *Advice) (*Advice, error) {
	back, err := w.take(ctx)
	if err != nil {
		return nil, err
	}
	loo := w.leftOut()
	back() // the rest changes nothing of the posterior
	out := *a
	out.Suspects, out.Cleared = slices.Clone(a.Suspects), []ClearedStage{}
	if err := w.p.explainStages(ctx, w.post, loo, w.ev, &out); err != nil {
		return nil, err
	}
	return &out, nil
}
