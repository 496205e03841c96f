package machine

import (
	"cmp"
	"slices"

	"headstack/unit"
)

// Setup is one way in which the bench is set up while controls are tried: which tone is
// fed in where, or which tape is in. Controls that share one are tried together, so that
// one injected tone covers many.
type Setup struct {
	ID   string `yaml:"id" json:"id"`
	Name string `yaml:"name" json:"name"`                     // pattern allowed: "1 kHz at -10 dBV into input socket {strip}"
	Each string `yaml:"each,omitempty" json:"each,omitempty"` // replica set; empty: one
	// Minutes is how long it takes to change to it; 0: half a minute.
	Minutes  float64  `yaml:"minutes,omitempty" json:"minutes,omitempty"`
	Cautions []string `yaml:"cautions,omitempty" json:"cautions,omitempty"`
}

// defaultSetupMinutes is for pulling one plug and putting it into the next socket.
// [estimate] common practice, no source.
const defaultSetupMinutes = 0.5

// SetupInstance is one set-up on one replica.
type SetupInstance struct {
	ID       string // "line-in/3"; empty: nothing is to be set up
	Name     string
	Minutes  unit.Minutes
	Cautions []string
}

// SetupGroup are the controls that are tried under one set-up.
type SetupGroup struct {
	SetupInstance
	Items []int // indexes of the items, in signal-flow order
}

// setupsOf are the instances of set-ups under which one item of control x can be tried:
// on its own replica where both repeat over the same set, else on any.
func (d *Definition) setupsOf(x *Control, key string) []SetupInstance {
	var out []SetupInstance
	for _, id := range x.Setup {
		i := slices.IndexFunc(d.Setups, func(s Setup) bool { return s.ID == id })
		if i < 0 {
			continue
		}
		s := &d.Setups[i]
		keys := d.ReplicaKeys(s.Each)
		if s.Each != "" && s.Each == x.Each {
			keys = []string{key}
		}
		for _, k := range keys {
			in := SetupInstance{ID: s.ID, Name: s.Name, Minutes: unit.Minutes(cmp.Or(s.Minutes, defaultSetupMinutes)), Cautions: s.Cautions}
			if s.Each != "" {
				in.ID, in.Name = s.ID+"/"+slug(k), expand(s.Name, s.Each, k)
			}
			out = append(out, in)
		}
	}
	return out
}

// PlanSetups puts items under the fewest set-ups that cover them all. now is the id of
// the set-up that stands already, and comes first where it still has work; the others
// follow the signal flow. An item that several of the chosen ones cover waits for the last
// of them. Items that need none come last, under a group without id.
func PlanSetups(items []CheckItem, now string) []SetupGroup {
	chosen := fewest(items, now)
	var out []SetupGroup
	var free SetupGroup
	for i, it := range items {
		if len(it.Setups) == 0 {
			free.Items = append(free.Items, i)
			continue
		}
		for _, s := range it.Setups {
			if slices.Contains(chosen, s.ID) && !slices.ContainsFunc(out, func(g SetupGroup) bool { return g.ID == s.ID }) {
				out = append(out, SetupGroup{SetupInstance: s})
			}
		}
	}
	// In the order of the first item that can be tried under nothing else, else of any.
	rank := func(g SetupGroup) int {
		own, any := len(items), len(items)
		for i, it := range items {
			n := 0
			for _, s := range it.Setups {
				n += btoi(slices.Contains(chosen, s.ID))
			}
			if slices.ContainsFunc(it.Setups, func(s SetupInstance) bool { return s.ID == g.ID }) {
				any = min(any, i)
				if n == 1 {
					own = min(own, i)
				}
			}
		}
		if own == len(items) {
			return any
		}
		return own
	}
	slices.SortStableFunc(out, func(a, b SetupGroup) int {
		return cmp.Or(btoi(b.ID == now)-btoi(a.ID == now), cmp.Compare(rank(a), rank(b)))
	})
	for i, it := range items {
		for g := range slices.Backward(out) {
			if slices.ContainsFunc(it.Setups, func(s SetupInstance) bool { return s.ID == out[g].ID }) {
				out[g].Items = append(out[g].Items, i)
				break
			}
		}
	}
	if len(free.Items) > 0 {
		out = append(out, free)
	}
	return out
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// mostSetupSteps bounds the search for the fewest set-ups; past it the smallest choice
// found so far is taken. Definitions of real recorders need some dozens of steps.
const mostSetupSteps = 50_000

// fewest chooses the fewest ids of set-ups that leave no item uncovered: what only one
// covers is taken first, the rest is searched for depth by depth.
func fewest(items []CheckItem, now string) []string {
	var forced []string
	var open [][]string
	for _, it := range items {
		if len(it.Setups) == 1 && !slices.Contains(forced, it.Setups[0].ID) {
			forced = append(forced, it.Setups[0].ID)
		}
	}
	for _, it := range items {
		var ids []string
		for _, s := range it.Setups {
			ids = append(ids, s.ID)
		}
		covered := len(ids) == 0 || slices.ContainsFunc(ids, func(id string) bool { return slices.Contains(forced, id) })
		if !covered && !slices.ContainsFunc(open, func(o []string) bool { return slices.Equal(o, ids) }) {
			// What stands already costs no change.
			slices.SortStableFunc(ids, func(a, b string) int { return btoi(b == now) - btoi(a == now) })
			open = append(open, ids)
		}
	}
	steps := 0
	for depth := 0; depth <= len(open); depth++ {
		if got, ok := hit(open, nil, depth, &steps); ok {
			return append(forced, got...)
		}
	}
	return append(forced, firstOfEach(open)...) // the search gave up
}

// hit looks for at most depth ids, beside those taken, of which every list holds one.
func hit(open [][]string, taken []string, depth int, steps *int) ([]string, bool) {
	*steps++
	i := slices.IndexFunc(open, func(ids []string) bool {
		return !slices.ContainsFunc(ids, func(id string) bool { return slices.Contains(taken, id) })
	})
	if i < 0 {
		return taken, true
	}
	if depth == 0 || *steps > mostSetupSteps {
		return nil, false
	}
	for _, id := range open[i] {
		if got, ok := hit(open, append(slices.Clone(taken), id), depth-1, steps); ok {
			return got, true
		}
	}
	return nil, false
}

func firstOfEach(open [][]string) []string {
	var taken []string
	for _, ids := range open {
		if !slices.ContainsFunc(ids, func(id string) bool { return slices.Contains(taken, id) }) {
			taken = append(taken, ids[0])
		}
	}
	return taken
}
