package signature

import (
	"cmp"
	"math"
	"slices"
)

// result is what a search over hypotheses gives.
type result struct {
	d        *data
	s        spread
	full     *fitter // with which hypotheses are weighed
	bare     *fitter // with which parameters are stated
	fits     []*fit  // best first
	p        []float64
	estimate []*estimate // of the most probable hypotheses
}

// Limits of what is worked out further.
const (
	shownProbability = 0.02 // findings below are not listed
	estimated        = 6    // hypotheses whose parameters are stated
)

// explainData searches twice: once with the usual spreads, once with those that the
// figures themselves show.
func explainData(d *data, s spread) *result {
	list := d.suspects()
	full := newFitter(d, s, false)
	fits := full.search(list)
	learned, changed := full.learn(s, fits[0])
	if changed {
		s.toneDB = learned.toneDB
		s.delayScale = math.Max(1, learned.delayScale)
		s.gapUm = math.Max(learned.gapUm, s.gapUm/10)
		s.eachDB = math.Max(learned.eachDB, leastEachDB)
		full = newFitter(d, s, false)
		fits = full.search(list)
	}
	s = learned
	r := &result{d: d, s: s, full: full, fits: fits, bare: newFitter(d, s, true)}
	top, sum := fits[0].score, 0.0
	for _, h := range fits {
		sum += math.Exp(h.score - top)
	}
	for _, h := range fits {
		r.p = append(r.p, math.Exp(h.score-top)/sum)
	}
	for i, h := range fits[:min(estimated, len(fits))] {
		if i == 0 || r.p[i] > 0.01 {
			r.estimate = append(r.estimate, r.bare.estimate(h, s, r.p[i]))
		}
	}
	return r
}

// leastEachDB is what a law may miss by on a faulty track even where sound tracks agree
// better: without it small misfits of the laws would be taken for further causes.
const leastEachDB = 0.04

// How firmly the usual spreads are believed, in figures.
const (
	toneBelief = 16
	eachBelief = 3
)

// learn scales the spreads of the tones and of single figures to what the best
// hypothesis leaves. changed is false where the difference is too small to matter.
func (f *fitter) learn(s spread, h *fit) (_ spread, changed bool) {
	u, lean := f.w.shared(h.r), f.w.leans(h.r)
	cols := make([][]float64, len(f.d.tracks))
	for t := range cols {
		cols[t] = slices.Clone(u)
		for r, a := range lean {
			cols[t][r] += a * f.d.lean(t)
		}
	}
	own := h.r.clone()
	own.plus(-1, f.w.of(cols))
	each, n := 0.0, 0
	for t, rows := range f.w.dense {
		for _, r := range rows {
			if f.d.rows[r].kind == rowLevel {
				each += sq(own.xi[t][r])
				n++
			}
		}
	}
	tones := 0
	c := f.d.commonCovariance(s)
	var level []int
	for i, r := range f.d.rows {
		if r.kind == rowLevel {
			tones++
			level = append(level, i)
		}
	}
	sub, ul := newMatrix(tones), make([]float64, tones)
	for i, a := range level {
		ul[i] = u[a]
		for j, b := range level {
			sub.set(i, j, c.at(a, b))
		}
	}
	l, ok := cholesky(sub)
	if !ok {
		return s, false
	}
	l.forward(ul, ul)
	tone := dot(ul, ul)
	dof := float64(n - tones - len(h.params))
	k2 := (eachBelief + each) / (eachBelief + math.Max(0, dof))
	t2 := (toneBelief + tone) / (toneBelief + math.Max(1, float64(tones-2)))
	if len(f.d.tracks) < 2 {
		k2 = 1 // tone errors and single figures are one
	}
	out := s
	out.gapUm = s.gapUm * math.Sqrt(f.scatterScale(s, h, u, lean))
	out.delayScale = s.delayScale * math.Sqrt(f.delayScale(own, h))
	out.eachDB *= math.Sqrt(clamp(k2, 0.01, 9))
	out.fringing *= math.Sqrt(clamp(k2, 0.01, 9))
	out.toneDB *= math.Sqrt(clamp(t2, 0.1, 9))
	return out, math.Abs(math.Log(k2)) > 0.1 || math.Abs(math.Log(t2)) > 0.1
}

// delayBelief is how firmly the usual scatter of delays is believed, in figures.
const delayBelief = 0.02

// delayScale is the factor on the variance of the delays that their residuals show.
func (f *fitter) delayScale(own *vec, h *fit) float64 {
	sum, n, rows := 0.0, 0, 0
	for r, row := range f.d.rows {
		if row.kind != rowDelay {
			continue
		}
		rows++
		for t := range f.d.tracks {
			if f.d.sd[t][r] != missing {
				sum += sq(own.xi[t][r])
				n++
			}
		}
	}
	dof := float64(n - 2*rows - len(h.params))
	if dof <= 0 {
		return 1
	}
	return clamp((delayBelief+sum)/(delayBelief+dof), 1e-6, 9)
}

