package lineup

import (
	"errors"
	"fmt"
	"slices"

	"headstack/machine"
)

// ErrRounds is the error for rounds that cannot be made.
var ErrRounds = errors.New("no such rounds")

// Recording says how many tracks a recorder records at once.
type Recording struct {
	// AtOnce is the number in all; 0: no limit.
	AtOnce int `json:"at_once,omitempty"`
	// PerGroup is the number in each record group; 0: one where the definition has
	// groups, as groups share a record amplifier; -1: no limit.
	PerGroup int `json:"per_group,omitempty"`
}

// RecordRounds shares the tracks of a recorder over as few recordings as can be: each
// track once, no more at once than r allows. Rounds and tracks in them rise. The least
// number of rounds is
//
//	max(⌈tracks/at once⌉, ⌈group/per group⌉ over the groups)
//
// which is reached: a round takes what the ones after it could not hold of a group, and
// then from the groups with the most tracks left.
// [programme.Options] takes the rounds as they are.
func RecordRounds(d *machine.Definition, r Recording) ([][]int, error) {
	if r.AtOnce < 0 || r.PerGroup < -1 {
		return nil, fmt.Errorf("%w: %d at once, %d of a group", ErrRounds, r.AtOnce, r.PerGroup)
	}
	n := d.Tracks.Count
	if n < 1 {
		return nil, fmt.Errorf("%w: no tracks", ErrRounds)
	}
	groups, per := recordGroups(d, r.PerGroup)
	atOnce := r.AtOnce
	if atOnce == 0 {
		atOnce = n
	}
	rounds := atLeast(n, atOnce)
	for _, g := range groups {
		rounds = max(rounds, atLeast(len(g), per))
	}
	var out [][]int
	for left := rounds; left > 0; left-- {
		out = append(out, fill(groups, per, atOnce, left-1))
	}
	return out, nil
}

// recordGroups are the tracks by group, those in none each by itself, and how many of a
// group go at once.
func recordGroups(d *machine.Definition, perGroup int) (groups [][]int, per int) {
	per = perGroup
	if per == 0 {
		per = 1
	}
	if perGroup == -1 {
		per = d.Tracks.Count
	}
	seen := map[int]bool{}
	for _, g := range d.Groups {
		var list []int
		for _, t := range g.Tracks {
			if !seen[t] && t >= 1 && t <= d.Tracks.Count {
				seen[t] = true
				list = append(list, t)
			}
		}
		slices.Sort(list)
		groups = append(groups, list)
	}
	for t := 1; t <= d.Tracks.Count; t++ {
		if !seen[t] {
			groups = append(groups, []int{t})
		}
	}
	return groups, per
}

// fill takes the tracks of one round, when so many rounds follow, and takes them out of
// groups: first what the rounds that follow could not hold of a group, then from the
// groups with the most left.
func fill(groups [][]int, per, atOnce, follow int) []int {
	var round []int
	taken := make([]int, len(groups))
	take := func(g int) {
		round = append(round, groups[g][0])
		groups[g] = groups[g][1:]
		taken[g]++
	}
	for g := range groups {
		for len(groups[g]) > per*follow {
			take(g)
		}
	}
	for len(round) < atOnce {
		most := -1
		for g := range groups {
			if len(groups[g]) > 0 && taken[g] < per && (most < 0 || len(groups[g]) > len(groups[most])) {
				most = g
			}
		}
		if most < 0 {
			break
		}
		take(most)
	}
	slices.Sort(round)
	return round
}

// atLeast is n over k, rounded up.
func atLeast(n, k int) int { return (n + k - 1) / k }

// Purpose says what the passes of a hearing are for.
type Purpose string

// The purposes.
const (
	// HearEach hears each track once: levels and response, each with the error of its path.
	HearEach Purpose = "each"
	// HearLine hears all tracks against one of them: levels and delays on one scale.
	HearLine Purpose = "line"
	// HearCorrected is HearLine over two paths, and once with sides exchanged, so that the
	// error between the paths is known and taken off by [Solve].
	HearCorrected Purpose = "corrected"
)

