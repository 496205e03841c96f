package plan_test

import (
	"context"
	"fmt"

	"headstack/plan"
)

// A dead amplifier: the fuse is at hand, the transistor behind the cover. One
// voltage tells them apart, but for one reading in fifty that is wrong.
func Example() {
	const fuse, transistor, sound = 0, 1, 2
	p := plan.Problem{
		P:      []float64{fuse: 0.3, transistor: 0.7, sound: 0},
		Sound:  sound,
		Covers: []plan.Cover{{Open: 6, Close: 4, Behind: plan.None}},
		Actions: []plan.Action{
			{ID: "voltage at the fuse", Cost: 2, Cover: plan.None, Once: true,
				Like: [][]float64{{0.02, 0.98}, {0.98, 0.02}, {0.98, 0.02}}},
			{ID: "replace the fuse", Cost: 3, Cover: plan.None, To: [][]plan.Move{fuse: {{State: sound, P: 1}}, sound: nil}},
			{ID: "replace the transistor", Cost: 25, Cover: 0, To: [][]plan.Move{transistor: {{State: sound, P: 1}}, sound: nil}},
			{ID: "try it, closed", Cost: 1, Cover: plan.None, Shut: []int{0}, Ends: []bool{true, false},
				Like: [][]float64{{0, 1}, {0, 1}, {1, 0}}},
		},
	}
	r, err := plan.Rank(context.Background(), p, plan.Situation{}, plan.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range r.Steps[:3] {
		fmt.Printf("%s: %.1f minutes\n", p.Actions[s.Action].ID, s.Q)
	}
	fmt.Printf("straight to the repairs: %.1f minutes, stop testing: %v\n", r.Repairs, r.Stop)
	// Output:
	// voltage at the fuse: 28.7 minutes
	// replace the fuse: 29.2 minutes
	// replace the transistor: 37.2 minutes
	// straight to the repairs: 29.2 minutes, stop testing: false
}
