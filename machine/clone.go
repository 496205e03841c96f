package machine

import "slices"

// DefaultPriorWeight is how many machines the priors of a definition weigh as much as
// where it does not say.
// [estimate] common practice, no source.
const DefaultPriorWeight = 20

// Weight is how many machines the priors weigh as much as.
func (d *Definition) Weight() float64 {
	if d.PriorWeight > 0 {
		return d.PriorWeight
	}
	return DefaultPriorWeight
}

// Clone returns a definition of which stages, the list of their fault modes, functions,
// test points and openings may be changed without changing d. Everything else is shared.
func (d *Definition) Clone() *Definition {
	c := *d
	c.Stages = slices.Clone(d.Stages)
	for i := range c.Stages {
		c.Stages[i].Faults = slices.Clone(c.Stages[i].Faults)
	}
	c.Functions = slices.Clone(d.Functions)
	c.TestPoints = slices.Clone(d.TestPoints)
	c.Openings = slices.Clone(d.Openings)
	c.index = newIndex(&c) // it points into the lists
	return &c
}
