package signature

import (
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

// Compare fits the difference of two reports of the same tape on the same machine, after
// less before, as changes of spacing, azimuth, gain or corner. Parameters are changes.
// between says what was done, as "pressing the shell".
func Compare(before, after measure.Report, between string, opt Options) (Explanation, error) {
	if opt.Tape == nil {
		return Explanation{}, ErrNoTape
	}
	return Explanation{}, errors.New("not yet")
}

// explanation puts the result into words and numbers.
func (r *result) explanation(stretched []Finding) Explanation {
	var e Explanation
	e.Findings = append(e.Findings, stretched...)
	for _, g := range r.groups() {
		if g.p < shownProbability {
			break
		}
		f := Finding{Cause: g.best.cause, Probability: g.p, Nature: NatureOf(g.best.cause), Parameters: r.parameters(g)}
		for _, t := range g.best.tracks {
			f.Tracks = append(f.Tracks, r.d.tracks[t])
		}
		e.Findings = append(e.Findings, f)
	}
	if p := r.noneP(); len(stretched) == 0 && p >= shownProbability {
		e.Findings = append(e.Findings, Finding{Cause: None, Tracks: []int{}, Parameters: []Parameter{}, Probability: p})
	}
	slices.SortStableFunc(e.Findings, func(a, b Finding) int {
		switch {
		case a.Probability > b.Probability:
			return -1
		case a.Probability < b.Probability:
			return 1
		}
		return 0
	})
	return e
}

// Dump is for debugging.
func Dump(rep measure.Report, opt Options) []string {
	d, _ := gather(rep, opt)
	d.unstretch()
	r := explainData(d, usual(opt))
	var out []string
	for i, h := range r.fits[:12] {
		s := ""
		for j, p := range h.params {
			s += " " + itoa(int(p.fam)) + ":" + fmt.Sprintf("%.4f", p.value(h.q[j]))
		}
		out = append(out, fmt.Sprintf("%.4f %.2f %s | %s chi2 %.1f", r.p[i], h.score, keyOf(h.list), s, h.r.inner(h.r)))
	}
	h := r.fits[0]
	u := r.full.w.shared(h.r)
	for i, row := range d.rows {
		if row.kind != rowLevel && row.kind != rowDelay {
			continue
		}
		s := fmt.Sprintf("%d %g u %.2f:", row.kind, row.hz, u[i])
		for t := range d.tracks {
			res := d.y[t][i] - u[i]
			for j, p := range h.params {
				col := make([]float64, len(d.rows))
				d.law(p, p.value(h.q[j]), t, col)
				res -= col[i]
			}
			if d.sd[t][i] == missing {
				res = 99
			}
			s += fmt.Sprintf(" %.2f", res)
		}
		out = append(out, s)
	}
	out = append(out, fmt.Sprintf("each %.3f tone %.3f", r.s.eachDB, r.s.toneDB))
	return out
}
