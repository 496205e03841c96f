package dsp

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The assembler and its twin in Go agree to rounding at every length and place,
// and both with a sum in the plainest form. The tolerance is that of n roundings.
func TestVectorsAgreeWithPlainSums(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 1))
	series := func(n int) []float64 {
		x := make([]float64, n)
		for i := range x {
			x[i] = r.NormFloat64()
		}
		return x
	}
	for n := range 83 {
		x, a, b := series(n), series(n+1), series(n+3)
		wantA, wantB, size := 0.0, 0.0, 1.0
		for i, v := range x {
			wantA += v * a[i]
			wantB += v * b[i]
			size += math.Abs(v*a[i]) + math.Abs(v*b[i])
		}
		near := func(name string, got, want float64) {
			t.Helper()
			if !(math.Abs(got-want) <= 2e-16*float64(n+4)*size) {
				t.Errorf("%s of %d: %g, want %g", name, n, got, want)
			}
		}
		near("dot", dot(x, a), wantA)
		near("dotGo", dotGo(x, a), wantA)
		gotA, gotB := dot2(x, a, b)
		near("dot2 a", gotA, wantA)
		near("dot2 b", gotB, wantB)
		gotA, gotB = dot2Go(x, a, b)
		near("dot2Go a", gotA, wantA)
		near("dot2Go b", gotB, wantB)
		sumSq, peak := Extent(x)
		wantPeak, wantSq := 0.0, 0.0
		for _, v := range x {
			wantPeak, wantSq = max(wantPeak, math.Abs(v)), wantSq+v*v
		}
		if peak != wantPeak || math.Abs(sumSq-wantSq) > 1e-14*wantSq {
			t.Errorf("extent of %d: %g and %g, want %g and %g", n, sumSq, peak, wantSq, wantPeak)
		}
		for i := range x {
			bad := append([]float64(nil), x...)
			bad[i] = math.NaN()
			if a, b := Extent(bad); a == a || b == b {
				t.Errorf("extent of %d with NaN at %d: %g, %g", n, i, a, b)
			}
			bad[i] = math.Inf(-1)
			if a, b := Extent(bad); !math.IsInf(a, 1) || !math.IsInf(b, 1) {
				t.Errorf("extent of %d with an infinity at %d: %g, %g", n, i, a, b)
			}
		}
		y := series(n + 2)
		z := append([]float64(nil), y...)
		axpy(1.7, x, y)
		axpyGo(1.7, x, z)
		for i := range y {
			near("axpy", y[i], z[i])
		}
	}
	for _, n := range []int{4, 8, 20, 76} {
		for count := range 14 {
			for _, step := range []int{1, 3, 16} {
				a, b := series(n), series(n)
				x := series(max(0, count-1)*step + n)
				got, want := make([]complex128, count+1), make([]complex128, count)
				got[count] = 77 // must stay
				slide(got[:count], x, step, a, b)
				slideGo(want, x, step, a, b)
				for m := range want {
					if d := got[m] - want[m]; math.Hypot(real(d), imag(d)) > 1e-14*float64(n) {
						t.Errorf("slide of %d taps, step %d: [%d of %d] = %v, want %v", n, step, m, count, got[m], want[m])
					}
				}
				if got[count] != 77 {
					t.Fatalf("slide of %d taps, step %d wrote behind its %d outputs", n, step, count)
				}
				// Bit by bit the same, alone and among others.
				for m := range want {
					one := make([]complex128, 1)
					slide(one, x[m*step:], step, a, b)
					if one[0] != got[m] {
						t.Errorf("slide of %d taps, step %d: output %d of %d is %v, alone %v", n, step, m, count, got[m], one[0])
					}
				}
			}
		}
	}
}

// The steps of the transforms in assembler equal those in Go, which are compared with
// another library's elsewhere.
func TestVectorTransformStepsAgree(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 2))
	series := func(n int) []complex128 {
		x := make([]complex128, n)
		for i := range x {
			x[i] = complex(r.NormFloat64(), r.NormFloat64())
		}
		return x
	}
	same := func(name string, n, s int, got, want []complex128) {
		t.Helper()
		for i := range want {
			if d := got[i] - want[i]; math.Hypot(real(d), imag(d)) > 1e-14 {
				t.Fatalf("%s of %d, stride %d: [%d] = %v, want %v", name, n, s, i, got[i], want[i])
			}
		}
	}
	for n := 4; n <= 4096; n *= 2 {
		f := NewFFT(n)
		for sub, s := n, 1; sub >= 4; sub, s = sub/2, s*2 {
			x, got, want := series(n), make([]complex128, n), make([]complex128, n)
			f.radix4(got, x, sub, s)
			f.radix4Go(want, x, sub, s)
			same("step of four", n, s, got, want)
		}
		real := NewRealFFT(2 * n)
		z, got, want := series(n), make([]complex128, n+1), make([]complex128, n+1)
		real.unpack(got, z)
		want[0], want[n] = got[0], got[n]
		real.unpackGo(want, z, 1)
		same("unpacking", n, 1, got, want)
	}
}

func BenchmarkDot(b *testing.B) {
	x, y, z := make([]float64, 1200), make([]float64, 1200), make([]float64, 1200)
	b.Run("dot", func(b *testing.B) {
		for b.Loop() {
			dot(x, y)
		}
	})
	b.Run("dotGo", func(b *testing.B) {
		for b.Loop() {
			dotGo(x, y)
		}
	})
	b.Run("dot2", func(b *testing.B) {
		for b.Loop() {
			dot2(x, y, z)
		}
	})
	b.Run("axpy", func(b *testing.B) {
		for b.Loop() {
			axpy(0.5, x, y)
		}
	})
}
