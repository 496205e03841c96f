package measure

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"headstack/dsp"
)

func TestIsotonicByHand(t *testing.T) {
	got := isotonic([]float64{1, 3, 2, 4, 3, 5}, []float64{1, 1, 1, 1, 3, 1})
	if want := []float64{1, 2.5, 2.5, 3.25, 3.25, 5}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

// What makes it the least squares solution (Barlow et al. 1972): it rises, means are
// kept, and it is y where y rises.
func TestIsotonic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y := rapid.SliceOfN(rapid.Float64Range(-10, 10), 1, 12).Draw(t, "y")
		w := rapid.SliceOfN(rapid.Float64Range(0.1, 5), len(y), len(y)).Draw(t, "w")
		got := isotonic(y, w)
		before, after := 0.0, 0.0
		for i := range y {
			before, after = before+w[i]*y[i], after+w[i]*got[i]
			// The sums so far of y lie nowhere below those of the solution.
			if before < after-1e-9 {
				t.Fatalf("sums %g, %g up to %d", before, after, i)
			}
		}
		if !slices.IsSorted(got) || math.Abs(before-after) > 1e-9 {
			t.Fatalf("%v of %v", got, y)
		}
		if slices.IsSorted(y) && !slices.Equal(y, got) {
			t.Fatalf("%v rises but became %v", y, got)
		}
	})
}

// A curve through rising points rises; through points of a straight line it is one; of
// a parabola that does not turn, one as well wherever no slope is limited.
func TestCurve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 9).Draw(t, "n")
		x, y := make([]float64, n), make([]float64, n)
		for i := 1; i < n; i++ {
			x[i] = x[i-1] + rapid.Float64Range(0.1, 3).Draw(t, "dx")
			y[i] = y[i-1] + rapid.Float64Range(0, 3).Draw(t, "dy")
		}
		c := newCurve(x, y)
		last := math.Inf(-1)
		for k := range 200 {
			v := c.at(x[n-1] * float64(k) / 199)
			if v < last-1e-9 {
				t.Fatalf("falls from %g to %g", last, v)
			}
			last = v
		}
		for i := range x {
			if math.Abs(c.at(x[i])-y[i]) > 1e-9 {
				t.Fatalf("misses point %d", i)
			}
		}
		if level := rapid.Float64Range(0, 1).Draw(t, "part") * y[n-1]; y[n-1] > 0 {
			if at := c.reaches(level); math.Abs(c.at(at)-level) > 1e-6 {
				t.Fatalf("reaches %g at %g, where it is %g", level, at, c.at(at))
			}
		}
	})
	x := []float64{0, 1, 2, 3.5, 5}
	for _, f := range []func(float64) float64{func(x float64) float64 { return 2*x - 3 }, func(x float64) float64 { return (x + 4) * (x + 4) }} {
		y := make([]float64, len(x))
		for i := range x {
			y[i] = f(x[i])
		}
		c := newCurve(x, y)
		for at := 0.0; at <= 5; at += 0.13 {
			if math.Abs(c.at(at)-f(at)) > 1e-9 {
				t.Errorf("at %g: %g, want %g", at, c.at(at), f(at))
			}
		}
	}
}

// sineHarmonic is the amplitude of harmonic n of bend(A·sin φ), by the midpoint rule.
func sineHarmonic(bend func(float64) float64, amp float64, n int) float64 {
	const points = 512
	sum := 0.0
	for i := range points {
		phase := 2 * math.Pi * (float64(i) + 0.5) / points
		s := math.Sin(float64(n) * phase)
		sum += s * bend(amp*math.Sin(phase))
	}
	return math.Abs(sum) * 2 / points
}

// Characteristics unlike any that the interpolation is exact for, 2 dB steps, no noise:
// the method's own error stays under 0.002 dB and, to 0.001 dB, inside its interval.
func TestMethodErrorOfMOL(t *testing.T) {
	bends := map[string]func(float64) float64{
		"tanh":   math.Tanh,
		"arctan": math.Atan,
		"root":   func(x float64) float64 { return x / math.Sqrt(1+x*x) },
		"steep":  func(x float64) float64 { return x / math.Pow(1+math.Pow(math.Abs(x), 5), 0.2) },
	}
	for name, bend := range bends {
		for shift := 0.0; shift < 2; shift += 0.31 {
			amp := func(db float64) float64 { return 0.4 * math.Pow(10, (db+shift)/20) }
			third := func(db float64) float64 { return sineHarmonic(bend, amp(db), 3) / sineHarmonic(bend, amp(db), 1) }
			var inputs, outputs []bounded
			var recorded, weights []float64
			for db := -10.0; db <= 10; db += 2 {
				h, o := math.Log(third(db)), 20*math.Log10(sineHarmonic(bend, amp(db), 1))
				inputs, outputs = append(inputs, bounded{h, h, h}), append(outputs, bounded{o, o, o})
				recorded, weights = append(recorded, db), append(weights, 1)
			}
			in := bisect(func(db float64) float64 { return third(db) - molRatio }, -10, 10)
			want := 20 * math.Log10(sineHarmonic(bend, amp(in), 1))
			got, ok := propagate(append(inputs, outputs...), func(v []float64) (float64, float64) {
				_, out, other := molOf(recorded, weights, v)
				return out, out - other
			})
			if !ok || math.Abs(got.value-want) > 0.002 || want < got.lo-1e-3 || want > got.hi+1e-3 {
				t.Errorf("%s shifted by %.2f dB: %+v, want %.4f", name, shift, got, want)
			}
			t.Logf("%s %.2f: off %.5f, half width %.5f", name, shift, got.value-want, (got.hi-got.lo)/2)
		}
	}
}

// A treble output that rises, saturates and falls: A·exp(−(A/c)^k/k), largest at A = c.
func TestMethodErrorOfSOL(t *testing.T) {
	for _, k := range []float64{1, 1.5, 2, 3} {
		for _, step := range []float64{1, 2} {
			for shift := 0.0; shift < step; shift += 0.17 {
				output := func(db float64) float64 {
					a := math.Pow(10, (db+shift)/20)
					return db - 20/math.Ln10*math.Pow(a, k)/k
				}
				want := -shift - 20/math.Ln10/k
				var pts []stepPoint
				top := 0
				for db := -10.0; db <= 10; db += step {
					pts = append(pts, stepPoint{recordedDB: db, level: dsp.Estimate{Value: output(db)}})
					if output(db) > pts[top].level.Value {
						top = len(pts) - 1
					}
				}
				var recorded []float64
				var inputs []bounded
				for _, p := range aroundTop(pts, top) {
					recorded, inputs = append(recorded, p.recordedDB), append(inputs, boundsOf(p.level))
				}
				got, ok := propagate(inputs, func(v []float64) (float64, float64) {
					_, three := largest(recorded[:3], v[:3])
					_, all := largest(recorded, v)
					return all, (all - three) / 2
				})
				t.Logf("k = %g, steps of %g dB: off %.4f, half width %.4f", k, step, got.value-want, (got.hi-got.lo)/2)
				if !ok || math.Abs(got.value-want) > 0.02 || want < got.lo-1e-3 || want > got.hi+1e-3 {
					t.Errorf("k = %g, steps of %g dB shifted by %.2f: %+v, want %.4f", k, step, shift, got, want)
				}
			}
		}
	}
}
