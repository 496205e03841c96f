package field

import (
	"math"
	"testing"
	"time"
)

func TestQuick(t *testing.T) {
	for _, k := range []float64{660, 1e4, 1e5, 8.25e5} {
		for _, g := range []float64{1e-6, 3e-6} {
			for _, y := range []float64{1e-8, 1e-6, 5e-6} {
				sum := 0.0
				nodes := usual.along(k, g, y)
				for _, n := range nodes {
					sum += n.weight * karlqvist(n.at, y, g)
				}
				want := math.Exp(-k*y) * math.Sin(k*g/2) / (k * g / 2)
				t.Logf("k %g g %g y %g: %d nodes, %.9f want %.9f err %.2g dB", k, g, y, len(nodes), sum, want, 20*math.Log10(sum/want))
			}
		}
	}
	at := time.Now()
	for range 1000 {
		usual.depth(8.25e5, 2e-6, 0, 4e-6)
	}
	t.Log(time.Since(at) / 1000)
	at = time.Now()
	for range 1000 {
		usual.depth(660, 2e-6, 0, 4e-6)
	}
	t.Log(time.Since(at) / 1000)
	t.Log(averages)
}
