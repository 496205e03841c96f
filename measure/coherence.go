package measure

import (
	"fmt"
	"math"
	"slices"
)

const (
	// flickerSeen is the least flicker, dB r.m.s., lower end of its interval, whose
	// course is compared between tracks.
	flickerSeen = 0.03
	// togetherLeast is the correlation from which tracks are said to move together.
	togetherLeast = 0.6
	// outstanding is how many times the others' flicker makes a track stand out.
	outstanding = 2
	// smoothModes on either side are averaged for the spectrum of a course.
	smoothModes = 4
)

// corr is the correlation of two courses.
type corr struct{ value, lo, hi, samples float64 }

// correlate compares two courses at the same moments:
//
//	r = Σ a·b / √((Σa² − noise)·(Σb² − noise))
//
// over the modes of the band. Noise is taken to be independent between tracks. The
// interval is Fisher's z with an effective number of samples, from the two spectra:
// n = Σs·Σt / Σs·t (M. S. Bartlett, J. Roy. Statist. Soc. 98, 1935, in the frequency
// domain).
func correlate(a, b *course) (corr, bool) {
	first, end := max(a.first, b.first), min(a.first+len(a.modes), b.first+len(b.modes))
	if len(a.y) != len(b.y) || end-first < 8 {
		return corr{}, false
	}
	x, y := a.modes[first-a.first:end-a.first], b.modes[first-b.first:end-b.first]
	var xx, yy, xy float64
	for i := range x {
		xx += x[i] * x[i]
		yy += y[i] * y[i]
		xy += x[i] * y[i]
	}
	s, t := smoothed(x), smoothed(y)
	var ss, tt, st float64
	for i := range s {
		ss += s[i]
		tt += t[i]
		st += s[i] * t[i]
	}
	keep := math.Sqrt((1 - a.noiseShare()) * (1 - b.noiseShare()))
	n := ss * tt / st
	if !(xx*yy > 0) || !(keep > 0) || !(n > 4) {
		return corr{}, false
	}
	r := math.Max(-0.999999, math.Min(0.999999, xy/math.Sqrt(xx*yy)))
	z, h := math.Atanh(r), 1.959964/math.Sqrt(n-3)
	clear := func(r float64) float64 { return math.Max(-1, math.Min(1, r/keep)) }
	return corr{clear(r), clear(math.Tanh(z - h)), clear(math.Tanh(z + h)), n}, true
}

// noiseShare is the part of the course that is noise.
func (c *course) noiseShare() float64 {
	return math.Min(1, c.noise.Value/math.Max(c.power.Value, 1e-30))
}

// smoothed is the running mean of the squares.
func smoothed(x []float64) []float64 {
	out := make([]float64, len(x))
	for i := range x {
		lo, hi := max(0, i-smoothModes), min(len(x), i+smoothModes+1)
		for _, v := range x[lo:hi] {
			out[i] += v * v / float64(hi-lo)
		}
	}
	return out
}

// coherences gives the correlation of neighbouring tracks and of the outer two in one
// section, and for each channel what all of them together tell.
func (s *session) coherences(cs *courses) (together map[int]string, out []Result) {
	order := cs.t.order
	if len(order) < 2 {
		return nil, nil
	}
	sec := func(track, trackB int) Result {
		r := s.toneResult("flicker_coherence", "", cs.t, cs.index, track, 0)
		r.TrackB, r.Unit = trackB, "correlation"
		r.Reference = "0: independent, 1: the levels move together"
		return r
	}
	var live []int
	for _, c := range order {
		if k := cs.of[c]; k != nil && k.why == "" {
			if _, lo, _ := k.net(); rootOf(lo) > flickerSeen {
				live = append(live, c)
			}
		}
	}
	if len(live) < 2 {
		why := cs.why
		if why == "" {
			why = fmt.Sprintf("no two tracks flicker by more than %.2f dB r.m.s.", flickerSeen)
		}
		return s.judgeTracks(cs, live, nil), []Result{sec(0, 0).refuse(why)}
	}
	of := map[[2]int]corr{}
	for i, a := range live {
		for j, b := range live[i+1:] {
			k, ok := correlate(cs.of[a], cs.of[b])
			if !ok {
				continue
			}
			of[[2]int{a, b}] = k
			if j > 0 && !(i == 0 && i+1+j == len(live)-1) {
				continue // told to the person: neighbours and the outer two
			}
			r := sec(cs.t.tracks[a], cs.t.tracks[b])
			r.Value, r.Lo, r.Hi = k.value, k.lo, k.hi
			r.Method = fmt.Sprintf("correlation of the two levels from %.1f to %.3g Hz at the same moments, noise allowed for; interval by Fisher's z with %.0f effective samples", flickerLoHz, cs.of[a].hiHz, k.samples)
			out = append(out, r)
		}
	}
	return s.judgeTracks(cs, live, of), out
}

