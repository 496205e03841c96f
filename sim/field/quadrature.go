package field

import (
	"cmp"
	"slices"
	"sync"

	"gonum.org/v1/gonum/integrate/quad"
)

// steps are how finely is integrated.
type steps struct {
	depthOrder  int // Gauss-Legendre nodes through the coating
	alongOrder  int // of each panel along the tape
	acrossOrder int // of each panel across
	halfWaves   int // along the tape under full weight
	ramp        int // spacings worked out where spacing differs across a core
	halves      int // pieces into which each panel is cut: 1, or 2 to prove it enough
}

// usual is what Response works with: its results stand to better than 0.001 dB against
// the same with all panels halved and twice the half-waves (test).
var usual = steps{depthOrder: 7, alongOrder: 5, acrossOrder: 8, halfWaves: 6, ramp: 4, halves: 1}

// gauss appends the Gauss-Legendre nodes of order n between a and b, rising from a to b.
func gauss(list []node, n int, a, b float64) []node {
	for _, u := range legendre(n) {
		list = append(list, node{a + (b-a)*u.at, (b - a) * u.weight})
	}
	return list
}

var legendreTables sync.Map // order to []node on 0 to 1

func legendre(n int) []node {
	if t, ok := legendreTables.Load(n); ok {
		return t.([]node)
	}
	at, weight := make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(at, weight, 0, 1)
	t := make([]node, n)
	for i := range t {
		t[i] = node{at[i], weight[i]}
	}
	slices.SortFunc(t, func(a, b node) int { return cmp.Compare(a.at, b.at) })
	legendreTables.Store(n, t)
	return t
}
