package diagnosis

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/unit"
)

// maxSubsets is how many parts of the evidence are weighed to find sets that suffice, not
// counting those that make a found set smallest, and maxBy the most observations that such
// a set is looked for in.
const (
	maxSubsets = 60
	maxBy      = 6
	// reducedBudget is up to how many row evaluations a part is summed in full.
	reducedBudget = 2e4
	// claimMargin keeps what is claimed clear of the threshold by more than a part's sum
	// may be off.
	claimMargin = 1.05
)

// cleared says whether a stage is proved good by a posterior: see provedP.
func clearedAt(now, prior float64) bool {
	return now <= provedP && bitsOf(now, prior) <= provedBits
}

// suspectAt says whether a stage is suspect: see suspectP.
func suspectAt(now, prior float64) bool {
	return now >= suspectP && bitsOf(now, prior) >= suspectBits
}

// reduced weighs parts of the evidence: what would be known by a few observations
// alone, the works being as they are.
type reduced struct {
	p    *problem
	ev   Evidence
	ctx  context.Context
	memo map[string]map[machine.Instance]float64
	left int
}

func (p *problem) reduce(ctx context.Context, ev Evidence) *reduced {
	return &reduced{p: p, ev: ev, ctx: ctx, memo: map[string]map[machine.Instance]float64{}, left: maxSubsets}
}

// only is the evidence of some references.
func (ev Evidence) only(refs []string) Evidence {
	out := Evidence{Works: ev.Works, Instruments: ev.Instruments}
	for _, c := range ev.Checks {
		if slices.Contains(refs, c.Ref) {
			out.Checks = append(out.Checks, c)
		}
	}
	for _, r := range ev.Readings {
		if slices.Contains(refs, r.Ref) {
			out.Readings = append(out.Readings, r)
		}
	}
	for _, m := range ev.Measures {
		if slices.Contains(refs, m.Ref) {
			out.Measures = append(out.Measures, m)
		}
	}
	return out
}

// faulty is the probability that each stage that the observations see is faulty now,
// by them alone; ok is false where that was not weighed: enough has been already.
func (r *reduced) faulty(refs []string) (by map[machine.Instance]float64, ok bool) {
	refs = slices.Clone(refs)
	slices.Sort(refs)
	key := strings.Join(refs, "\x00")
	if m, done := r.memo[key]; done {
		return m, m != nil
	}
	if r.left--; r.left < 0 {
		return nil, false
	}
	r.memo[key] = nil
	p, err := r.p.eng.build(r.ev.only(refs))
	if err != nil {
		return nil, false
	}
	sum := newSolver(p.model)
	sum.budget = reducedBudget
	post, err := sum.solve(r.ctx)
	if err != nil {
		return nil, false
	}
	out := map[machine.Instance]float64{}
	for c, in := range p.seen {
		out[in] = p.now(post, c)
	}
	r.memo[key] = out
	return out, true
}

// smallest finds a set of observations of which none can be left out and that by itself
// makes a stage what enough says. The candidates are tried in their order. Where there is
// none, tried says that all were weighed that are looked at.
func (r *reduced) smallest(in machine.Instance, candidates []string, enough func(now, prior float64) bool) (by []string, tried bool) {
	prior := r.p.eng.atlas.prior[in]
	tried = true
	suffices := func(refs []string) bool {
		m, ok := r.faulty(refs)
		if !ok {
			tried = false
			return false
		}
		now, seen := m[in]
		return seen && enough(now*claimMargin, prior) && enough(now/claimMargin, prior)
	}
	var set []string
	for _, ref := range candidates[:min(len(candidates), maxBy)] {
		set = append(set, ref)
		if suffices(set) {
			// A set that is claimed is thinned to its end, whatever has been weighed before.
			left := r.left
			r.left = math.MaxInt
			set = r.thin(set, suffices)
			r.left = left
			return set, tried
		}
	}
	return nil, tried
}

// thin leaves out what is not needed.
func (r *reduced) thin(set []string, suffices func([]string) bool) []string {
	for i := 0; i < len(set) && len(set) > 1; {
		if less := slices.Delete(slices.Clone(set), i, i+1); suffices(less) {
			set = less
		} else {
			i++
		}
	}
	return set
}

