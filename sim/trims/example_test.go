package trims_test

import (
	"fmt"

	"headstack/machine"
	"headstack/sim/trims"
)

// A trim is turned, and the test tape shows what that did.
func Example() {
	def, _ := machine.Builtin("hexastrand")
	m, err := trims.New(def, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	level := trims.Ref{ID: "VRa", Key: "2"}
	if err := m.Open("lid"); err != nil {
		fmt.Println(err)
		return
	}
	before, _ := m.Play(trims.PlayHead, 9.525, 2)
	went, err := m.Turn(level, 0.1)
	if err != nil {
		fmt.Println(err)
		return
	}
	after, _ := m.Play(trims.PlayHead, 9.525, 2)
	c := m.Count()
	fmt.Printf("turned by %.1f, level rises: %v\n", went, after.Tracks[0].LevelDB > before.Tracks[0].LevelDB)
	fmt.Printf("case %s; %d move, %d passes of the test tape\n", m.Case(), c.Moves, c.Good)
	// Output:
	// turned by 0.1, level rises: true
	// case propped; 1 move, 2 passes of the test tape
}
