package dsp

import (
	"math"
	"os"
	"testing"

	"gonum.org/v1/gonum/optimize"
)

// refit searches again for the three rates of a detector and tells how far the
// shipped ones are from the best: cost is the largest share of a limit used.
func refit(t *testing.T, shipped [3]float64, cost func(attack, decay, lag float64) float64) {
	t.Helper()
	have := cost(shipped[0], shipped[1], shipped[2])
	best, at := math.Inf(1), [3]float64{}
	for _, start := range [][3]float64{{1.15, 0.9, 1.1}, {0.85, 1.1, 0.9}, {1, 1.15, 0.85}} {
		x := make([]float64, 3)
		for i := range x {
			x[i] = math.Log(shipped[i] * start[i])
		}
		p := optimize.Problem{Func: func(x []float64) float64 {
			return cost(math.Exp(x[0]), math.Exp(x[1]), math.Exp(x[2]))
		}}
		r, err := optimize.Minimize(p, x, &optimize.Settings{FuncEvaluations: 200}, &optimize.NelderMead{SimplexSize: 0.1})
		if err != nil {
			t.Fatal(err)
		}
		if r.F < best {
			best, at = r.F, [3]float64{math.Exp(r.X[0]), math.Exp(r.X[1]), math.Exp(r.X[2])}
		}
	}
	t.Logf("shipped %.4g uses %.3f of a limit, refitted %.4g uses %.3f", shipped, have, at, best)
	if have > 1.05*best+0.01 {
		t.Errorf("the shipped rates %.4g use %.3f of a limit, %.4g only %.3f", shipped, have, at, best)
	}
}

func longOnly(t *testing.T) {
	t.Helper()
	if os.Getenv("HEADSTACK_LONG") == "" {
		t.Skip("a repeated fit: HEADSTACK_LONG=1")
	}
}

// share is how much of the way from the stated reading to a limit is used.
func share(got, want, lo, hi float64) float64 {
	if got > want {
		return (got - want) / (hi - want)
	}
	return (want - got) / (want - lo)
}

func TestRefitDetector468(t *testing.T) {
	longOnly(t)
	const rate = 96000
	single := readCheckTable(t, "02_bs468_single_bursts.csv", 8)
	repeated := readCheckTable(t, "02_bs468_repeated_bursts.csv", 3)
	weighted := func(seconds float64, x func(float64) float64) []float64 {
		y := make([]float64, int(seconds*rate))
		for i := range y {
			y[i] = x(float64(i) / rate)
		}
		NewFilter468(rate).Process(y, y)
		return y
	}
	steady := weighted(3, tone(5000))
	var bursts [][]float64
	var limits [][3]float64
	for i := range single.rows {
		ms := single.at(i, "burst_length_ms", math.NaN())
		bursts = append(bursts, weighted(ms/1000+0.5, burst(5000, ms/1000, 100)))
		limits = append(limits, rowLimits(single, i))
	}
	for i := range repeated.rows {
		bursts = append(bursts, weighted(2.6, burst(5000, 0.005, 1/repeated.at(i, "bursts_per_second", math.NaN()))))
		limits = append(limits, rowLimits(repeated, i))
	}
	out := make([]float64, 3*rate)
	refit(t, [3]float64{attack468, decay468, lag468}, func(attack, decay, lag float64) float64 {
		d := detector468(rate, attack, decay, lag)
		highest := func(x []float64) (hi float64) {
			d.Reset()
			d.Process(out, x)
			for _, v := range out[:len(x)] {
				hi = math.Max(hi, v)
			}
			return hi
		}
		full, worst := highest(steady), 0.0
		for i, x := range bursts {
			worst = math.Max(worst, share(100*highest(x)/full, limits[i][0], limits[i][1], limits[i][2]))
		}
		return worst
	})
}

func rowLimits(tab checkTable, row int) [3]float64 {
	return [3]float64{
		tab.at(row, "reading_percent", math.NaN()),
		tab.at(row, "lower_limit_percent", math.NaN()),
		tab.at(row, "upper_limit_percent", math.NaN()),
	}
}

func TestRefitDetectorFlutter(t *testing.T) {
	longOnly(t)
	const rate = 1000
	pulses := readCheckTable(t, "01_wow_flutter_dynamics.csv", 4)
	sines := readCheckTable(t, "01_wow_flutter_weighting.csv", 17)
	refit(t, [3]float64{attackFlutter, decayFlutter, lagFlutter}, func(attack, decay, lag float64) float64 {
		worst := 0.0
		for i := range pulses.rows {
			ms := pulses.at(i, "pulse_length_ms", math.NaN())
			hi, lo := extremes(rate, 9, 8, func(t float64) float64 {
				if math.Mod(t+1e-9, 1) < ms/1000 {
					return 2
				}
				return 0
			}, NewFilterFlutter(rate).Process, detectorFlutter(rate, attack, decay, lag).Process)
			want, tol := pulses.at(i, "reading_percent", math.NaN()), pulses.at(i, "tolerance_percent_points", math.NaN())
			worst = math.Max(worst, math.Abs(100*hi-want)/tol)
			if ms == 100 {
				worst = math.Max(worst, math.Abs(100*lo-40)/4)
			}
		}
		for i := range sines.rows {
			hz := sines.at(i, "frequency_hz", math.NaN())
			plus, minus := sines.at(i, "tolerance_plus_db", math.NaN()), sines.at(i, "tolerance_minus_db", math.NaN())
			if hz == 4 || math.IsNaN(plus) {
				continue
			}
			hi, _ := extremes(rate, 16, 10, tone(hz), NewFilterFlutter(rate).Process, detectorFlutter(rate, attack, decay, lag).Process)
			worst = math.Max(worst, share(20*math.Log10(hi)-sines.at(i, "weighting_db", math.NaN()), 0, minus, plus))
		}
		return worst
	})
}
