package dsp

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// filters makes one of each kind.
func filters() map[string]func() *Filter {
	return map[string]func() *Filter{
		"A 44100": func() *Filter { return NewFilterA(44100) }, "A 192000": func() *Filter { return NewFilterA(192000) },
		"468 44100": func() *Filter { return NewFilter468(44100) }, "468 192000": func() *Filter { return NewFilter468(192000) },
		"flutter 200": func() *Filter { return NewFilterFlutter(200) }, "flutter 4000": func() *Filter { return NewFilterFlutter(4000) },
	}
}

// What Process does to a steady sine is what Response says, in size and phase.
func TestProcessHasTheResponse(t *testing.T) {
	for name, make1 := range filters() {
		f := make1()
		for _, part := range []float64{0.011, 0.1, 0.31, 0.45} {
			hz := part * f.Rate()
			f.Reset()
			n := int(2 * f.Settle() * f.Rate())
			n += 4000 // the poles near half the rate, where Settle says little
			x := make([]float64, n)
			for i := range x {
				x[i] = math.Cos(2 * math.Pi * part * float64(i))
			}
			f.Process(x, x)
			h := f.Response(hz)
			worst := 0.0
			for i := n - 1000; i < n; i++ {
				s, c := math.Sincos(2 * math.Pi * part * float64(i))
				worst = math.Max(worst, math.Abs(x[i]-(real(h)*c-imag(h)*s)))
			}
			// The start is forgotten to 1e-6 or so of a unit step by then.
			if worst > 2e-5 {
				t.Errorf("%s at %g Hz: output is off by %g from the stated response %v", name, hz, worst, h)
			}
		}
	}
}

// From Settle on, a step is forgotten; just before, it is not.
func TestSettle(t *testing.T) {
	for name, make1 := range filters() {
		f := make1()
		n := int(math.Round(f.Settle() * f.Rate()))
		x := make([]float64, 20*n+1000)
		for i := range x {
			x[i] = 1
		}
		f.Process(x, x)
		for i, v := range x {
			if (i == n-1 && math.Abs(v) < 0.001) || (i >= n && math.Abs(v) >= 0.001) {
				t.Errorf("%s: step response %g at sample %d, settled from %d on", name, v, i, n)
			}
		}
	}
}

func TestFilterProperties(t *testing.T) {
	for name, make1 := range filters() {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				// What a capture can hold; numbers near 1e-200 meet the rule of atRest.
				sample := rapid.Custom(func(t *rapid.T) float64 {
					return float64(rapid.Int32Range(-1<<23, 1<<23).Draw(t, "code")) / (1 << 23)
				})
				x := rapid.SliceOfN(sample, 1, 200).Draw(t, "x")
				y := rapid.SliceOfN(sample, len(x), len(x)).Draw(t, "y")
				a, b := rapid.Float64Range(-10, 10).Draw(t, "a"), rapid.Float64Range(-10, 10).Draw(t, "b")
				run := func(in []float64) []float64 {
					out := make([]float64, len(in))
					make1().Process(out, in)
					return out
				}
				fx, fy := run(x), run(y)

				mix := make([]float64, len(x))
				for i := range x {
					mix[i] = a*x[i] + b*y[i]
				}
				for i, v := range run(mix) {
					if want := a*fx[i] + b*fy[i]; math.Abs(v-want) > 1e-10 {
						t.Fatalf("not linear: sample %d is %g, want %g", i, v, want)
					}
				}

				late := rapid.IntRange(0, 50).Draw(t, "delay")
				for i, v := range run(append(make([]float64, late), x...)) {
					if i < late && v != 0 || i >= late && v != fx[i-late] {
						t.Fatalf("not time invariant: sample %d is %g", i, v)
					}
				}

				f, rest, out := make1(), x, []float64{}
				for len(rest) > 0 {
					k := rapid.IntRange(0, len(rest)).Draw(t, "block")
					part := append([]float64(nil), rest[:k]...)
					f.Process(part, part)
					out, rest = append(out, part...), rest[k:]
					if k == 0 {
						f.Process(nil, nil)
					}
				}
				for i := range out {
					if out[i] != fx[i] {
						t.Fatalf("depends on the blocks: sample %d is %g, in one block %g", i, out[i], fx[i])
					}
				}
			})
		})
	}
}

func TestFiltersRefuse(t *testing.T) {
	panics := func(name string, f func()) {
		t.Helper()
		defer func() {
			if recover() == nil {
				t.Errorf("%s did not panic", name)
			}
		}()
		f()
	}
	for _, rate := range []float64{math.NaN(), 0, -48000, 22050, 1e6, math.Inf(1)} {
		panics("A", func() { NewFilterA(rate) })
		panics("468", func() { NewFilter468(rate) })
		panics("detector 468", func() { NewDetector468(rate) })
	}
	for _, rate := range []float64{math.NaN(), 0, 199, 8001, 48000} {
		panics("flutter", func() { NewFilterFlutter(rate) })
		panics("detector flutter", func() { NewDetectorFlutter(rate) })
	}
	panics("short dst", func() { NewFilterA(48000).Process(make([]float64, 2), make([]float64, 3)) })
}

// A NaN stays until Reset, silence brings the filter to rest, nothing is allocated.
func TestFilterState(t *testing.T) {
	for name, make1 := range filters() {
		f := make1()
		x := make([]float64, 512)
		x[3] = math.NaN()
		f.Process(x, x)
		if !math.IsNaN(x[511]) {
			t.Errorf("%s: a NaN was averaged away", name)
		}
		f.Reset()
		x = make([]float64, 512)
		x[0] = 1
		f.Process(x, x)
		if math.IsNaN(x[511]) {
			t.Errorf("%s: a NaN outlives Reset", name)
		}
		for range 2000 {
			clear(x)
			f.Process(x, x)
		}
		if f.state != [3][2]float64{} {
			t.Errorf("%s: not at rest after silence: %g", name, f.state)
		}
		if n := testing.AllocsPerRun(10, func() { f.Process(x, x) }); n != 0 {
			t.Errorf("%s: %g allocations", name, n)
		}
	}
}
