package signature

import (
	"math"
	"slices"
)

// evidence turns the fits into log-likelihoods of each cause on each track. What is
// found elsewhere is kept, so that a fault of one track does not speak for a cause on
// another.
func (r *result) evidence() Evidence {
	ev := Evidence{Shared: map[Cause]float64{}, GivenShared: map[Cause][]map[Cause]float64{}}
	best := r.fits[0]
	byTrack := map[int][]*suspect{}
	var shared []*suspect
	for _, s := range r.full.d.suspects() {
		switch {
		case s.cause == "":
		case len(s.tracks) == 1:
			byTrack[s.tracks[0]] = append(byTrack[s.tracks[0]], s)
		default:
			shared = append(shared, s)
		}
	}
	// Shared causes, each in place of those that the best fit has.
	kept := without(best.list, func(s *suspect) bool { return len(s.tracks) > 1 && s.cause != "" })
	base := r.full.solve(kept, nil)
	ev.Group = make([]float64, len(r.d.opt.Groups))
	for i := range ev.Group {
		ev.Group[i] = math.Inf(-1)
	}
	for _, s := range shared {
		l := r.full.likelihood(base, s)
		if s.cause == GroupGain {
			if s.group > 0 {
				ev.Group[s.group-1] = logAdd(ev.Group[s.group-1], l)
			}
			continue
		}
		old, ok := ev.Shared[s.cause]
		if !ok {
			old = math.Inf(-1)
		}
		ev.Shared[s.cause] = logAdd(old, l)
	}
	ev.SharedBoth = r.pairs(base, shared, ev.Shared)
	ev.Track = r.trackEvidence(best.list, byTrack)
	ev.Both = make([]map[Pair]float64, len(ev.Track))
	for t, track := range r.d.tracks {
		rest := without(best.list, func(s *suspect) bool { return len(s.tracks) == 1 && s.tracks[0] == t })
		ev.Both[track-1] = r.pairs(r.full.solve(rest, nil), byTrack[t], ev.Track[track-1])
	}
	for c, l := range ev.Shared {
		if l < relevant {
			continue
		}
		// The variant of this cause that fits best stands for it.
		var top *suspect
		score := math.Inf(-1)
		for _, s := range shared {
			if s.cause == c {
				if v := r.full.likelihood(base, s); v > score {
					top, score = s, v
				}
			}
		}
		list := append(slices.Clone(kept), top)
		ev.GivenShared[c] = r.trackEvidence(list, byTrack)
	}
	return ev
}

// relevant is the log-likelihood above which a shared cause may hide causes of single
// tracks.
const relevant = 1

// trackEvidence is the log-likelihood of each cause on each track on top of what list has
// on the others and on all.
func (r *result) trackEvidence(list []*suspect, byTrack map[int][]*suspect) []map[Cause]float64 {
	out := make([]map[Cause]float64, len(r.d.opt.Geometry.Tracks))
	for t, track := range r.d.tracks {
		m := map[Cause]float64{}
		rest := without(list, func(s *suspect) bool { return len(s.tracks) == 1 && s.tracks[0] == t })
		base := r.full.solve(rest, nil)
		sums := map[Cause]float64{}
		for _, s := range byTrack[t] {
			l := r.full.likelihood(base, s) + s.within()
			if old, ok := sums[s.cause]; ok {
				l = logAdd(old, l)
			}
			sums[s.cause] = l
		}
		for c, l := range sums {
			m[c] = l
		}
		out[track-1] = m
	}
	return out
}

// within is the log weight of a suspect among those of its finding.
func (s *suspect) within() float64 {
	if s.cause == Gain { // the only finding of several suspects on one track
		switch {
		case len(s.params) > 1:
			return math.Log(0.05)
		case s.params[0].sign > 0:
			return math.Log(0.2)
		}
		return math.Log(0.75)
	}
	return 0
}

// likelihood is the log Bayes factor of a suspect on top of a fit, without its prior odds.
func (f *fitter) likelihood(base *fit, s *suspect) float64 {
	q, _ := f.promise(base, base.chol.inverse(), s)
	h := f.solve(append(slices.Clone(base.list), s), append(slices.Clone(base.q), q...))
	return h.score - s.prior - base.score
}

func without(list []*suspect, drop func(*suspect) bool) []*suspect {
	return slices.DeleteFunc(slices.Clone(list), drop)
}

// logAdd is ln(eᵃ + eᵇ).
func logAdd(a, b float64) float64 {
	if math.IsInf(a, -1) {
		return b
	}
	if math.IsInf(b, -1) {
		return a
	}
	m := math.Max(a, b)
	return m + math.Log(math.Exp(a-m)+math.Exp(b-m))
}
