package machine_test

import (
	"fmt"
	"slices"
	"testing"

	"headstack/machine"
)

// Of both built-in recorders every control is tried under a set-up that it names, and
// under as few as there are inputs, and one for each thing that is no input.
func TestSetupsCoverTheSheetWithTheFewestChanges(t *testing.T) {
	for _, c := range []struct {
		name         string
		items, setup int
	}{{"hexastrand", 135, 10}, {"octogrange", 64, 9}} {
		d, ok := machine.Builtin(c.name)
		if !ok {
			t.Fatal("no such definition")
		}
		items := d.CheckItems()
		plan := machine.PlanSetups(items, "")
		seen := map[int]bool{}
		for _, g := range plan {
			if g.ID == "" || g.Minutes <= 0 || !slices.IsSorted(g.Items) || len(g.Items) == 0 {
				t.Errorf("%s: %+v", c.name, g)
			}
			for _, i := range g.Items {
				if seen[i] || !slices.ContainsFunc(items[i].Setups, func(s machine.SetupInstance) bool { return s.ID == g.ID }) {
					t.Errorf("%s: %s stands under %s, twice or wrongly", c.name, items[i].ID, g.ID)
				}
				seen[i] = true
			}
		}
		if len(items) != c.items || len(seen) != c.items || len(plan) != c.setup {
			t.Errorf("%s: %d of %d items under %d set-ups, want %d under %d", c.name, len(seen), len(items), len(plan), c.items, c.setup)
		}
		if plan[0].ID != "line-in/1" || len(plan[0].Items) < 5 {
			t.Errorf("%s begins with %+v", c.name, plan[0])
		}
	}
}

// What stands already comes first, and what is left of it is not done under another.
func TestTheStandingSetupGoesOn(t *testing.T) {
	d, ok := machine.Builtin("hexastrand")
	if !ok {
		t.Fatal("no such definition")
	}
	items := slices.DeleteFunc(d.CheckItems(), func(it machine.CheckItem) bool { return it.Key == "1" && it.Control.Each == "strip" })
	if plan := machine.PlanSetups(items, "line-in/3"); plan[0].ID != "line-in/3" || len(plan) != 9 {
		t.Errorf("%d set-ups, the first %s", len(plan), plan[0].ID)
	}
	masters := slices.DeleteFunc(d.CheckItems(), func(it machine.CheckItem) bool { return it.Control.Each == "strip" || it.Setups[0].ID != "line-in/1" })
	if plan := machine.PlanSetups(masters, "line-in/5"); len(plan) != 1 || plan[0].ID != "line-in/5" || len(plan[0].Items) != len(masters) {
		t.Errorf("masters alone: %+v", plan)
	}
}

// The choice is held against every choice there is, on random small sheets.
func TestFewestSetupsAgainstAllChoices(t *testing.T) {
	seed := uint32(7)
	next := func(n int) int { seed = seed*1664525 + 1013904223; return int(seed>>16) % n }
	for range 300 {
		var items []machine.CheckItem
		for range 1 + next(7) {
			var it machine.CheckItem
			for s := range 6 {
				if next(3) == 0 {
					it.Setups = append(it.Setups, machine.SetupInstance{ID: fmt.Sprint(s)})
				}
			}
			items = append(items, it)
		}
		best := 99
		for mask := range 1 << 6 {
			n, ok := 0, true
			for s := range 6 {
				n += mask >> s & 1
			}
			for _, it := range items {
				ok = ok && (len(it.Setups) == 0 || slices.ContainsFunc(it.Setups, func(s machine.SetupInstance) bool { return mask>>(s.ID[0]-'0')&1 == 1 }))
			}
			if ok {
				best = min(best, n)
			}
		}
		got := 0
		for _, g := range machine.PlanSetups(items, "") {
			if g.ID != "" {
				got++
			}
		}
		// Forced ones are taken first, which never costs more: each is in every choice.
		if got != best {
			t.Fatalf("%d set-ups, the fewest are %d: %+v", got, best, items)
		}
	}
}
