package sim

import (
	"fmt"
	"slices"
	"strconv"

	"headstack/machine"
)

// The kinds of work.
const (
	Repair = "repair" // the part replaced or its cause put right
	Clean  = "clean"
	Reseat = "reseat"
	Reflow = "reflow"
	Swap   = "swap" // exchanged with a sibling; the same once more puts both back
)

// Work is something done to one stage instance.
type Work struct {
	Kind, Stage, Key string
	With             string // replica key that a swap exchanges it with
}

// Worked says what a work did, which nobody at the bench sees.
type Worked struct {
	Cured []Fault // gone
	Slept []Fault // do not show any more and are still there
}

// Do works on the recorder. A repair takes the instance's fault away but for RepairFails
// of cases; clean, reseat and reflow cure as [machine.FaultMode.CureChance] says. A swap
// carries the faults over, of everything on the card where each replica has a card of
// its own; what is intermittent goes to sleep in FalseCure of cases. The same work done
// again has a new chance. The error is [ErrBench].
func (b *Bench) Do(w Work) (Worked, error) {
	s, ok := b.Def.Stage(w.Stage)
	if !ok {
		return Worked{}, fmt.Errorf("%w: stage %q", ErrBench, w.Stage)
	}
	keys := b.Def.ReplicaKeys(s.Each)
	if !slices.Contains(keys, w.Key) || w.Kind == Swap && (w.With == w.Key || !slices.Contains(keys, w.With)) {
		return Worked{}, fmt.Errorf("%w: %s of stage %s, key %q, with %q", ErrBench, w.Kind, w.Stage, w.Key, w.With)
	}
	if b.done == nil {
		b.done = map[Work]int{}
	}
	b.done[w]++
	var out Worked
	switch w.Kind {
	case Swap:
		out.Slept = b.swap(w, s)
	case Repair, Clean, Reseat, Reflow:
		out.Cured = b.cure(w)
	default:
		return out, fmt.Errorf("%w: work %q", ErrBench, w.Kind)
	}
	return out, nil
}

// chance is the outcome of a draw that belongs to a fault and to the n-th time that a
// work is done.
func (b *Bench) chance(w Work, f *Fault, p float64) bool {
	return b.random("work", w.Kind, w.Stage, w.Key, w.With, f.Stage, f.Cause, strconv.Itoa(b.done[w])).Float64() < p
}

func (b *Bench) cure(w Work) (cured []Fault) {
	b.Faults = slices.DeleteFunc(b.Faults, func(f Fault) bool {
		if f.Stage != w.Stage || f.Key != w.Key {
			return false
		}
		m := f.mode()
		p := 1 - b.RepairFails
		if w.Kind != Repair {
			p = m.CureChance(w.Kind)
		}
		gone := b.chance(w, &f, p)
		if gone {
			cured = append(cured, f)
		}
		return gone
	})
	return cured
}

func (b *Bench) swap(w Work, s *machine.Stage) (slept []Fault) {
	for i := range b.Faults {
		f := &b.Faults[i]
		if x, _ := b.Def.Stage(f.Stage); !b.together(s, x) {
			continue
		}
		switch f.Key {
		case w.Key:
			f.Key = w.With
		case w.With:
			f.Key = w.Key
		default:
			continue
		}
		if f.Mode == machine.Intermittent && !f.Asleep && b.chance(w, f, b.FalseCure) {
			f.Asleep = true
			slept = append(slept, *f)
		}
	}
	return slept
}

// together says whether two stages move when one of them is exchanged: they are one, or
// sit on one card of which each replica has its own.
func (b *Bench) together(s, x *machine.Stage) bool {
	if s == x {
		return true
	}
	card, ok := b.Def.Board(s.Board)
	return ok && card.Each != "" && card.Each == s.Each && x.Board == s.Board && x.Each == s.Each
}