// bearing lists the references of the observations that bear on component c, the
// heaviest first, for (sign 1) or against (−1) its fault.
func (p *problem) bearing(c int, now float64, loo [][]float64, sign float64) []string {
	bits := map[string]float64{}
	var refs []string
	for o := range p.model.obs {
		_, sees := p.seesAt(o, c)
		b := sign * bitsOf(now, loo[o][c])
		if !sees && b < indirectBits {
			continue
		}
		ref := p.notes[o].ref
		if _, ok := bits[ref]; !ok {
			refs = append(refs, ref)
		}
		bits[ref] += b
	}
	slices.SortStableFunc(refs, func(a, b string) int { return cmp.Compare(bits[b], bits[a]) })
	return refs
}

// explainStages fills in by what stages are suspect and cleared. loo is the fault of
// every component with each observation left out. The error is the context's.
func (p *problem) explainStages(ctx context.Context, post *posterior, loo [][]float64, ev Evidence, out *Advice) error {
	r := p.reduce(ctx, ev)
	for i := range out.Suspects {
		s := &out.Suspects[i]
		in, c := p.find(s.Stage, s.Track)
		by, tried := r.smallest(in, p.bearing(c, s.Probability, loo, 1), suspectAt)
		if by == nil {
			s.Why = together(s, tried)
			continue
		}
		s.By = by
		m, _ := r.faulty(by)
		s.Why = fmt.Sprintf("%s is suspect: %s alone %s it %s; with everything it is %s.", s.Part, p.cited(by, c, s.Probability, loo), plural(len(by), "makes", "make"), percent(m[in]), percent(s.Probability))
	}
	for c, in := range p.seen {
		now := p.now(post, c)
		if !clearedAt(now, p.model.components[c].prior) {
			continue
		}
		by, _ := r.smallest(in, p.bearing(c, now, loo, -1), clearedAt)
		if by == nil {
			continue // not by a few observations: it is not claimed
		}
		m, _ := r.faulty(by)
		out.Cleared = append(out.Cleared, ClearedStage{Stage: in.Stage.ID, Track: in.Key, Part: in.Part(), By: by,
			Why: fmt.Sprintf("%s is cleared: %s alone %s it from %s to %s.", in.Part(), p.cited(by, c, now, loo), plural(len(by), "brings", "bring"), percent(p.model.components[c].prior), percent(m[in]))})
	}
	slices.SortStableFunc(out.Cleared, func(a, b ClearedStage) int {
		return cmp.Or(compareKeys(a.Track, b.Track), cmp.Compare(a.Stage, b.Stage))
	})
	return ctx.Err()
}

// together says that a suspicion rests on no few observations; where not all that are
// looked at were weighed, only that it rests on everything.
func together(s *SuspectStage, tried bool) string {
	text := fmt.Sprintf("%s is suspect with %s by all of the evidence together", s.Part, percent(s.Probability))
	if tried {
		text += "; no few observations suffice"
	}
	return text + "."
}

func plural(n int, one, more string) string {
	if n == 1 {
		return one
	}
	return more
}

// find is the instance of a stage and its component.
func (p *problem) find(stage, key string) (machine.Instance, int) {
	for c, in := range p.seen {
		if in.Stage.ID == stage && in.Key == key {
			return in, c
		}
	}
	return machine.Instance{}, -1
}

// cited names observations with what they were: "reading 7 (98 mV at TP11-3, 100 mV
// expected)".
func (p *problem) cited(refs []string, c int, now float64, loo [][]float64) string {
	var out []string
	for _, ref := range refs {
		what, most := "", -1.0
		for o := range p.notes { // of a capture, what says most of this stage
			if bits := math.Abs(bitsOf(now, loo[o][c])); p.notes[o].ref == ref && bits > most {
				what, most = p.notes[o].text, bits
			}
		}
		out = append(out, fmt.Sprintf("%s (%s)", ref, what))
	}
	return listed(out)
}

// percent states a probability that may be small.
func percent(p float64) string {
	if p >= 0.01 {
		return unit.Probability(p)
	}
	return fmt.Sprintf("%.2g %%", 100*p)
}
