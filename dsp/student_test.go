package dsp_test

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"headstack/dsp"
)

// Against the distribution package of an independent library, and the usual
// handbook table (two-sided 95 %: 12.706, 2.228, 1.960; from memory).
func TestQuantilesAgreeWithGonum(t *testing.T) {
	for _, nu := range []float64{1, 1.5, 2, 3, 4.7, 10, 15, 30, 100, 1234, 1e5} {
		want := distuv.StudentsT{Sigma: 1, Nu: nu}.Quantile(0.975)
		if got := dsp.Student95(nu); math.Abs(got-want) > 1e-8*want {
			t.Errorf("Student95(%g) = %.12g, want %.12g", nu, got, want)
		}
	}
	for _, c := range []struct{ nu, want float64 }{{1, 12.706}, {10, 2.228}, {1e9, 1.960}, {0.3, 12.706}} {
		if got := dsp.Student95(c.nu); math.Abs(got-c.want) > 5e-4 {
			t.Errorf("Student95(%g) = %.4f, want %.3f", c.nu, got, c.want)
		}
	}
	for _, k := range []float64{1, 2, 5, 10, 37} {
		for _, q := range []float64{0, 0.1, 1, 4, 11, 30, 90} {
			want := 1 - distuv.ChiSquared{K: k}.CDF(q)
			if got := dsp.ChiSquaredTail(k, q); math.Abs(got-want) > 1e-12 {
				t.Errorf("ChiSquaredTail(%g, %g) = %g, want %g", k, q, got, want)
			}
		}
	}
	if !math.IsNaN(dsp.ChiSquaredTail(0, 1)) || !math.IsNaN(dsp.ChiSquaredTail(1, -1)) {
		t.Error("ChiSquaredTail outside its range is a number")
	}
}
