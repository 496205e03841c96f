package diagnosis

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"headstack/machine"
)

// When a stage is called proved or suspect.
const (
	// A stage is suspect when it is faulty with at least suspectP and the
	// evidence has at least doubled its odds.
	suspectP    = 0.05
	suspectBits = 1
	// A stage is proved good when it is faulty with at most provedP and the
	// evidence has cut its odds to a quarter or less: a small prior alone
	// proves nothing.
	provedP    = 0.01
	provedBits = -2
	// becauseBits is the least a single observation must say to be named.
	becauseBits = 0.3
	// indirectBits is the same for an observation that does not see the stage
	// and speaks for or against it only by what it says of others.
	indirectBits = 1.5
	maxBecause   = 6
)

// stageStates says for every stage instance what is known of it and by what.
func (p *problem) stageStates(post *posterior, loo [][]float64) []StageState {
	a := p.eng.atlas
	out := make([]StageState, 0, len(a.all))
	for _, in := range a.all {
		st := StageState{Stage: in.Stage.ID, Key: in.Key, Part: in.Part(), Name: in.Stage.Name, Board: in.Stage.Board,
			Status: Unknown, P: a.prior[in]}
		c, seen := p.comp[in]
		if !seen {
			st.Modes = priorModes(a, in)
			out = append(out, st)
			continue
		}
		st.P = p.now(post, c)
		st.Modes = p.modes(c, post)
		p.because(&st, c, loo)
		change := bitsOf(st.P, a.prior[in])
		switch {
		case st.P >= suspectP && change >= suspectBits:
			st.Status = Suspect
		case st.P <= provedP && change <= provedBits && len(st.ClearedBy) > 0:
			st.Status = Proved
		}
		for i := range st.ClearedBy {
			b := &st.ClearedBy[i]
			b.Text = fmt.Sprintf(speaksFor[st.Status], st.Part, b.Ref, b.Text)
		}
		out = append(out, st)
	}
	return out
}

// modes sums the bins of a component back to its fault modes.
func (p *problem) modes(c int, post *posterior) []ModeP {
	sum := map[int]float64{}
	for k, at := range p.model.components[c].atoms {
		if at.effect.until == 0 {
			sum[at.mode] += post.fault[c][k]
		}
	}
	return sortedModes(p.eng.atlas.modes[p.seen[c].Stage], sum)
}

func priorModes(a *atlas, in machine.Instance) []ModeP {
	sum := map[int]float64{}
	for i, m := range a.modes[in.Stage] {
		sum[i] = a.prior[in] * m.Weight
	}
	return sortedModes(a.modes[in.Stage], sum)
}

func sortedModes(modes []machine.FaultMode, p map[int]float64) []ModeP {
	var out []ModeP
	for i, m := range modes {
		out = append(out, ModeP{m.Mode, m.Cause, p[i]})
	}
	slices.SortStableFunc(out, func(a, b ModeP) int { return cmp.Compare(b.P, a.P) })
	return out
}

// speaksFor says what an observation that lowers the probability of a stage does to it: only
// of one that is proved it is right to say that it is cleared.
var speaksFor = map[Status]string{
	Proved:  "%s is cleared by %s: %s",
	Unknown: "%s is likelier sound by %s, which does not prove it: %s",
	Suspect: "%s is suspect, though %s speaks for it: %s",
}

// because names the observations that clear or accuse a component: how many
// bits of its log-odds each is worth beside all the others.
func (p *problem) because(st *StageState, c int, loo [][]float64) {
	for o := range p.model.obs {
		bits := bitsOf(st.P, loo[o][c])
		_, sees := p.seesAt(o, c)
		if math.Abs(bits) < becauseBits || !sees && math.Abs(bits) < indirectBits {
			continue
		}
		b := Because{Ref: p.notes[o].ref, Bits: bits}
		if bits < 0 {
			b.Text = p.notes[o].text
			st.ClearedBy = append(st.ClearedBy, b)
		} else {
			b.Text = fmt.Sprintf("%s is accused by %s: %s", st.Part, b.Ref, p.notes[o].text)
			st.AccusedBy = append(st.AccusedBy, b)
		}
	}
	st.ClearedBy = strongest(st.ClearedBy)
	st.AccusedBy = strongest(st.AccusedBy)
}

// seesAt is the place of component c on the path of observation o.
func (p *problem) seesAt(o, c int) (int, bool) {
	k := slices.Index(p.model.obs[o].path, c)
	return k, k >= 0
}

func strongest(list []Because) []Because {
	slices.SortStableFunc(list, func(a, b Because) int {
		return cmp.Or(cmp.Compare(math.Abs(b.Bits), math.Abs(a.Bits)), cmp.Compare(a.Ref, b.Ref))
	})
	return list[:min(len(list), maxBecause)]
}
