package diagnosis

import (
	"math/rand/v2"
	"testing"
)

// TestCurveIsTheReading: likelihoods over the nodes of an offset are bit for bit those of
// the reading, for every kind of way, sign, repeat, meter and thing that arrives.
func TestCurveIsTheReading(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(7, 5))
	for i := range 300 {
		r := readingModel{y: 20 * rng.NormFloat64(), sd: 0.45, nu: readingTails, opposite: rng.IntN(5) == 0,
			ways: append(slipWays(), broad(readSpot, wrongSpot), trackWay(), wrongWay{state: readPin, p: 0.02, shows: fixed, db: -3, sd: 0.3, opposite: rng.IntN(2) == 0},
				wrongWay{state: readLead, p: leadOpen, shows: floor}, wrongWay{state: readLeads, p: leadsSwap, shows: through, opposite: true},
				wrongWay{state: readAverage, p: averageOften, shows: through, db: averageDB, sd: averageSDDB})}
		switch rng.IntN(4) {
		case 0:
			r.noise = 0.3 * rng.Float64()
			r.others = []float64{r.y + 3, r.y - 20}
		case 1:
			r.nu = 0
			r.noise = 0.1
		case 2:
			r.droop = 2
		}
		var arrive []total
		for n, k := 1+rng.IntN(3), 0; k < n; k++ {
			x := total{p: 1 / float64(n), dead: rng.IntN(5) == 0}
			x.db[qLevel], x.sd[qLevel] = -60*rng.Float64()*rng.Float64(), rng.Float64()
			x.db[qNoise], x.sd[qNoise] = 30*rng.Float64(), 3*rng.Float64()
			arrive = append(arrive, x)
		}
		nodes := []float64{-30, -3.3, 0, 0.45, 12}
		c := newCurve(&r, nodes)
		humps := c.humps(arrive)
		for k, offset := range nodes {
			want := make([]float64, readStates)
			r.like(arrive, offset, want)
			var got [readStates]float64
			c.at(humps, k, &got)
			if got != [readStates]float64(want) {
				t.Fatalf("model %d at an offset of %g dB: %v, the reading says %v", i, offset, got, want)
			}
			for range metOften + 1 { // anew, and as remembered
				var all [5]float64
				c.fill(c.humps(arrive), 0, len(nodes), all[:])
				if all[k] != sumOf(want) {
					t.Errorf("model %d at an offset of %g dB: %v in all, the reading says %v", i, offset, all[k], sumOf(want))
				}
				c.fill(humps, k, k+1, all[:])
				if all[0] != sumOf(want) {
					t.Errorf("model %d at an offset of %g dB alone: %v, the reading says %v", i, offset, all[0], sumOf(want))
				}
			}
		}
	}
}
