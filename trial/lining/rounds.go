package lining

import (
	"slices"

	"headstack/lineup"
	"headstack/sim/trims"
)

// heardRounds divides tracks into passes of as many as can be heard at once.
func heardRounds(m *trims.Recorder, tracks []int) [][]int {
	return slices.Collect(slices.Chunk(tracks, m.HeardAtOnce()))
}

// recordRounds divides tracks into recordings: as many as are heard at once, one of each
// group.
func recordRounds(m *trims.Recorder, tracks []int) [][]int {
	var out [][]int
	left := slices.Clone(tracks)
	for len(left) > 0 {
		var round, later []int
		var groups []string
		for _, t := range left {
			g, grouped := m.Def.GroupOf(t)
			if len(round) == m.HeardAtOnce() || grouped && slices.Contains(groups, g.ID) {
				later = append(later, t)
				continue
			}
			round, groups = append(round, t), append(groups, g.ID)
		}
		out = append(out, round)
		left = later
	}
	return out
}

// playRounds are the passes of the test tape in which package lineup hears tracks.
func playRounds(m *trims.Recorder, tracks []int) ([]lineup.Pass, error) {
	return lineup.HearRounds(tracks, lineup.Hearing{AtOnce: m.HeardAtOnce(), Bus: m.HeardAtOnce() == 2}, lineup.HearEach)
}
