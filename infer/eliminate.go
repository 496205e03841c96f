package infer

import (
	"fmt"
	"slices"
)

// eliminate sums out everything except keep and returns the remaining table,
// which covers those of keep that are not in the evidence.
func (g *Graph) eliminate(keep []Var, ev Evidence) (table, error) {
	if err := g.check(keep, ev); err != nil {
		return table{}, err
	}
	free := map[Var]bool{}
	for v := range g.states {
		if _, fixed := ev[Var(v)]; !fixed {
			free[Var(v)] = true
		}
	}
	var kept []Var
	for _, v := range sorted(keep) {
		if free[v] {
			kept = append(kept, v)
			delete(free, v)
		}
	}
	tables := make([]table, 0, len(g.factors))
	for _, t := range g.factors {
		tables = append(tables, t.condition(ev))
	}
	for _, v := range g.order(tables, free) {
		var touch, rest []table
		for _, t := range tables {
			if slices.Contains(t.vars, v) {
				touch = append(touch, t)
			} else {
				rest = append(rest, t)
			}
		}
		// A variable that no factor mentions still counts its states.
		t, err := g.join(touch, []Var{v}, v)
		if err != nil {
			return table{}, err
		}
		tables = append(rest, t)
	}
	return g.join(tables, kept, -1)
}

// join multiplies tables over the union of their variables and extra, and sums
// out drop.
func (g *Graph) join(tables []table, extra []Var, drop Var) (table, error) {
	set := map[Var]bool{}
	for _, v := range extra {
		set[v] = true
	}
	for _, t := range tables {
		for _, v := range t.vars {
			set[v] = true
		}
	}
	var vars []Var
	for v := range set {
		vars = append(vars, v)
	}
	vars = sorted(vars)
	states := make([]int, len(vars))
	size := 1
	for i, v := range vars {
		states[i] = g.states[v]
		if size *= states[i]; size > MaxTable {
			return table{}, fmt.Errorf("infer: joining %d variables around %s: %w", len(vars), g.names[vars[0]], ErrTooLarge)
		}
	}
	return combine(tables, vars, states, drop), nil
}

// order returns the free variables in min-fill order.
func (g *Graph) order(tables []table, free map[Var]bool) []Var {
	next := make([]map[Var]bool, len(g.states))
	for v := range next {
		next[v] = map[Var]bool{}
	}
	for _, t := range tables {
		for _, a := range t.vars {
			for _, b := range t.vars {
				if a != b {
					next[a][b] = true
				}
			}
		}
	}
	left := make([]Var, 0, len(free))
	for v := range free {
		left = append(left, v)
	}
	left = sorted(left)
	var out []Var
	for len(left) > 0 {
		best, bestFill, bestSize := 0, -1, 0.0
		for i, v := range left {
			fill, size := g.fill(next, v)
			if bestFill < 0 || fill < bestFill || fill == bestFill && size < bestSize {
				best, bestFill, bestSize = i, fill, size
			}
		}
		v := left[best]
		left = slices.Delete(left, best, best+1)
		out = append(out, v)
		for a := range next[v] {
			delete(next[a], v)
			for b := range next[v] {
				if a != b {
					next[a][b] = true
				}
			}
		}
	}
	return out
}

// fill counts the pairs of neighbours of v that eliminating it would join, and
// the entries of the table it would make.
func (g *Graph) fill(next []map[Var]bool, v Var) (pairs int, size float64) {
	size = 1
	for a := range next[v] {
		size *= float64(g.states[a])
		for b := range next[v] {
			if a < b && !next[a][b] {
				pairs++
			}
		}
	}
	return pairs, size
}

func sorted(vars []Var) []Var {
	out := slices.Clone(vars)
	slices.Sort(out)
	return out
}
