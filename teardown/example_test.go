package teardown_test

import (
	"context"
	"fmt"

	"headstack/machine"
	"headstack/teardown"
)

// A capacitor on the Tape board is changed, the play level of its track set again with
// power on, and a worn belt looked at while inside if that is worth it.
func Example() {
	def, _ := machine.Builtin("hexastrand")
	p, err := teardown.New(def, []teardown.Task{
		{ID: "C11-3", Text: "replace C11-3", Kind: teardown.Fix, Needs: []string{"tape-board"}, Power: teardown.Off, Minutes: 15, Parts: []string{"10 uF 25 V"}},
		{ID: "VRa-3", Text: "set play level 3", Kind: teardown.LineUp, Needs: []string{"lid"}, Power: teardown.On, Function: "play", Key: "3", Minutes: 5, Follows: []string{"C11-3"}},
		{ID: "proof", Text: "record and play track 3", Kind: teardown.Test, Case: "closed", Power: teardown.On, Function: "record-play", Key: "3", Minutes: 3, Follows: []string{"VRa-3"}},
		{ID: "belt", Text: "new belt", Kind: teardown.Preventive, Needs: []string{"belt"}, Power: teardown.Off, Minutes: 25, Optional: true, Chance: 0.4},
	}, teardown.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	plan, err := p.Plan(context.Background())
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, v := range plan.Visits {
		fmt.Println("visit", i+1)
		for _, s := range v.Steps {
			fmt.Printf("  %-9s %s%s, %v min\n", s.Do, s.Opening, s.Task, float64(s.Minutes))
		}
	}
	fmt.Println(plan.Total.Figure(), "proved:", plan.Proved)
	fmt.Println(plan.Decisions[0].Text)
	// Output:
	// visit 1
	//   open      lid, 8 min
	//   open      tape-board, 10 min
	//   task      C11-3, 15 min
	//   close     tape-board, 12 min
	//   power-on  , 0 min
	//   task      VRa-3, 5 min
	//   power-off , 0 min
	//   close     lid, 9 min
	// visit 2
	//   power-on  , 0 min
	//   task      proof, 3 min
	//   power-off , 0 min
	// 62.0 ±7.6 min proved: true
	// Leave it: 68 min now (25 min of work, 30 min for transport, 13 min for belt); later 40 % of 85 min (28 min to open, 25 min of work, 32 min to close, 0 min of realignment) = 34 min. The other way costs 34 min more in all.
}
