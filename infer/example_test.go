package infer_test

import (
	"fmt"

	"headstack/infer"
)

// A track plays dull. Dirt on the head is the likelier cause; cleaning cures
// dirt for certain and a worn head never, so a track still dull after cleaning
// leaves the head.
func Example() {
	var g infer.Graph
	cause := g.Var("cause", 2) // 0 dirt, 1 wear
	after := g.Var("after cleaning", 2)
	g.Factor([]infer.Var{cause}, []float64{0.7, 0.3})
	g.Factor([]infer.Var{cause, after}, []float64{
		0.95, 0.05, // dirt: clear, still dull
		0.02, 0.98, // wear
	})
	p, err := g.Posterior(cause, infer.Evidence{after: 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("worn: %.0f %%\n", 100*p[1])
	// Output: worn: 89 %
}
