package job

import (
	"context"
	"fmt"
	"strings"

	"headstack/diagnosis"
)

// Advise says what is known of a job and what to do next, given what is open and in
// hand. The view is the one that the advice is about. No list in the advice is nil: it
// is the form of the contract for scripts.
func (b *Bench) Advise(ctx context.Context, jobID string) (*diagnosis.Advice, *View, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return nil, nil, err
	}
	engine, err := b.engine(ctx, v)
	if err != nil {
		return nil, nil, fmt.Errorf("advising on %s: %w", jobID, err)
	}
	evidence, err := b.ShapedEvidence(ctx, v)
	if err != nil {
		return nil, nil, fmt.Errorf("advising on %s: %w", jobID, err)
	}
	advice, err := b.opt.Advise(ctx, engine.Engine, evidence, Situation(v))
	if err != nil {
		return nil, nil, fmt.Errorf("advising on %s: %w", jobID, err)
	}
	advice = whole(advice)
	for i := range advice.Suspects {
		s := &advice.Suspects[i]
		if found := engine.counts.StageText(v.Def.ID, s.Stage); found != "" {
			s.Why = strings.TrimSpace(s.Why + " " + found + ".")
		}
	}
	return advice, v, nil
}

// Foreseen are the outcomes of an action for a person to read: the most probable ones, in
// the order given, and the rest together where it matters.
func Foreseen(list []diagnosis.Prediction) []diagnosis.Prediction {
	const least = 0.05 // what is less probable than this is not worth a line
	var out []diagnosis.Prediction
	rest := 0.0
	for _, p := range list {
		if p.Probability < least {
			rest += p.Probability
			continue
		}
		out = append(out, p)
	}
	if rest >= least/2 {
		out = append(out, diagnosis.Prediction{Outcome: "anything else", Probability: rest})
	}
	return out
}

// whole returns a copy whose lists are there, empty where nothing is in them.
func whole(a *diagnosis.Advice) *diagnosis.Advice {
	out := *a
	out.Suspects, out.Cleared = list(a.Suspects), list(a.Cleared)
	out.Recheck, out.Actions, out.Unproven = list(a.Recheck), list(a.Actions), list(a.Unproven)
	for i := range out.Suspects {
		out.Suspects[i].By = list(out.Suspects[i].By)
	}
	for i := range out.Cleared {
		out.Cleared[i].By = list(out.Cleared[i].By)
	}
	for i := range out.Actions {
		out.Actions[i].Predicts, out.Actions[i].Cautions = list(out.Actions[i].Predicts), list(out.Actions[i].Cautions)
	}
	for i := range out.Unproven {
		out.Unproven[i].Asks = list(out.Unproven[i].Asks)
	}
	return &out
}

// list is a copy that is never nil.
func list[T any](s []T) []T { return append(make([]T, 0, len(s)), s...) }
