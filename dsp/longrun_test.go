package dsp_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"headstack/dsp"
)

// Values of Student's t: any printed table, for instance Fisher and Yates,
// Statistical Tables, table III.
func TestStudent95(t *testing.T) {
	for nu, want := range map[float64]float64{1: 12.706, 2: 4.303, 5: 2.571, 10: 2.228, 24: 2.064, 120: 1.980} {
		if got := dsp.Student95(nu); math.Abs(got-want) > 0.0006 {
			t.Errorf("t for %g degrees = %.4f, want %.3f", nu, got, want)
		}
	}
}

// band95 is the range of counts out of n in which a true chance p falls in all
// but one of 1000 cases (normal approximation, 3.3 standard deviations).
func band95(n int, p float64) (lo, hi float64) {
	sd := math.Sqrt(p * (1 - p) / float64(n))
	return p - 3.3*sd, p + 3.3*sd
}

func TestMeanCovers(t *testing.T) {
	const runs = 1500
	for _, c := range []struct {
		name string
		next func(r *rand.Rand) func() float64
		lo   float64 // least true coverage accepted
	}{
		{"white", func(r *rand.Rand) func() float64 { return r.NormFloat64 }, 0.95},
		{"correlated over 10 samples", func(r *rand.Rand) func() float64 {
			x := 0.0
			return func() float64 { x = 0.9*x + r.NormFloat64(); return x }
		}, 0.94},
	} {
		r := rand.New(rand.NewPCG(11, 5))
		hit := 0
		for range runs {
			next := c.next(r)
			for range 200 {
				next()
			}
			y := make([]float64, 1200)
			for i := range y {
				y[i] = 3 + next()
			}
			e, ok := dsp.Mean(y)
			if !ok {
				t.Fatal("no mean")
			}
			if math.Abs(e.Value-3) <= e.Half() {
				hit++
			}
		}
		lo, _ := band95(runs, c.lo)
		_, hi := band95(runs, 0.96)
		got := float64(hit) / runs
		t.Logf("%s: %.3f covered", c.name, got)
		if got < lo || got > hi {
			t.Errorf("%s: %.3f of %d intervals cover the mean, want %.3f to %.3f", c.name, got, runs, lo, hi)
		}
	}
}

// Data made of the columns give back their factors, of odd and of even length, and both
// ways of fitting agree; a column that repeats another is refused.
func TestFitsReturnWhatWasPutIn(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 2))
	for _, n := range []int{40, 41, 700, 701} {
		want := []float64{3, -0.5, 1e-3}
		cols := [][]float64{make([]float64, n), make([]float64, n), make([]float64, n)}
		y := make([]float64, n)
		for i := range y {
			cols[0][i], cols[1][i], cols[2][i] = 1, r.NormFloat64(), float64(i)
			y[i] = want[0] + want[1]*cols[1][i] + want[2]*cols[2][i]
		}
		got, ok := dsp.Coefficients(y, cols)
		if !ok {
			t.Fatalf("n=%d: no coefficients", n)
		}
		for k := range want {
			e, ok := dsp.LeastSquares(y, cols, k)
			if !ok || math.Abs(got[k]-want[k]) > 1e-10 || math.Abs(e.Value-want[k]) > 1e-10 || !(e.Half() < 1e-9) {
				t.Errorf("n=%d: coefficient %d is %.12g and %.12g ± %.2g, want %g", n, k, got[k], e.Value, e.Half(), want[k])
			}
		}
		if _, ok := dsp.Coefficients(y, append(cols, cols[1])); ok {
			t.Errorf("n=%d: a repeated column is accepted", n)
		}
	}
}

// A phase with flutter: several sinusoids in frequency, white noise in phase.
func TestFitSlopeCoversUnderFlutter(t *testing.T) {
	runs := 400
	if testing.Short() {
		runs = 60
	}
	const rate, seconds, slope = 125.0, 9.4, 1.3
	r := rand.New(rand.NewPCG(7, 9))
	hit, found := 0, 0
	worst := 0.0
	for range runs {
		n := int(rate * seconds)
		y := make([]float64, n)
		lines := 3 + r.IntN(5)
		for range lines {
			f := 0.3 * math.Pow(100, r.Float64())
			a := 2 * math.Pi * 1 * (0.5 + r.Float64()) / (2 * math.Pi * f) // 1 Hz of a 1 kHz tone is 0.1 %
			p := 2 * math.Pi * r.Float64()
			for i := range y {
				y[i] += a * math.Cos(2*math.Pi*f*float64(i)/rate+p)
			}
		}
		for i := range y {
			y[i] += slope*float64(i)/rate + 5e-4*r.NormFloat64()
		}
		fit, ok := dsp.FitSlope(y, 12, nil)
		if !ok {
			t.Fatal("no fit")
		}
		if len(fit.Freqs) >= lines {
			found++
		}
		err := math.Abs(fit.Slope.Value*rate - slope)
		if err <= fit.Slope.Half()*rate {
			hit++
		}
		worst = math.Max(worst, err)
	}
	got := float64(hit) / float64(runs)
	lo, hi := band95(runs, 0.95)
	t.Logf("covered %.3f, all lines found in %d of %d, worst error %.3g rad/s", got, found, runs, worst)
	if got < lo || got > hi {
		t.Errorf("%.3f of %d intervals cover the slope, want %.3f to %.3f", got, runs, lo, hi)
	}
}

func BenchmarkFitSlope(b *testing.B) {
	y := make([]float64, 1175)
	r := rand.New(rand.NewPCG(7, 9))
	for i := range y {
		y[i] = 5e-4*r.NormFloat64() + 2*math.Cos(2*math.Pi*0.01*float64(i)) + 0.2*math.Cos(2*math.Pi*0.07*float64(i)) + 0.1*math.Cos(2*math.Pi*0.2*float64(i)) + 0.5*math.Cos(2*math.Pi*0.031*float64(i))
	}
	for b.Loop() {
		dsp.FitSlope(y, 12, nil)
	}
}

// BenchmarkFitSlopeRandomFlutter is the usual case on a machine: flutter without lines
// of its own, in which as many are found as allowed.
func BenchmarkFitSlopeRandomFlutter(b *testing.B) {
	const rate = 125.0
	r := rand.New(rand.NewPCG(7, 9))
	y := make([]float64, 1175)
	for range 80 {
		f := 0.5 + 59.5*r.Float64()
		p := 2 * math.Pi * r.Float64()
		for i := range y {
			y[i] += 0.05 / f * math.Cos(2*math.Pi*f*float64(i)/rate+p)
		}
	}
	for i := range y {
		y[i] += 5e-4 * r.NormFloat64()
	}
	lines := 0
	for b.Loop() {
		fit, _ := dsp.FitSlope(y, 12, nil)
		lines = len(fit.Freqs)
	}
	b.ReportMetric(float64(lines), "lines")
}
