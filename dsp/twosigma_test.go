package dsp

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Closed forms of AES6-2008's 95 % limit: computed in the table from the
// distribution of each kind of deviation.
func TestTwoSigmaOfKnownDeviations(t *testing.T) {
	tab := readCheckTable(t, "01_wow_flutter_definitions.csv", 17)
	const n = 200000
	sine, gauss, square := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		p := (float64(i) + 0.5) / n
		sine[i] = math.Sin(2 * math.Pi * p)
		gauss[i] = math.Sqrt2 * math.Erfinv(2*p-1)
		square[i] = math.Copysign(1, sine[i])
	}
	rows := 0
	for i, r := range tab.rows {
		var x []float64
		switch r[0] {
		case "sine deviation, peak 1, reading at 95 % limit":
			x = sine
		case "normal deviation, sigma 1, reading at 95 % limit":
			x = gauss
		case "square deviation: any percentile / peak":
			x = square
		default:
			continue
		}
		rows++
		// The values lie as close as 1/n of the distribution; the printed digits end at 1e-5.
		if got, want := TwoSigma(x), tab.at(i, "value", math.NaN()); math.Abs(got-want) > 5e-5 {
			t.Errorf("%s: %.6f, want %g", r[0], got, want)
		}
	}
	if rows != 3 {
		t.Errorf("%d rows tested, expected 3", rows)
	}
}

// The definition, counted out: at most 5 % exceed it, and of the values below
// it each is exceeded by more.
func TestTwoSigmaIsTheOrderStatistic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// Few distinct values make ties; many test the selection.
		step := rapid.SampledFrom([]float64{0.5, 1e-9}).Draw(t, "step")
		x := rapid.SliceOfN(rapid.Float64Range(-2, 2), 1, 500).Draw(t, "x")
		for i, v := range x {
			x[i] = math.Round(v/step) * step
		}
		before := slices.Clone(x)
		got := TwoSigma(x)
		if !slices.Equal(before, x) {
			t.Fatal("the argument was changed")
		}
		exceed := func(level float64) (n int) {
			for _, v := range x {
				if math.Abs(v) > level {
					n++
				}
			}
			return n
		}
		if 20*exceed(got) > len(x) {
			t.Fatalf("%d of %d exceed %g", exceed(got), len(x), got)
		}
		found := false
		for _, v := range x {
			v = math.Abs(v)
			found = found || v == got
			if v < got && 20*exceed(v) <= len(x) {
				t.Fatalf("%g is less than %g and only %d of %d exceed it", v, got, exceed(v), len(x))
			}
		}
		if !found {
			t.Fatalf("%g is none of the values", got)
		}
	})
}

func TestTwoSigmaAtTheEnds(t *testing.T) {
	if v := TwoSigma(nil); !math.IsNaN(v) {
		t.Errorf("no values: %g", v)
	}
	if v := TwoSigma([]float64{1, math.NaN(), 2}); !math.IsNaN(v) {
		t.Errorf("NaN among the values: %g", v)
	}
	if v := TwoSigma([]float64{-3}); v != 3 {
		t.Errorf("one value: %g", v)
	}
	x := make([]float64, 100)
	for i := range x {
		x[i] = float64(i + 1)
	}
	x[99] = math.Inf(-1)
	if v := TwoSigma(x); v != 95 {
		t.Errorf("1 to 99 and an infinity: %g, want 95", v)
	}
}
