package job

import (
	"context"
	"errors"
	"slices"
	"time"

	"headstack/lineup"
	"headstack/trim"
)

// jobEpochs parts the epochs and closings of one job from those of the next: a machine
// may come back, and what was set then is another setting.
const jobEpochs = 1 << 20

// mostOthers bounds how many other jobs of a definition are asked: the last ones.
const mostOthers = 40

// caseKept is what a job shows of the open case, as long as nothing was added to it.
type caseKept struct {
	last  time.Time
	sha   string // of the definition in whose terms it is
	reads map[float64][]trim.CaseReading
}

// otherCases are the readings on which the case bears of other jobs of the definition, by
// speed. What cannot be read any more, as with a tape that is gone, tells nothing.
func (b *Bench) otherCases(ctx context.Context, v *View) (map[float64][]trim.CaseReading, error) {
	list, err := b.rec.Summaries(ctx)
	if err != nil {
		return nil, err
	}
	list = slices.DeleteFunc(list, func(s Summary) bool { return s.Definition != v.Job.Definition || s.ID == v.Job.ID || s.LastAt.IsZero() })
	list = list[max(0, len(list)-mostOthers):]
	out := map[float64][]trim.CaseReading{}
	for i, s := range list {
		reads, err := b.casesOf(ctx, v, s)
		if err != nil {
			return nil, err
		}
		shift := (i + 1) * jobEpochs
		for cmS, rs := range reads {
			for _, r := range rs {
				r.Epoch, r.Closing = r.Epoch+shift, r.Closing+shift
				if opens(r.State) && r.Machine == machineName(v.Job) {
					r.Closing -= 2 * shift // never the opening in which the recorder stands now
				}
				out[cmS] = append(out[cmS], r)
			}
		}
	}
	return out, nil
}

// casesOf is what one job shows, in the terms of the view's definition.
func (b *Bench) casesOf(ctx context.Context, v *View, s Summary) (map[float64][]trim.CaseReading, error) {
	b.mu.Lock()
	kept, ok := b.caseKept[s.ID]
	b.mu.Unlock()
	if ok && kept.last.Equal(s.LastAt) && kept.sha == v.Job.DefinitionSHA {
		return kept.reads, nil
	}
	kept = caseKept{last: s.LastAt, sha: v.Job.DefinitionSHA, reads: map[float64][]trim.CaseReading{}}
	entries, err := b.rec.Entries(ctx, s.ID)
	if err != nil {
		return nil, err
	}
	other := &View{Job: s.Job, Def: v.Def, Entries: entries, Current: Current(entries)}
	other.Def = other.AsSeen()
	if slices.ContainsFunc(other.Current, func(e Entry) bool { return opens(e.Case) }) { // else it knows no open case
		shelf, err := b.tapesAtHand(ctx, v.Def, other.Current)
		if _, missing := errors.AsType[*NotFoundError](err); missing {
			err, shelf = nil, nil
		}
		if err != nil {
			return nil, err
		}
		if shelf != nil {
			if err := kept.fill(other, shelf); err != nil {
				return nil, err
			}
		}
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.caseKept[s.ID] = kept
	return kept.reads, nil
}

// forgetCases makes what a job shows be looked at anew: something was added to it, be it
// under the time of the entry before, as where the clock was set back.
func (b *Bench) forgetCases(jobID string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	delete(b.caseKept, jobID)
}

func (k *caseKept) fill(v *View, s *shelf) error {
	o, err := lineup.New(v.Def, s.options())
	if err != nil {
		return err
	}
	g := newLogger(v, o, s, nil)
	for _, sp := range v.Def.Speeds {
		if bench, err := newSpeedBench(v.Def, o, sp.CmS); err == nil { // the job itself says what is not understood
			k.reads[sp.CmS] = caseReadings(machineName(v.Job), g, bench)
		}
	}
	return nil
}
