package teardown

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/unit"
)

// checker finds what is wrong with the tasks and makes the problem of them.
type checker struct {
	p    *Problem
	errs []*TaskError
}

// tasks checks what can be checked of each task by itself.
func (c *checker) tasks() {
	seen := map[string]bool{}
	for i, t := range c.p.tasks {
		name := t.ID
		if name == "" {
			name = fmt.Sprintf("number %d", i+1)
			c.bad(name, "id", "it has none", "give each task an id of its own")
		}
		if seen[t.ID] {
			c.bad(name, "id", "another task has it", "give each task an id of its own")
		}
		seen[t.ID] = true
		if kinds := []Kind{Fix, Settle, LineUp, Preventive, Test}; !slices.Contains(kinds, t.Kind) {
			c.bad(name, "kind", fmt.Sprintf("%q is not one", t.Kind), "one of fix, settle, line-up, preventive, test")
		}
		if cases := []string{"", "closed", "propped", "open"}; !slices.Contains(cases, t.Case) {
			c.bad(name, "case", fmt.Sprintf("%q is not a case state", t.Case), didYouMean(t.Case, cases[1:]))
		}
		if !slices.Contains([]Power{AnyPower, On, Off}, t.Power) {
			c.bad(name, "power", fmt.Sprintf("%q is not a state of the supply", t.Power), "on, off, or empty for any")
		}
		c.time(name, "minutes", t.Minutes)
		c.time(name, "later_minutes", t.LaterMinutes)
		c.fraction(name, "spread", t.Spread)
		c.fraction(name, "chance", t.Chance)
		if !t.Optional && (t.Chance != 0 || t.LaterMinutes != 0) {
			c.bad(name, "optional", "it has a chance or minutes of a later visit and must be done now", "set optional, or leave them out")
		}
		c.function(name, t)
		for _, b := range t.Boards {
			if _, ok := c.p.def.Board(b); !ok {
				c.bad(name, "boards", fmt.Sprintf("board %s is not defined", b), didYouMean(b, boardIDs(c.p.def)))
			}
		}
	}
}

func (c *checker) time(task, field string, m unit.Minutes) {
	if !(m >= 0 && m <= 1e5) {
		c.bad(task, field, fmt.Sprintf("%g minutes", float64(m)), "0 to 100 000 minutes")
	}
}

func (c *checker) fraction(task, field string, x float64) {
	if !(x >= 0 && x <= 1) {
		c.bad(task, field, fmt.Sprintf("%g", x), "0 to 1")
	}
}

func (c *checker) function(task string, t Task) {
	if t.Function == "" {
		if t.Key != "" {
			c.bad(task, "key", "there is one but no function", "name the function that is tried")
		}
		return
	}
	f, ok := c.p.def.Function(t.Function)
	if !ok {
		var known []string
		for _, f := range c.p.def.Functions {
			known = append(known, f.ID)
		}
		c.bad(task, "function", fmt.Sprintf("function %s is not defined", t.Function), didYouMean(t.Function, known))
		return
	}
	if keys := c.p.def.ReplicaKeys(f.Each); !slices.Contains(keys, t.Key) {
		want := "one of " + listed(keys)
		if f.Each == "" {
			want = "leave it out: there is one for the whole recorder"
		}
		c.bad(task, "key", fmt.Sprintf("function %s has no %q", f.ID, t.Key), want)
	}
}

// order resolves which task follows which, and finds circles.
func (c *checker) order() {
	p := c.p
	var known []string
	for _, t := range p.tasks {
		known = append(known, t.ID)
	}
	for i, t := range p.tasks {
		for _, id := range t.Follows {
			j, ok := p.task(id)
			if !ok {
				c.bad(t.ID, "follows", fmt.Sprintf("there is no task %q", id), didYouMean(id, known))
				continue
			}
			p.demands[i].before = append(p.demands[i].before, j)
		}
	}
	done := make([]bool, len(p.tasks))
	var path []int
	var visit func(i int) bool
	visit = func(i int) bool {
		if done[i] {
			return true
		}
		if at := slices.Index(path, i); at >= 0 {
			var names []string
			for _, j := range append(path[at:], i) {
				names = append(names, p.tasks[j].ID)
			}
			slices.Reverse(names)
			c.bad(p.tasks[i].ID, "follows", "the tasks wait for each other: "+strings.Join(names, " before "), "take one of these out")
			return false
		}
		path = append(path, i)
		for _, j := range p.demands[i].before {
			if !visit(j) {
				return false
			}
		}
		path = path[:len(path)-1]
		done[i] = true
		return true
	}
	for i := range p.tasks {
		if !visit(i) {
			return
		}
	}
}

// toUnits are minutes as the search counts them: whole millionths, so that sums in any
// order are equal and ties are ties.
func toUnits(m unit.Minutes) int64 { return int64(math.Round(float64(m) * 1e6)) }

func fromUnits(x int64) unit.Minutes { return unit.Minutes(float64(x) / 1e6) }