// scatterScale is the factor on the variance of the scatter of gaps that the mean delays
// of the tracks show, all tones together.
func (f *fitter) scatterScale(s spread, h *fit, u, lean []float64) float64 {
	sum, n := 0.0, 0
	col := make([]float64, len(f.d.rows))
	for t := range f.d.tracks {
		left, count := 0.0, 0
		made := make([]float64, len(f.d.rows))
		for i, p := range h.params {
			if p.weight(t) != 0 {
				f.d.law(p, p.value(h.q[i]), t, col)
				for r := range made {
					made[r] += col[r]
				}
			}
		}
		for r, row := range f.d.rows {
			if row.kind == rowDelay && f.d.sd[t][r] != missing {
				left += f.d.y[t][r] - u[r] - lean[r]*f.d.lean(t) - made[r]
				count++
			}
		}
		if count > 0 {
			sum += sq(left / float64(count) / (s.gapUm * 1e-6 / f.d.playedSpeed() * 1e6))
			n++
		}
	}
	return clamp((delayBelief+sum)/(delayBelief+math.Max(1, float64(n-2))), 1e-6, 30)
}

func clamp(x, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, x)) }

// group is a finding in the making: all suspects of one key.
type group struct {
	key  string
	best *suspect
	p    float64
}

// groups are the findings with their probabilities, most probable first.
func (r *result) groups() []group {
	index := map[string]int{}
	var out []group
	for i, h := range r.fits {
		for _, s := range h.list {
			if s.cause == "" {
				continue
			}
			at, ok := index[s.key]
			if !ok {
				at = len(out)
				index[s.key] = at
				out = append(out, group{key: s.key, best: s})
			}
			out[at].p += r.p[i]
		}
	}
	slices.SortStableFunc(out, func(a, b group) int { return cmp.Compare(b.p, a.p) })
	return out
}

// noneP is the probability that there is no cause.
func (r *result) noneP() float64 {
	p := 0.0
	for i, h := range r.fits {
		if !slices.ContainsFunc(h.list, func(s *suspect) bool { return s.cause != "" }) {
			p += r.p[i]
		}
	}
	return p
}

// parameters states the numbers of a finding.
func (r *result) parameters(g group) []Parameter {
	var out []Parameter
	add := func(name, unit string, track int, of func(e *estimate, s *suspect) (number, bool)) {
		var list []number
		for _, e := range r.estimate {
			for _, s := range e.list {
				if s.key == g.key {
					if n, ok := of(e, s); ok {
						list = append(list, n)
					}
				}
			}
		}
		if len(list) == 0 {
			return
		}
		p := Parameter{Name: name, Unit: unit, Track: track}
		p.Value, p.Lo, p.Hi = mixed(list)
		out = append(out, p)
	}
	scale := func(fam family, factor float64) func(e *estimate, s *suspect) (number, bool) {
		return func(e *estimate, s *suspect) (number, bool) {
			for _, p := range s.params {
				if p.fam == fam {
					n := e.scaleOf(p)
					n.mean += math.Log(factor)
					return n, true
				}
			}
			return number{}, false
		}
	}
	numbers := r.d.tracks
	alone := 0
	if len(g.best.tracks) == 1 {
		alone = numbers[g.best.tracks[0]]
	}
	switch g.best.cause {
	case Gain, GroupGain, UnsteadyJoint, Height, HeadOpen:
		if g.best.cause == Height {
			break
		}
		for _, t := range g.best.tracks {
			add(GainDB, "dB", numbers[t], func(e *estimate, s *suspect) (number, bool) {
				return e.gainOf(t), s.hasFamily(byGain)
			})
		}
	case Spacing, SpacingRamp, UnsteadyContact:
		for _, t := range g.best.tracks {
			add(SpacingUm, "µm", numbers[t], func(e *estimate, s *suspect) (number, bool) { return e.spacingOf(t), true })
		}
	case Azimuth:
		add(AzimuthArcmin, "arcmin", 0, func(e *estimate, s *suspect) (number, bool) { return e.azimuth(), true })
	case GapWear:
		add(GapUm, "µm", alone, scale(byGap, 1))
	case LowCorner:
		add(CornerHz, "Hz", alone, scale(byLow, 1))
	case HighCorner:
		add(CornerHz, "Hz", alone, scale(byHigh, 1))
	case Equalisation:
		add(CornerHz, "Hz", alone, func(e *estimate, s *suspect) (number, bool) {
			n := e.scaleOf(s.params[0])
			n.mean = -n.mean + math.Log(1e6/(2*math.Pi*s.params[0].replay.HighUs))
			return n, true
		})
	}
	return out
}

func (s *suspect) hasFamily(f family) bool {
	return slices.ContainsFunc(s.params, func(p *param) bool { return p.fam == f })
}
