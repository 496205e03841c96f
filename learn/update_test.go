package learn

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.10g, want %.10g ± %g", what, got, want, tol)
	}
}

// TestBeta: Gelman et al., section 2.4, placenta previa: 437 of 980 births were girls, a
// uniform prior; mean 0.446, sd 0.016, central 95 % interval [0.415, 0.477] (quoted from
// memory, to the digits given). The quantiles to ten digits are of Python 3.11 fractions:
// the binomial sum that a Beta distribution of whole parameters has, bisected.
func TestBeta(t *testing.T) {
	p := beta{1, 1}.after(437, 980)
	near(t, "mean", p.mean(), 0.446, 0.0005)
	for _, c := range []struct{ a, b, lo, hi, mean float64 }{
		{438, 544, 0.4150654924549997, 0.47719977062942576, 0.4460285132382892},
		{5, 13, 0.1031355143703081, 0.49899327320457587, 0.2777777777777778},
		{1, 21, 0.0012048834483380233, 0.16109761521906307, 0.045454545454545456},
		{3, 201, 0.0030580767004551035, 0.03513453363061103, 0.014705882352941176},
		{40, 2, 0.871445979615828, 0.9940368817589444, 0.9523809523809523},
	} {
		d := beta{c.a, c.b}
		lo, hi := d.interval()
		near(t, "lo", lo, c.lo, 1e-10)
		near(t, "hi", hi, c.hi, 1e-10)
		near(t, "mean", d.mean(), c.mean, 1e-15)
	}
	// Beta(a, 1) has the quantile q^(1/a), in closed form; a prior of a stage has as small
	// an a as this.
	for _, a := range []float64{0.02, 0.16, 0.9} {
		lo, hi := beta{a, 1}.interval()
		near(t, "lo", lo, math.Pow(0.025, 1/a), 1e-12)
		near(t, "hi", hi, math.Pow(0.975, 1/a), 1e-9)
	}
}

// TestDirichlet: Gelman et al., section 3.4, a poll of 1447 adults: 727, 583 and 137 for
// the three choices, a uniform prior; the posterior is Dirichlet(728, 584, 138).
func TestDirichlet(t *testing.T) {
	p := dirichlet{1, 1, 1}.after([]float64{727, 583, 137})
	for i, want := range []float64{728, 584, 138} {
		d := p.of(i)
		near(t, "alpha", d.a, want, 0)
		near(t, "mean", d.mean(), want/1450, 1e-15)
	}
}

// TestGammaRate: Gelman et al., section 2.6, asthma deaths: Gamma(3, 5) before, 3 deaths
// in 200,000 persons of whom 2 are expected at rate 1: Gamma(6, 7), mean 0.86. Ten years of
// that, 30 deaths: Gamma(33, 25), mean 1.32.
func TestGammaRate(t *testing.T) {
	near(t, "one year", gammaRate{3, 5}.after(3, 2).mean(), 0.86, 0.005)
	near(t, "ten years", gammaRate{3, 5}.after(30, 20).mean(), 1.32, 0.005)
}

// TestNormal: Gelman et al., section 3.2, Newcomb's 66 measurements of the speed of light:
// mean 26.2, sd 10.8, and with no prior the 95 % interval of the mean is
// 26.2 ± 1.997·10.8/√66 = [23.6, 28.8].
func TestNormal(t *testing.T) {
	none := normal{m: 0, kappa: 0, nu: -1, s2: 0}
	p := none.after(66, 26.2, 65*10.8*10.8)
	lo, hi := p.interval()
	near(t, "mean", p.m, 26.2, 1e-12)
	near(t, "lo", lo, 23.6, 0.06)
	near(t, "hi", hi, 28.8, 0.06)
	// By hand: m 1, κ 4, ν 4, s² 0.25; the values 2, 3: mean 2.5, about it 0.5.
	// κ 6, ν 6, m (4+5)/6 = 1.5, 6·s² = 1 + 0.5 + 8/6·2.25 = 4.5.
	q := normal{1, 4, 4, 0.25}.after(2, 2.5, 0.5)
	near(t, "m", q.m, 1.5, 1e-15)
	near(t, "s2", q.s2, 0.75, 1e-15)
	near(t, "kappa", q.kappa, 6, 0)
	// t with 6 degrees: 2.4469 (Fisher and Yates, table III).
	_, hi = q.interval()
	near(t, "half", hi-1.5, 2.4469*math.Sqrt(0.75/6), 2e-5)
}

// TestNormalInAnyPortions: values taken in one by one give what they give together.
func TestNormalInAnyPortions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(-4, 5), 1, 20).Draw(t, "values")
		one := normal{0.3, 4, 4, 0.25}
		var log Log
		for _, v := range values {
			one = one.after(1, v, 0)
			log = log.Plus(LogOf(math.Exp(v)))
		}
		y, about := log.moments()
		all := normal{0.3, 4, 4, 0.25}.after(log.N, y, about)
		// Each logarithm and square is rounded to half a millionth.
		if math.Abs(one.m-all.m) > 1e-6 || math.Abs(one.s2-all.s2) > 3e-5 {
			t.Fatalf("one by one %+v, together %+v", one, all)
		}
	})
}

// The spread of one time to come begins with the usual one, and goes to that of the times
// that were counted: of 400 whose logarithm scatters by 0.1, to 21.7 %.
func TestSpreadOfMinutes(t *testing.T) {
	if got := (Log{}).spread(); math.Abs(got-usualSpread) > 1e-9 {
		t.Errorf("before any: %.4f", got)
	}
	for _, c := range []struct {
		n       int
		sd      float64
		lo, hi  float64
		because string
	}{
		{1, 0, 0.3, 0.36, "one time says nothing of the spread, and little of the middle"},
		{400, 0.1, 0.205, 0.225, "exp(1.966·0.1) − 1"},
		{400, 0.3, 0.75, 0.85, "exp(1.966·0.3) − 1"},
		{400, 1, 1, 1, "never more than all of it"},
	} {
		var l Log
		for i := range c.n {
			x := 3.0
			if c.n > 1 {
				x += c.sd * (2*float64(i%2) - 1)
			}
			l = l.Plus(Log{1, int64(math.Round(x * 1e6)), int64(math.Round(x * x * 1e6))})
		}
		if got := l.spread(); got < c.lo || got > c.hi {
			t.Errorf("%d times of sd %g: %.4f, want %g to %g: %s", c.n, c.sd, got, c.lo, c.hi, c.because)
		}
	}
}
