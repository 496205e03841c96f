package job

import (
	"context"

	"headstack/lineup"
	"headstack/testtape"
)

// shelf are the test tapes of a bench, and those that captures of a job were measured
// with, by SHA-256.
type shelf struct {
	tapes []lineup.TapeAtHand
	uses  []TapeUse
	bySHA map[string]*testtape.Tape
}

// tapesAtHand loads the test tapes on the bench, and those of a job's captures that have
// another version.
func (b *Bench) tapesAtHand(ctx context.Context, v *View) (*shelf, error) {
	list, err := b.shelf(ctx, TapeDocument)
	if err != nil {
		return nil, err
	}
	s := &shelf{bySHA: map[string]*testtape.Tape{}}
	for _, i := range list {
		yaml, _, err := b.TapeYAML(ctx, i.sha)
		if err != nil {
			return nil, err
		}
		t, err := testtape.Load(i.id+".yaml", yaml)
		if err != nil {
			return nil, err
		}
		s.bySHA[i.sha] = t
		_, fits := v.Def.Speed(t.SpeedCmS)
		s.uses = append(s.uses, TapeUse{Name: t.Name, ID: i.id, SpeedCmS: t.SpeedCmS, Fits: fits})
		if fits {
			s.tapes = append(s.tapes, lineup.TapeAtHand{Tape: t})
		}
	}
	for _, e := range v.Current {
		c := e.Capture
		if c == nil || c.TapeSHA == "" || s.bySHA[c.TapeSHA] != nil {
			continue
		}
		yaml, err := b.rec.Document(ctx, c.TapeSHA)
		if err != nil {
			return nil, err
		}
		t, err := testtape.Load(c.Tape+".yaml", yaml)
		if err != nil {
			return nil, err
		}
		s.bySHA[c.TapeSHA] = t
	}
	return s, nil
}

// newLineUp makes the line-up of a view.
func newLineUp(v *View, s *shelf) (*LineUp, error) {
	o, err := lineup.New(v.Def, lineup.Options{Tapes: s.tapes})
	if err != nil {
		return nil, &NoLineUpError{v.Job.ID, v.Job.Definition, err}
	}
	l := &LineUp{Order: o, Next: []string{}, Turns: []LineUpTurn{}, Waits: []string{}, Offsets: []CaseOffset{}, Doubts: []string{}, Problems: []string{}}
	l.Hearing = hearingOf(v)
	return l, l.fill(v, s)
}

// hearingOf is how the tracks of a recorder reach the interface: as many at once as any
// capture had; a stereo pair where there is none.
func hearingOf(v *View) lineup.Hearing {
	most := 0
	for _, e := range v.Current {
		if c := e.Capture; c != nil {
			n := 0
			for _, t := range c.Tracks {
				if t > 0 {
					n++
				}
			}
			most = max(most, n)
		}
	}
	h := lineup.Hearing{AtOnce: most}
	if most <= 2 {
		h.AtOnce = min(2, v.Def.Tracks.Count)
	}
	h.Bus = h.AtOnce == 2 && len(v.Def.ReplicaKeys("side")) == 2 // tracks are panned to its sides
	return h
}

// fill computes what the order says of the record.
func (l *LineUp) fill(v *View, s *shelf) error {
	l.Log = logOf(v)
	l.Status = l.Order.Status(l.Log)
	l.Problems = append(l.Problems, l.Status.Problems...)
	ok, waits := l.Order.MayPlayTestTape(l.Log)
	l.MayPlay, l.Waits = ok, append(l.Waits, waits...)
	for i, st := range l.Order.Steps {
		l.Steps = append(l.Steps, LineUpStep{Step: st, Standing: l.Status.Steps[i], Target: l.Order.Target(st.ID, lineup.Setup{})})
	}
	l.Tapes = s.uses
	for i := range l.Tapes {
		l.Tapes[i].Passes = l.Status.Passes[l.Tapes[i].Name]
	}
	l.Proof = l.Order.Proof(l.Log, lineup.Setup{}, nil)
	var err error
	if l.Rounds, err = lineup.RecordRounds(v.Def, lineup.Recording{}); err != nil {
		return err
	}
	l.Passes, err = l.Order.TapePasses(l.Hearing)
	return err
}

// logOf makes the events of a line-up of what counts in a record.
func logOf(v *View) []lineup.Event {
	var out []lineup.Event
	for _, e := range v.Current {
		x := lineup.Event{Seq: int(e.Seq)}
		switch {
		case e.Turn != nil:
			x.Kind, x.Trim, x.Key = lineup.Turned, e.Turn.Trim, e.Turn.Key
		case e.Gate != nil:
			x.Kind, x.Step = lineup.GateDone, e.Gate.Step
			if e.Gate.Lost {
				x.Kind = lineup.GateLost
			}
		case e.Pass != nil:
			x.Kind, x.Tape = lineup.Played, e.Pass.Tape
		case e.SignOff != nil:
			x.Kind, x.Step, x.Reason, x.By = lineup.SignedOff, e.SignOff.Step, e.SignOff.Reason, e.SignOff.By
		default:
			continue
		}
		out = append(out, x)
	}
	return out
}
