package signature

import (
	"encoding/json"
	"slices"
)

// MarshalJSON writes lists that are empty as empty lists, never as null.
func (x Explanation) MarshalJSON() ([]byte, error) {
	type plain Explanation
	x.Findings, x.Open, x.Curves = cloned(x.Findings), cloned(x.Open), cloned(x.Curves)
	x.SetAside, x.Warnings = cloned(x.SetAside), cloned(x.Warnings)
	for i := range x.Findings {
		f := &x.Findings[i]
		f.Tracks, f.Parameters = cloned(f.Tracks), cloned(f.Parameters)
	}
	for i := range x.Open {
		x.Open[i].Tracks = cloned(x.Open[i].Tracks)
	}
	for i := range x.Curves {
		c := &x.Curves[i]
		c.Points, c.Contributions = cloned(c.Points), cloned(c.Contributions)
		for k := range c.Contributions {
			c.Contributions[k].DB = cloned(c.Contributions[k].DB)
		}
	}
	return json.Marshal(plain(x))
}

// cloned is a copy that is not nil.
func cloned[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return slices.Clone(s)
}
