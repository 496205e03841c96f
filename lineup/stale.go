package lineup

import "headstack/machine"

// Consequence is a step that a turned trim makes stale, and through which chain.
type Consequence struct {
	Step string `json:"step"`
	Kind Kind   `json:"kind"`
	// Through is the step that moves it, Why how.
	Through string `json:"through,omitempty"`
	Why     string `json:"why"`
}

// Stale lists what becomes stale when a trim of a definition is turned, in the order of
// the line-up, its own step first. It is nil for a trim that the definition has not.
func Stale(d *machine.Definition, trim string) []Consequence {
	o, err := New(d, Options{})
	if err != nil {
		return nil
	}
	return o.Stale(trim, "")
}

// Stale lists what becomes stale when one replica of a trim is turned, or all of them
// where key is empty.
func (o *Order) Stale(trim, key string) []Consequence {
	through := map[int]int{}
	var queue []int
	for i, s := range o.Steps {
		if s.Trim != "" && s.Trim == trim && (key == "" || s.Key == key) {
			through[i] = -1
			queue = append(queue, i)
		}
	}
	for ; len(queue) > 0; queue = queue[1:] {
		for _, k := range o.moved[queue[0]] {
			if _, ok := through[k]; !ok {
				through[k] = queue[0]
				queue = append(queue, k)
			}
		}
	}
	var out []Consequence
	for i, s := range o.Steps {
		from, ok := through[i]
		if !ok {
			continue
		}
		c := Consequence{Step: s.ID, Kind: s.Kind, Why: "it was turned: read it again"}
		if from >= 0 {
			c.Through = o.Steps[from].ID
			for _, n := range s.Needs {
				if n.Step == c.Through {
					c.Why = n.Why
				}
			}
		}
		out = append(out, c)
	}
	return out
}
