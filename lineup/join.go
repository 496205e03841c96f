package lineup

import (
	"cmp"
	"slices"

	"headstack/machine"
)

// sort puts the steps in order: phase, speed, kind, trim as written, track.
func (b *builder) sort() {
	speed := func(s *Step) int {
		return slices.IndexFunc(b.d.Speeds, func(sp machine.Speed) bool { return sp.CmS == s.SpeedCmS })
	}
	trim := func(s *Step) int {
		return slices.IndexFunc(b.d.Trims, func(t machine.Trim) bool { return t.ID == s.Trim })
	}
	track := func(s *Step) int {
		if len(s.Tracks) == 0 {
			return 0
		}
		return s.Tracks[0]
	}
	slices.SortStableFunc(b.o.Steps, func(x, y Step) int {
		_, kx := infoOf(x.Kind)
		_, ky := infoOf(y.Kind)
		// The gates of the proof are for all speeds.
		if c := cmp.Compare(phaseRank[x.Phase], phaseRank[y.Phase]); c != 0 {
			return c
		}
		if c := cmp.Compare(speed(&x), speed(&y)); c != 0 {
			return c
		}
		if c := cmp.Compare(kx, ky); c != 0 {
			return c
		}
		if c := cmp.Compare(trim(&x), trim(&y)); c != 0 {
			return c
		}
		return cmp.Compare(track(&x), track(&y))
	})
}

// join writes needs and checks into the sorted steps.
func (b *builder) join() {
	o := b.o
	o.at = make(map[string]int, len(o.Steps))
	o.moved, o.needs = make([][]int, len(o.Steps)), make([][]int, len(o.Steps))
	for i, s := range o.Steps {
		o.at[s.ID] = i
	}
	all := slices.Concat(rules, b.extra)
	if b.flatBias() {
		all = append(all, cassetteRules...)
	}
	for i := range o.Steps {
		s := &o.Steps[i]
		for _, r := range all {
			if r.step == s.Kind {
				b.needs(s, i, r)
			}
		}
		if s.Kind == CaseClosed {
			b.needsAll(s)
		}
		if s.Kind.Proof() {
			b.need(s, i, CaseClosed, true, "an open case bends, warms and hums otherwise")
			b.need(s, i, FreshShell, false, "a worn shell hides what was set")
		}
		if s.Kind == Other {
			b.need(s, i, Warm, false, "what drifts is set warm")
		}
		for _, n := range s.Needs {
			o.needs[i] = append(o.needs[i], o.at[n.Step])
		}
		for _, k := range checked[s.Kind] {
			for j := range o.Steps {
				if c := &o.Steps[j]; c.Kind == k && s.on(c) && c.actsAt(s.SpeedCmS) {
					s.Checks = append(s.Checks, c.ID)
				}
			}
		}
	}
}

// flatBias tells whether bias is set for a flat response, as on cassettes, and not past
// its peak.
func (b *builder) flatBias() bool { return b.d.Medium.Kind == "cassette" }

func (b *builder) need(s *Step, i int, k Kind, moves bool, why string) {
	b.needs(s, i, rule{s.Kind, k, moves, why})
}

// needs adds what one rule asks of a step.
func (b *builder) needs(s *Step, i int, r rule) {
	for j := range b.o.Steps[:i] {
		n := &b.o.Steps[j]
		if n.Kind != r.needs || !s.on(n) || !n.actsAt(s.SpeedCmS) {
			continue
		}
		if k := slices.IndexFunc(s.Needs, func(x Need) bool { return x.Step == n.ID }); k >= 0 {
			s.Needs[k].Moves = s.Needs[k].Moves || r.moves
		} else {
			s.Needs = append(s.Needs, Need{n.ID, r.why, r.moves})
		}
		if r.moves && !slices.Contains(b.o.moved[j], i) {
			b.o.moved[j] = append(b.o.moved[j], i)
		}
	}
}

// needsAll makes a step wait for every step before the proof.
func (b *builder) needsAll(s *Step) {
	for _, n := range b.o.Steps {
		if n.Phase != PhaseProof {
			s.Needs = append(s.Needs, Need{n.ID, "the case is closed once all is set", false})
		}
	}
}
