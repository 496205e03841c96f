package trim

import (
	"cmp"
	"fmt"
	"slices"
)

// Model is what a recorder's trims do: adjusters, quantities, and which quantity moves
// which. Make it with [NewModel] or [ForMachine]; it does not change afterwards.
type Model struct {
	trims     []Trim
	vars      []Variable // causes before effects
	trimAt    map[ID]int
	varAt     map[Quantity]int
	families  []string // in order of first use
	family    []int    // of each trim
	setBy     [][]int  // trims that set a variable
	from      [][]int  // variables of a variable's influences
	rank      []int    // of a variable: longest chain of influences before it
	every     []int    // all variables
	before    [][]int  // of a variable: itself and all that moves it, causes first
	influence []int    // of a variable: number of its first influence among all
	moves     []int    // of a variable: how many others it moves, directly or not
}

// NewModel checks and orders trims and variables. The error names the trim or quantity
// that does not fit: one that is given twice, a trim that sets nothing known, an
// influence from nowhere or in a circle, siblings with unequal signs.
func NewModel(trims []Trim, vars []Variable) (*Model, error) {
	m := &Model{trims: slices.Clone(trims), trimAt: map[ID]int{}, varAt: map[Quantity]int{}}
	sorted, err := causesFirst(vars)
	if err != nil {
		return nil, err
	}
	m.vars = sorted
	m.from, m.setBy, m.rank = make([][]int, len(sorted)), make([][]int, len(sorted)), make([]int, len(sorted))
	n := 0
	for i, v := range m.vars {
		m.varAt[v.Quantity] = i
		m.every, m.influence = append(m.every, i), append(m.influence, n)
		n += len(v.Moved)
		for _, in := range v.Moved {
			j := m.varAt[in.From]
			m.from[i] = append(m.from[i], j)
			m.rank[i] = max(m.rank[i], m.rank[j]+1)
		}
		m.before = append(m.before, m.causes(i))
	}
	m.moves = m.reach()
	for i, t := range m.trims {
		if err := m.place(i, t); err != nil {
			return nil, err
		}
	}
	return m, nil
}

func (m *Model) place(i int, t Trim) error {
	if err := t.check(); err != nil {
		return err
	}
	if _, twice := m.trimAt[t.ID]; twice {
		return fmt.Errorf("trim %s is given twice", t.ID)
	}
	m.trimAt[t.ID] = i
	v, ok := m.varAt[t.Sets]
	if !ok {
		return fmt.Errorf("trim %s sets %s, which is no quantity of the model", t.ID, t.Sets)
	}
	if t.Law == Divider && m.vars[v].Unit != "dB" {
		return fmt.Errorf("trim %s: a divider's range must be in dB, not in %s", t.ID, m.vars[v].Unit)
	}
	m.setBy[v] = append(m.setBy[v], i)
	f := slices.Index(m.families, t.Family)
	if f < 0 || t.Family == "" {
		f = len(m.families)
		m.families = append(m.families, t.Family)
	}
	m.family = append(m.family, f)
	if first := slices.Index(m.family, f); m.trims[first].Sign != t.Sign {
		return fmt.Errorf("trims %s and %s are siblings with unequal signs", m.trims[first].ID, t.ID)
	}
	return nil
}

// causes are a variable and all that moves it, causes first.
func (m *Model) causes(i int) []int {
	out := []int{i}
	for _, j := range m.from[i] {
		out = append(out, m.before[j]...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// reach counts for each variable those that it moves.
func (m *Model) reach() []int {
	out, reached := make([]int, len(m.vars)), make([]bool, len(m.vars))
	for i := range m.vars {
		clear(reached)
		reached[i] = true
		for j := i + 1; j < len(m.vars); j++ {
			if reached[j] = slices.ContainsFunc(m.from[j], func(k int) bool { return reached[k] }); reached[j] {
				out[i]++
			}
		}
	}
	return out
}

// causesFirst sorts variables so that each stands after what moves it; equals keep their order.
func causesFirst(vars []Variable) ([]Variable, error) {
	at := map[Quantity]int{}
	for i, v := range vars {
		if _, twice := at[v.Quantity]; twice {
			return nil, fmt.Errorf("%s is given twice", v.Quantity)
		}
		if !(v.BaseSD >= 0) {
			return nil, fmt.Errorf("%s: the spread of its base is no number from 0", v.Quantity)
		}
		at[v.Quantity] = i
	}
	rank, state := make([]int, len(vars)), make([]int, len(vars)) // state 1: on the way, 2: done
	var visit func(i int) error
	visit = func(i int) error {
		if state[i] == 2 {
			return nil
		}
		if state[i] == 1 {
			return fmt.Errorf("%s moves itself in a circle", vars[i].Quantity)
		}
		state[i] = 1
		for _, in := range vars[i].Moved {
			j, ok := at[in.From]
			if !ok {
				return fmt.Errorf("%s is moved by %s, which is no quantity of the model", vars[i].Quantity, in.From)
			}
			if in.Form == nil || !(in.GainSD >= 0) {
				return fmt.Errorf("%s: the influence of %s has no form or no spread from 0", vars[i].Quantity, in.From)
			}
			if err := visit(j); err != nil {
				return err
			}
			rank[i] = max(rank[i], rank[j]+1)
		}
		state[i] = 2
		return nil
	}
	order := make([]int, len(vars))
	for i := range vars {
		order[i] = i
		if err := visit(i); err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(rank[a], rank[b]) })
	out := make([]Variable, len(vars))
	for i, j := range order {
		out[i] = vars[j]
	}
	return out, nil
}

// Trims are the adjusters, in the order given.
func (m *Model) Trims() []Trim { return slices.Clone(m.trims) }

// Trim returns an adjuster by its designator.
func (m *Model) Trim(id ID) (Trim, bool) {
	i, ok := m.trimAt[id]
	if !ok {
		return Trim{}, false
	}
	return m.trims[i], true
}

// Quantities are all that can be read, causes before effects.
func (m *Model) Quantities() []Quantity {
	out := make([]Quantity, len(m.vars))
	for i, v := range m.vars {
		out[i] = v.Quantity
	}
	return out
}

// Unit is the unit of a quantity, empty where it is unknown.
func (m *Model) Unit(q Quantity) string {
	if i, ok := m.varAt[q]; ok {
		return m.vars[i].Unit
	}
	return ""
}