// judgeTracks says in words how the tracks flicker together, for each channel that it
// concerns.
func (s *session) judgeTracks(cs *courses, live []int, of map[[2]int]corr) map[int]string {
	words := map[int]string{}
	var all []int // channels that have a course
	for _, c := range cs.t.order {
		if cs.of[c] != nil && cs.of[c].why == "" {
			all = append(all, c)
		}
	}
	if len(all) < 3 {
		return words
	}
	say := func(cs []int, text string) {
		for _, c := range cs {
			words[c] = text
		}
	}
	if worth := s.strong(cs, live, flickerWord); len(worth) == len(all) && movesTogether(live, of) {
		say(live, "all tracks move together: the whole tape or head (contact, tension, the tape itself), or what all tracks share in the machine")
		return words
	}
	out := outstandingTracks(cs, all)
	switch {
	case len(out) == 0:
	case s.onlyEdges(cs, out) && len(all) >= 4:
		say(out, "only edge tracks flicker: tape edge, guide or head height")
	case len(out) == 1:
		say(out, "this track flickers far more than the others: its own gap, joint, connector or switch")
	}
	return words
}

// strong lists the channels whose flicker is at least of the given dB r.m.s.
func (s *session) strong(cs *courses, in []int, least float64) []int {
	var out []int
	for _, c := range in {
		if _, lo, _ := cs.of[c].net(); rootOf(lo) >= least {
			out = append(out, c)
		}
	}
	return out
}

// movesTogether reports whether every pair is correlated beyond doubt.
func movesTogether(live []int, of map[[2]int]corr) bool {
	for i, a := range live {
		for _, b := range live[i+1:] {
			if k, ok := of[[2]int{a, b}]; !ok || k.value < togetherLeast || k.lo <= 0 {
				return false
			}
		}
	}
	return len(live) >= 3
}

// outstandingTracks are the channels that flicker worth a word and far more than the
// quieter half of all channels.
func outstandingTracks(cs *courses, all []int) []int {
	var rmss []float64
	for _, c := range all {
		v, _, _ := cs.of[c].net()
		rmss = append(rmss, rootOf(v))
	}
	slices.Sort(rmss)
	usual := rmss[(len(rmss)-1)/2]
	var out []int
	for _, c := range all {
		if _, lo, _ := cs.of[c].net(); rootOf(lo) >= math.Max(flickerWord, outstanding*usual) {
			out = append(out, c)
		}
	}
	return out
}

// onlyEdges reports whether all the channels carry one of the two outermost tracks of
// the head; false when its geometry is not known.
func (s *session) onlyEdges(cs *courses, channels []int) bool {
	tracks := s.opt.Geometry.Tracks
	if len(tracks) < 4 {
		return false
	}
	low, high := 0, 0
	for i, p := range tracks {
		if p.Centre < tracks[low].Centre {
			low = i
		}
		if p.Centre > tracks[high].Centre {
			high = i
		}
	}
	for _, c := range channels {
		if k := cs.t.tracks[c] - 1; k != low && k != high {
			return false
		}
	}
	return len(channels) > 0
}
