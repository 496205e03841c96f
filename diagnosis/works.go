package diagnosis

import (
	"cmp"
	"fmt"
	"slices"

	"headstack/machine"
	"headstack/measure"
)

// What works do, as probabilities (common practice, no source).
const (
	repairCures   = 0.98 // the rest: a wrong or faulty part, a joint missed
	swapReseats   = 0.15 // intermittent faults cured by the exchange alone
	workedLeast   = 1e-4 // chance of a cure below which a work is passed over
	returnsProven = 0.05 // inside thirty days, the cause shown
	returnsOpen   = 0.25 // gone after cleaning, reseating, reflow: 20 to 30 %
)

// lookAt is how an observation was made: a provocation goes before the case state.
func lookAt(seq int64, p Provocation, c measure.CaseState) look {
	return look{seq, cmp.Or(string(p), string(c))}
}

// addWorks takes the works in. The error says which is not of this recorder.
func (p *problem) addWorks(list []Work) error {
	def := p.eng.def
	for _, w := range list {
		s, ok := def.Stage(w.Stage)
		if !ok {
			return fmt.Errorf("diagnosis: %s: machine %s has no stage %q", w.Ref, def.ID, w.Stage)
		}
		keys := def.ReplicaKeys(s.Each)
		if !slices.Contains(keys, w.Key) {
			return fmt.Errorf("diagnosis: %s: stage %s has no %q; it has %q", w.Ref, s.ID, w.Key, keys)
		}
		switch w.Kind {
		case WorkRepair, WorkClean, WorkReseat, WorkReflow:
		case WorkSwap:
			if w.With == w.Key || !slices.Contains(keys, w.With) {
				return fmt.Errorf("diagnosis: %s: %s cannot be exchanged with %q; it has %q", w.Ref, s.ID, w.With, keys)
			}
		default:
			return fmt.Errorf("diagnosis: %s: work %q is none of repair, clean, reseat, reflow, swap", w.Ref, w.Kind)
		}
	}
	p.works = slices.Clone(list)
	slices.SortStableFunc(p.works, func(a, b Work) int { return cmp.Or(cmp.Compare(a.Seq, b.Seq), cmp.Compare(a.Ref, b.Ref)) })
	return nil
}

// placed is the instance that stands in the place of in at the present look, after
// the swaps before it.
func (p *problem) placed(in machine.Instance) machine.Instance {
	for i := len(p.works) - 1; i >= 0; i-- {
		w := &p.works[i]
		if w.Kind != WorkSwap || w.Seq >= p.look.seq || !p.eng.movesWith(w.Stage, in.Stage) {
			continue
		}
		switch in.Key {
		case w.Key:
			in.Key = w.With
		case w.With:
			in.Key = w.Key
		}
	}
	return in
}

// movesWith says whether an exchange of stage moves s: the stage itself, and, where it
// sits on a card of which each replica has one, everything on the card.
func (e *Engine) movesWith(stage string, s *machine.Stage) bool {
	if s.ID == stage {
		return true
	}
	w, _ := e.def.Stage(stage)
	b, ok := e.def.Board(w.Board)
	return ok && b.Each != "" && b.Each == w.Each && s.Board == w.Board && s.Each == w.Each
}

// outcomes splits the fault modes of a stage instance by which work, if any, cured
// them: a cured fault is seen by what was observed before, not by what came after.
func (p *problem) outcomes(in machine.Instance, atoms []atom) []atom {
	for i := range p.works {
		w := &p.works[i]
		if !p.eng.worksOn(w, in) {
			continue
		}
		var out []atom
		for _, a := range atoms {
			cure := p.eng.cureChance(w, in, a)
			if a.effect.until > 0 || cure < workedLeast {
				out = append(out, a)
				continue
			}
			cured, left := a, a
			cured.weight, cured.effect.until = a.weight*cure, w.Seq
			left.weight = a.weight * (1 - cure)
			out = append(out, cured)
			if left.weight > 0 {
				out = append(out, left)
			}
		}
		atoms = out
	}
	return atoms
}

// worksOn says whether a work may have changed an instance.
func (e *Engine) worksOn(w *Work, in machine.Instance) bool {
	if w.Kind == WorkSwap {
		return (in.Key == w.Key || in.Key == w.With) && e.movesWith(w.Stage, in.Stage)
	}
	return in.Stage.ID == w.Stage && in.Key == w.Key
}

// cureChance is the probability that a work cures a fault.
func (e *Engine) cureChance(w *Work, in machine.Instance, a atom) float64 {
	m := &e.atlas.modes[in.Stage][a.mode]
	switch w.Kind {
	case WorkRepair:
		return repairCures
	case WorkSwap:
		if m.Mode == machine.Intermittent {
			return swapReseats
		}
		return 0
	}
	return m.CureChance(string(w.Kind))
}

// now is the probability that a component is faulty as things stand.
func (p *problem) now(post *posterior, c int) float64 {
	sum := 0.0
	for k, at := range p.model.components[c].atoms {
		if at.effect.until == 0 {
			sum += post.fault[c][k]
		}
	}
	return sum
}
