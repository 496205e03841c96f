package diagnosis

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"headstack/machine"
	"headstack/unit"
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
		st.P = post.faulty(c)
		st.Modes = p.modes(c, post)
		p.because(&st, c, loo)
		change := bitsOf(st.P, a.prior[in])
		switch {
		case st.P >= suspectP && change >= suspectBits:
			st.Status = Suspect
		case st.P <= provedP && change <= provedBits && len(st.ClearedBy) > 0:
			st.Status = Proved
		}
		out = append(out, st)
	}
	return out
}

// modes sums the bins of a component back to its fault modes.
func (p *problem) modes(c int, post *posterior) []ModeP {
	sum := map[int]float64{}
	for k, at := range p.model.components[c].atoms {
		sum[at.mode] += post.fault[c][k]
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
			b.Text = fmt.Sprintf("%s is cleared by %s: %s", st.Part, b.Ref, p.notes[o].text)
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

// doubtP is the probability of being wrong from which an observation is better
// taken again, and doubtTimes by how much it must exceed its prior.
const (
	doubtP     = 0.25
	doubtTimes = 3
)

// tryAgain begins the doubt of a check.
const tryAgain = "Try again before building on it"

// doubts lists the observations that the rest contradicts, worst first.
func (p *problem) doubts(post *posterior) []Doubt {
	var out []Doubt
	for o, states := range post.wrong {
		wrong := 1 - states[0]
		if wrong < doubtP || wrong < doubtTimes*p.priorWrong(o) {
			continue
		}
		n := &p.notes[o]
		out = append(out, Doubt{Ref: n.ref, P: wrong, Text: p.doubtText(n, states, wrong)})
	}
	slices.SortStableFunc(out, func(a, b Doubt) int { return cmp.Or(cmp.Compare(b.P, a.P), cmp.Compare(a.Ref, b.Ref)) })
	return out
}

// priorWrong is the probability that an observation of this kind is wrong.
func (p *problem) priorWrong(o int) float64 {
	if n := p.notes[o]; n.shape != nil {
		return n.shape.wrong
	}
	if p.model.obs[o].states != readStates {
		return 0.02
	}
	if pin := p.notes[o].point; pin != nil && pin.Connector != "" {
		return wrongPin + typingSlip
	}
	return wrongSpot + typingSlip
}

func (p *problem) doubtText(n *note, states []float64, wrong float64) string {
	if n.check != nil {
		return fmt.Sprintf(tryAgain+": %s says %s, which the rest contradicts (wrong with %s).", n.ref, n.text, unit.Probability(wrong))
	}
	again := fmt.Sprintf("Re-take %s first", n.ref)
	if n.shape != nil && len(n.shape.keys) > 1 {
		why := "It does not fit the rest"
		if wrong > 0.9 {
			why = "No stage as described does that"
		}
		return fmt.Sprintf("%s: %s. %s (wrong with %s). Is the tape what it is said to be, and does every switch stand where it should?",
			capital(n.ref), n.text, why, unit.Probability(wrong))
	}
	if n.measure != "" {
		return fmt.Sprintf("Capture again before building on %s: %s does not fit the rest (wrong with %s). Is the channel the track it is said to be?", n.ref, n.text, unit.Probability(wrong))
	}
	worst := readSpot
	for k := readSpot; k < readStates; k++ {
		if states[k] > states[worst] {
			worst = k
		}
	}
	switch worst {
	case readUp:
		return fmt.Sprintf("%s: %s is about 1000 times what fits the rest. Unit slip, mV read as V? (wrong with %s)", again, n.text, unit.Probability(wrong))
	case readDown:
		return fmt.Sprintf("%s: %s is about a thousandth of what fits the rest. Unit slip, V read as mV? (wrong with %s)", again, n.text, unit.Probability(wrong))
	case readTrack:
		return fmt.Sprintf("%s: %s looks like another track's. Wrong track probed, or solo left on? (wrong with %s)", again, n.text, unit.Probability(wrong))
	}
	why := "Wrong spot, or mistyped?"
	if c, ok := p.eng.def.Connector(n.point.Connector); ok && c.Mirrored {
		why = "Wrong pin: " + c.ID + " is mirrored, its pins run the other way on the other board. Or mistyped?"
	} else if n.point.Connector != "" {
		why = "Wrong pin or wrong side of " + n.point.Connector + ", or mistyped?"
	}
	return fmt.Sprintf("%s with a fresh probe: %s does not fit the rest (wrong with %s). %s", again, n.text, unit.Probability(wrong), why)
}
