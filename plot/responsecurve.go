package plot

import (
	"cmp"
	"slices"

	"headstack/measure"
)

// curve is the points of one track, by rising frequency. Points of a comb, whose one
// section gives many tones at a lower level, are a line of their own: a difference
// between the two must not look like a ragged response.
type curve struct {
	track  int
	points []measure.Result
	combs  []string // sections that are combs
}

// combTones is from how many tones a section counts as a comb.
const combTones = 4

// lines are the points in the order in which they are joined: single tones first, then
// each comb.
func (c curve) lines() [][]measure.Result {
	var out [][]measure.Result
	add := func(of func(measure.Result) bool) {
		var line []measure.Result
		for _, p := range c.points {
			if of(p) {
				line = append(line, p)
			}
		}
		if len(line) > 0 {
			out = append(out, line)
		}
	}
	add(func(p measure.Result) bool { return !slices.Contains(c.combs, p.Section) })
	for _, s := range c.combs {
		add(func(p measure.Result) bool { return p.Section == s })
	}
	return out
}

func (c *curve) findCombs() {
	count := map[string]int{}
	for _, p := range c.points {
		count[p.Section]++
		if p.Section != "" && count[p.Section] == combTones {
			c.combs = append(c.combs, p.Section)
		}
	}
	if len(c.combs) == 1 && count[c.combs[0]] == len(c.points) {
		c.combs = nil // all there is
	}
}

func curvesOf(measures []measure.Result) []curve {
	var out []curve
	for _, r := range measures {
		if r.Name != "response" || r.Refused != "" || !drawable(r.ToneHz, true) || !drawable(r.Value, false) {
			continue
		}
		i := slices.IndexFunc(out, func(c curve) bool { return c.track == r.Track })
		if i < 0 {
			i = len(out)
			out = append(out, curve{track: r.Track})
		}
		out[i].points = append(out[i].points, r)
	}
	slices.SortFunc(out, func(a, b curve) int { return a.track - b.track })
	for i := range out {
		c := &out[i]
		c.findCombs()
		slices.SortStableFunc(c.points, func(a, b measure.Result) int { return cmp.Compare(a.ToneHz, b.ToneHz) })
	}
	return out
}
