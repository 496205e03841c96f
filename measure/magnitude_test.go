package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"headstack/dsp"
)

// Intervals of moduli in noise hold the truth in 95 % of cases however weak the
// line is, with one line and with four of unlike noise. Seed 1.
func TestIntervalsOfModuliInNoise(t *testing.T) {
	const dof, runs = 22, 1000
	r := rand.New(rand.NewPCG(1, 1))
	estimate := func(value, sigma float64) dsp.Estimate { // with a standard error as uncertain as dof says
		chi := 0.0
		for range dof {
			g := r.NormFloat64()
			chi += g * g
		}
		return dsp.Estimate{Value: value + sigma*r.NormFloat64(), SE: sigma * math.Sqrt(chi/dof), Dof: dof}
	}
	turn := func(re, im dsp.Estimate) component { // along its own direction
		size, angle := math.Hypot(re.Value, im.Value), math.Atan2(im.Value, re.Value)
		s, c := math.Sincos(angle)
		mix := func(a, b float64) float64 { return math.Hypot(a*re.SE, b*im.SE) }
		return component{along: dsp.Estimate{Value: size, SE: mix(c, s), Dof: dof}, across: dsp.Estimate{SE: mix(s, c), Dof: dof}}
	}
	for _, lines := range [][]float64{{1}, {1, 1, 1, 1}, {1, 0.7, 0.5, 0.3}} { // standard deviations
		for _, size := range []float64{0, 0.5, 1, 1.5, 2, 2.5, 3, 4, 5, 7, 8, 9, 12, 30} {
			hit := 0
			for range runs {
				var cs []component
				for k, sigma := range lines {
					at := 0.0
					if k == min(1, len(lines)-1) {
						at = size
					}
					cs = append(cs, turn(estimate(at*math.Cos(2), sigma), estimate(at*math.Sin(2), sigma)))
				}
				b := rootSumOfSquares(cs...)
				if b.lo <= size && size <= b.hi {
					hit++
				}
				if b.lo > b.value || b.value > b.hi || !(b.hi > 0) {
					t.Fatalf("line of %g: %+v", size, b)
				}
			}
			got := float64(hit) / runs
			t.Logf("%v, line of %4g: %.3f", lines, size, got)
			if got < 0.925 || got > 0.975 {
				t.Errorf("noise %v, line of %g: %.3f of %d intervals hold it, want 0.925 to 0.975", lines, size, got, runs)
			}
		}
	}
}

// Noise alone: |ĉ|²/s² is chi-square with 2 degrees of freedom, whose 97.5 % point is
// −2·ln 0.025 = 7.378 (R. A. Fisher's tables: 7.38); with 8 degrees 17.53 (same tables).
func TestChiSquareScore(t *testing.T) {
	for _, c := range []struct{ k, x, z float64 }{{2, 7.378, 1.96}, {2, 4.605, 1.2816}, {8, 17.535, 1.96}, {8, 2.180, -1.96}, {1000, 1089.5, 1.96}} {
		if got := chiSquareScore(c.x, c.k, 0); math.Abs(got-c.z) > 0.02 {
			t.Errorf("score of %g with %g degrees of freedom: %.4f, want %.4f", c.x, c.k, got, c.z)
		}
	}
}
