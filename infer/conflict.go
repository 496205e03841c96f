package infer

import (
	"fmt"
	"math"
)

// Conflict returns how badly pieces of evidence fit together, in bits:
//
//	conf(e) = log2( Π P(e_i) / P(e_1 … e_n) )
//
// logJoint is ln P(e_1 … e_n) and logEach are the ln P(e_i). Above 0 the findings are
// less likely together than they would be by chance, and one may be wrong, or a rare
// cause true; below 0 they support each other. It is +Inf where they exclude each other.
// Densities do as well as probabilities: their units cancel. Source: F. V. Jensen,
// B. Chamberlain, T. Nordahl, F. Jensen, UAI 6, 1991.
func Conflict(logJoint float64, logEach []float64) float64 {
	sum := -logJoint
	for _, l := range logEach {
		sum += l
	}
	return sum / math.Ln2
}

// Conflict is [Conflict] of evidence under the graph. The error is that of
// [Graph.LogEvidence].
func (g *Graph) Conflict(ev Evidence) (float64, error) {
	joint, err := g.LogEvidence(ev)
	if err != nil {
		return 0, fmt.Errorf("infer: conflict: %w", err)
	}
	prior, err := g.LogEvidence(nil) // 0 for a network, else the graph's own weight
	if err != nil {
		return 0, fmt.Errorf("infer: conflict: %w", err)
	}
	var each []float64
	for v, state := range ev {
		one, err := g.LogEvidence(Evidence{v: state})
		if err != nil {
			return 0, fmt.Errorf("infer: conflict: %w", err)
		}
		each = append(each, one-prior)
	}
	return Conflict(joint-prior, each), nil
}
