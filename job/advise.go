package job

import (
	"context"
	"fmt"
	"strings"

	"headstack/diagnosis"
)

// Advise says what is known of a job and what to do next, given what is open and in
// hand. The view is the one that the advice is about. No list in the advice is nil: it
// is the form of the contract for scripts. Of the same record it is worked out once.
func (b *Bench) Advise(ctx context.Context, jobID string) (*diagnosis.Advice, *View, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return nil, nil, err
	}
	r, err := b.reckon(ctx, v)
	if err != nil {
		return nil, nil, fmt.Errorf("advising on %s: %w", jobID, err)
	}
	work := r.advice
	if b.opt.Advise != nil {
		work = r.optional
	}
	advice, err := work(ctx, b, v)
	if err != nil {
		return nil, nil, fmt.Errorf("advising on %s: %w", jobID, err)
	}
	return r.told(v, advice), v, nil
}

// Next is what to do next, sooner than [Bench.Advise] and [Bench.Diagnose] say it: the
// same actions, stages and doubts, without the sentences that take further sums. In the
// advice no stage is said to be cleared, and none says by what it is suspect; in the marks,
// which are kept and not to be changed, Sentences, Explanations, Next and WrongFix are empty.
// With an error the view is there where it is not its own.
func (b *Bench) Next(ctx context.Context, jobID string) (*Next, *View, error) {
	v, err := b.View(ctx, jobID)
	if err != nil {
		return nil, nil, err
	}
	n, err := b.nextOf(ctx, v)
	if err != nil {
		return nil, v, fmt.Errorf("working out what is next on %s: %w", jobID, err)
	}
	return n, v, nil
}

// Next is what is known and what to do next, without its reasons.
type Next struct {
	Advice *diagnosis.Advice
	Marks  *diagnosis.Verdict
}

func (b *Bench) nextOf(ctx context.Context, v *View) (*Next, error) {
	r, err := b.reckon(ctx, v)
	if err != nil {
		return nil, err
	}
	work := r.next
	if b.opt.Advise != nil {
		work = r.optional
	}
	advice, err := work(ctx, b, v)
	if err != nil {
		return nil, err
	}
	marks, err := r.marks.get(ctx, func() (*diagnosis.Verdict, error) {
		w, err := r.weigh(ctx, b, v)
		if err != nil {
			return nil, err
		}
		return w.Marks(ctx)
	})
	if err != nil {
		return nil, err
	}
	return &Next{r.told(v, advice), marks}, nil
}

// optional is the advice of the bench's own option, of which nothing is kept.
func (r *reckoning) optional(ctx context.Context, b *Bench, v *View) (*diagnosis.Advice, error) {
	evidence, err := b.ShapedEvidence(ctx, v)
	if err != nil {
		return nil, err
	}
	return b.opt.Advise(ctx, r.engine.Engine, evidence, Situation(v))
}

// told is a copy of advice with how often its suspects were at fault before.
func (r *reckoning) told(v *View, advice *diagnosis.Advice) *diagnosis.Advice {
	advice = whole(advice)
	for i := range advice.Suspects {
		s := &advice.Suspects[i]
		if found := r.engine.counts.StageText(v.Def.ID, s.Stage); found != "" {
			s.Why = strings.TrimSpace(s.Why + " " + found + ".")
		}
	}
	return advice
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
