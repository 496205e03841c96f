package signature

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"headstack/measure"
)

// ErrNoTape is returned without Options.Tape.
var ErrNoTape = errors.New("no test tape given")

// ErrNothing is returned for a report without any level of a tone.
var ErrNothing = errors.New("the report has no level of a tone: nothing to explain")

// Explain fits the report of one or more captures of a test tape with the causes that
// tape physics and electronics allow.
func Explain(rep measure.Report, opt Options) (Explanation, error) {
	if opt.Tape == nil {
		return Explanation{}, ErrNoTape
	}
	d, err := gather(rep, opt)
	if err != nil {
		return Explanation{}, err
	}
	nr := d.unstretch()
	r := explainData(d, usual(opt))
	return r.explanation(nr), nil
}

// Likelihoods weighs every cause on every track, for a diagnosis. It takes as long as
// Explain.
func Likelihoods(rep measure.Report, opt Options) (Evidence, error) {
	if opt.Tape == nil {
		return Evidence{}, ErrNoTape
	}
	d, err := gather(rep, opt)
	if err != nil {
		return Evidence{}, err
	}
	stretched := d.unstretch()
	ev := explainData(d, usual(opt)).evidence()
	for _, f := range stretched {
		for _, t := range f.Tracks {
			ev.Track[t-1][f.Cause] = math.Log(f.Probability/math.Max(1-f.Probability, 1e-9)) - math.Log(stretchChance/(1-stretchChance))
		}
	}
	return ev, nil
}

// explanation puts the result into words and numbers.
func (r *result) explanation(stretched []Finding) Explanation {
	e := Explanation{Findings: stretched, Curves: r.curves(), SetAside: r.asideSentences(), Warnings: r.d.warnings()}
	if r.d.change {
		e.Reference = "no change; after less before, levels re the mean of the tracks without a finding of gain"
	} else {
		e.Reference = "what a sound track plays: the tape's stated levels on a machine lined up to it, fringing taken off; levels of tracks re the mean of those without a finding of gain"
	}
	e.Method = fmt.Sprintf("%d figures of %d tracks fitted with up to %d causes at once of %d that were tried; probabilities are of causes given the figures, the stated chances of causes and the spreads of sound machines; intervals are 95 %% credible ones",
		r.d.figures(), len(r.d.tracks), mostSuspects, len(r.full.grids))
	groups := r.groups()
	for _, g := range groups {
		if g.p < shownProbability {
			break
		}
		f := Finding{Cause: g.best.cause, Probability: math.Min(g.p, 1), Nature: NatureOf(g.best.cause), Parameters: r.parameters(g)}
		for _, t := range g.best.tracks {
			f.Tracks = append(f.Tracks, r.d.tracks[t])
		}
		f.Sentence, f.WouldSeparate = r.sentence(g, f), r.wouldSeparate(g)
		e.Findings = append(e.Findings, f)
	}
	if p := r.noneP(); len(stretched) == 0 && p >= shownProbability {
		e.Findings = append(e.Findings, Finding{Cause: None, Tracks: []int{}, Parameters: []Parameter{}, Probability: math.Min(p, 1), Sentence: r.soundSentence()})
	}
	e.Open = r.confusions(groups)
	slices.SortStableFunc(e.Findings, func(a, b Finding) int { return cmp.Compare(b.Probability, a.Probability) })
	return e
}

// figures counts what was fitted.
func (d *data) figures() int {
	n := 0
	for t := range d.tracks {
		for i := range d.rows {
			if d.sd[t][i] != missing {
				n++
			}
		}
	}
	return n
}

// warnings are the doubts that hold for the whole.
func (d *data) warnings() []string {
	out := append([]string{}, d.warn...)
	levels := 0
	has := map[kind]bool{}
	for i, r := range d.rows {
		for t := range d.tracks {
			if d.sd[t][i] != missing {
				has[r.kind] = true
			}
		}
		if r.kind == rowLevel {
			levels++
		}
	}
	if len(d.tracks) == 1 {
		out = append(out, "one track alone: its level cannot be judged, and errors of the tape's tones count as its own; capture the other tracks too")
	}
	if len(d.tracks) > 1 && !has[rowDelay] && d.line.sd == 0 {
		out = append(out, "no delays between tracks: azimuth and electronics are told by level alone; capture tracks in pairs")
	}
	if levels < 6 {
		out = append(out, fmt.Sprintf("%d tones only: few causes can be told apart", levels))
	}
	if !has[rowNoise] {
		out = append(out, "no silent section: an open head lead cannot be told from a dead stage")
	}
	return out
}
