package dsp_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"headstack/dsp"
)

// The reference is gonum's transform, another code by other hands.
func TestTransformsAgreeWithGonum(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for n := 2; n <= 1<<15; n *= 2 {
		x := make([]float64, n)
		for i := range x {
			x[i] = r.NormFloat64()
		}
		got := dsp.NewRealFFT(n).Coefficients(nil, x)
		want := fourier.NewFFT(n).Coefficients(nil, x)
		scale := math.Sqrt(float64(n))
		for k := range want {
			if d := cmplx.Abs(got[k]-want[k]) / scale; d > 1e-9 {
				t.Fatalf("real, n=%d: X[%d] = %v, want %v (relative error %.2g, tolerance 1e-9)", n, k, got[k], want[k], d)
			}
		}
		z := make([]complex128, n)
		for i := range z {
			z[i] = complex(r.NormFloat64(), r.NormFloat64())
		}
		wantZ := fourier.NewCmplxFFT(n).Coefficients(nil, z)
		dsp.NewFFT(n).Transform(z)
		for k := range wantZ {
			if d := cmplx.Abs(z[k]-wantZ[k]) / scale; d > 1e-9 {
				t.Fatalf("complex, n=%d: X[%d] = %v, want %v (relative error %.2g, tolerance 1e-9)", n, k, z[k], wantZ[k], d)
			}
		}
	}
}

func TestPlanRefusesOtherLengths(t *testing.T) {
	for name, f := range map[string]func(){
		"not a power of two": func() { dsp.NewRealFFT(48) },
		"too short":          func() { dsp.NewRealFFT(1) },
		"wrong input":        func() { dsp.NewRealFFT(8).Coefficients(nil, make([]float64, 7)) },
		"wrong output":       func() { dsp.NewRealFFT(8).Coefficients(make([]complex128, 8), make([]float64, 8)) },
		"complex plan":       func() { dsp.NewFFT(0) },
		"complex input":      func() { dsp.NewFFT(4).Transform(make([]complex128, 2)) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: no panic", name)
				}
			}()
			f()
		}()
	}
}

func BenchmarkRealFFT(b *testing.B) {
	for _, n := range []int{1 << 12, 1 << 16} {
		x := make([]float64, n)
		for i := range x {
			x[i] = math.Sin(float64(i))
		}
		b.Run(fmt.Sprintf("own/%d", n), func(b *testing.B) {
			f := dsp.NewRealFFT(n)
			dst := make([]complex128, n/2+1)
			for b.Loop() {
				f.Coefficients(dst, x)
			}
		})
		b.Run(fmt.Sprintf("gonum/%d", n), func(b *testing.B) {
			f := fourier.NewFFT(n)
			dst := make([]complex128, n/2+1)
			for b.Loop() {
				f.Coefficients(dst, x)
			}
		})
	}
}