// Hearing says how tracks reach the interface.
type Hearing struct {
	// AtOnce is how many tracks are heard apart in one pass: the inputs of the interface
	// with a socket for each track, 2 over a stereo bus with pans.
	AtOnce int `json:"at_once"`
	// Bus: the tracks come over a stereo bus, panned hard; AtOnce is 2.
	Bus bool `json:"bus,omitempty"`
	// Reference is the track that the others are heard against; 0: the first one, which
	// is outermost, so that azimuth has its longest arm.
	Reference int `json:"reference,omitempty"`
}

// Pass is one run of a tape: which track on which input, or side: first is left.
type Pass struct {
	Tracks []int  `json:"tracks"`
	Why    string `json:"why,omitempty"`
}

// HearRounds shares tracks over as few passes as can be:
//
//	each: ⌈n/k⌉, line: ⌈(n-1)/(k-1)⌉, corrected: n, where k = 2
//
// where k are heard at once. Passes of a line all hold the reference track, first (left).
// Corrected exchanges the reference and the last other track in one further pass; more
// than two paths are compared by a loop-back instead. A single track takes one pass. The
// error is [ErrRounds].
func HearRounds(tracks []int, h Hearing, p Purpose) ([]Pass, error) {
	n, k := len(tracks), h.AtOnce
	ref, err := referenceTrack(tracks, h)
	switch {
	case err != nil:
		return nil, err
	case h.Bus && k != 2:
		return nil, fmt.Errorf("%w: a stereo bus hears 2 at once, not %d", ErrRounds, k)
	case k < 1 || p != HearEach && k < 2 && n > 1:
		return nil, fmt.Errorf("%w: %d at once cannot be compared", ErrRounds, k)
	case p == HearCorrected && k != 2:
		return nil, fmt.Errorf("%w: exchanging sides corrects two paths, not %d; compare these by a loop-back", ErrRounds, k)
	case p != HearEach && p != HearLine && p != HearCorrected:
		return nil, fmt.Errorf("%w: purpose %q", ErrRounds, p)
	}
	if p == HearEach || n == 1 {
		return coverPasses(tracks, k), nil
	}
	rest := slices.DeleteFunc(slices.Clone(tracks), func(t int) bool { return t == ref })
	var out []Pass
	for c := range slices.Chunk(rest, k-1) {
		out = append(out, Pass{Tracks: append([]int{ref}, c...), Why: fmt.Sprintf("against track %d", ref)})
	}
	if p == HearCorrected {
		last := slices.Clone(out[len(out)-1].Tracks)
		slices.Reverse(last)
		out = append(out, Pass{Tracks: last, Why: "sides exchanged: takes off the error between the paths"})
	}
	return out, nil
}

func referenceTrack(tracks []int, h Hearing) (int, error) {
	if len(tracks) == 0 {
		return 0, fmt.Errorf("%w: no tracks", ErrRounds)
	}
	for i, t := range tracks {
		if t < 1 || slices.Contains(tracks[:i], t) {
			return 0, fmt.Errorf("%w: track %d", ErrRounds, t)
		}
	}
	if h.Reference == 0 {
		return tracks[0], nil
	}
	if !slices.Contains(tracks, h.Reference) {
		return 0, fmt.Errorf("%w: reference track %d is not among %v", ErrRounds, h.Reference, tracks)
	}
	return h.Reference, nil
}

// coverPasses pairs the outermost tracks first, so that each pass tells most of azimuth.
func coverPasses(tracks []int, k int) []Pass {
	left := slices.Clone(tracks)
	slices.Sort(left)
	var out []Pass
	for len(left) > 0 {
		m := min(k, len(left))
		low := (m + 1) / 2
		p := slices.Concat(left[:low], left[len(left)-(m-low):])
		left = left[low : len(left)-(m-low)]
		out = append(out, Pass{Tracks: p})
	}
	return out
}
