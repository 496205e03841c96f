package tape_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"headstack/tape"
	"headstack/unit"
)

// IEC 61672-1:2013, Annex E and Table 3: the weightings A and C are chains of
// first-order corners, two low ones at 20.6 Hz and two high ones at 12194 Hz, for A
// with two more low ones at 107.7 and 737.9 Hz, made 0 dB at 1 kHz. Annex E gives the
// pole frequencies to five digits or more; the table is rounded to 0.1 dB.
func TestCornersAgainstWeightings(t *testing.T) {
	const f1, f2, f3, f4 = 20.598997, 107.65265, 737.86223, 12194.217
	c := func(f unit.Hertz) float64 {
		return -2 * float64(tape.LowCornerLoss(f, f1)+tape.HighCornerLoss(f, f4))
	}
	a := func(f unit.Hertz) float64 {
		return c(f) - float64(tape.LowCornerLoss(f, f2)+tape.LowCornerLoss(f, f3))
	}
	tab := readTable(t, "03_iec61672_a_c_weighting.csv")
	for row := range tab.rows {
		f := unit.Hertz(tab.number(row, "exact_frequency_hz"))
		tab.near(row, "c_weighting_db", c(f)-c(1000), 0.1, 0)
		tab.near(row, "a_weighting_db", a(f)-a(1000), 0.1, 0)
		// To 0.001 dB, with what four decimals of the frequency leave open.
		tab.near(row, "c_unrounded_db", c(f)-c(1000), 0.001, 0.0003)
		tab.near(row, "a_unrounded_db", a(f)-a(1000), 0.001, 0.0003)
	}
}

// A meter of one pole, worked by others from circuit theory.
func TestHighCornerAgainstTable(t *testing.T) {
	tab := readTable(t, "11_meter_ac_bandwidth.csv")
	for row := range tab.rows {
		f, corner := unit.Hertz(tab.number(row, "frequency_hz")), unit.Hertz(tab.number(row, "corner_hz"))
		tab.near(row, "error_db", -float64(tape.HighCornerLoss(f, corner)), 0.001, 0)
	}
}

// Textbook: 3.01 dB and 45 degrees at the corner, 0.043 dB and 5.71 degrees a decade
// inside, 20.043 dB a decade outside.
func TestCornerPoints(t *testing.T) {
	for _, c := range []struct{ f, lossDB, lagDeg float64 }{
		{1000, 3.0103, 45}, {100, 0.0432, 5.7106}, {10000, 20.0432, 84.2894},
	} {
		f, mirrored := unit.Hertz(c.f), unit.Hertz(1e6/c.f)
		high, low := float64(tape.HighCornerLoss(f, 1000)), float64(tape.LowCornerLoss(mirrored, 1000))
		if math.Abs(high-c.lossDB) > 5e-5 || math.Abs(low-c.lossDB) > 5e-5 {
			t.Errorf("%v Hz: high corner %.5f dB, low one at the mirrored frequency %.5f dB, want %g", f, high, low, c.lossDB)
		}
		lag := float64(tape.HighCornerDelay(f, 1000)) * c.f * 360
		lead := -float64(tape.LowCornerDelay(mirrored, 1000)) * float64(mirrored) * 360
		if math.Abs(lag-c.lagDeg) > 5e-5 || math.Abs(lead-c.lagDeg) > 5e-5 {
			t.Errorf("%v Hz: lag %.5f degrees, lead of the low corner %.5f, want %g", f, lag, lead, c.lagDeg)
		}
	}
}

// Corners only take, more the further out, 6.02 dB per octave in the end; a high corner
// delays and a low one hastens, by less than a quarter period.
func TestCornerLaws(t *testing.T) {
	octave := 20 * math.Log10(2)
	rapid.Check(t, func(t *rapid.T) {
		f := unit.Hertz(rapid.Float64Range(1, 1e5).Draw(t, "f"))
		corner := unit.Hertz(rapid.Float64Range(1, 1e5).Draw(t, "corner"))
		more := unit.Hertz(rapid.Float64Range(1.001, 10).Draw(t, "more"))
		for name, c := range map[string]struct {
			loss        func(f, corner unit.Hertz) unit.Decibel
			delay       unit.Second
			out         unit.Hertz // a factor that moves the frequency outwards
			nothing     unit.Hertz // the corner that takes nothing
			sign, bound float64
		}{
			"low":  {tape.LowCornerLoss, tape.LowCornerDelay(f, corner), 1 / more, 0, -1, 1},
			"high": {tape.HighCornerLoss, tape.HighCornerDelay(f, corner), more, unit.Hertz(math.Inf(1)), 1, 1},
		} {
			loss, next := c.loss(f, corner), c.loss(f*c.out, corner)
			if !(loss > 0) || !(next > loss) {
				t.Fatalf("%s corner: %v dB, further out %v dB", name, loss, next)
			}
			if got := c.loss(f, c.nothing); got != 0 {
				t.Fatalf("%s corner far away takes %v dB", name, got)
			}
			// 20 octaves outside, where 1 + x² differs from x² by less than 1e-11.
			far := f
			for range 20 {
				far *= unit.Hertz(math.Pow(2, math.Copysign(1, float64(c.out-1))))
			}
			far *= corner / f
			step := c.loss(far*unit.Hertz(math.Pow(2, math.Copysign(1, float64(c.out-1)))), corner) - c.loss(far, corner)
			if math.Abs(float64(step)-octave) > 1e-9 {
				t.Fatalf("%s corner: %v dB per octave in the end", name, step)
			}
			if d := float64(c.delay) * c.sign; !(d > 0) || !(d < 1/(4*float64(f))) {
				t.Fatalf("%s corner: delay %v s at %v Hz", name, c.delay, f)
			}
			scaled := c.loss(f*more, corner*more)
			if math.Abs(float64(scaled-loss)) > 1e-9*(1+float64(loss)) {
				t.Fatalf("%s corner: %v dB, scaled %v dB", name, loss, scaled)
			}
		}
		// The two parts of one divider share the power.
		sum := math.Pow(10, -float64(tape.LowCornerLoss(f, corner))/10) + math.Pow(10, -float64(tape.HighCornerLoss(f, corner))/10)
		if math.Abs(sum-1) > 1e-12 {
			t.Fatalf("powers of the two corners add to %v", sum)
		}
		// Well below its corner a high corner delays like a pure delay.
		if d, want := float64(tape.HighCornerDelay(corner*1e-5, corner)), 1/(2*math.Pi*float64(corner)); math.Abs(d-want) > 1e-9*want {
			t.Fatalf("delay at low frequencies %v, want %v", d, want)
		}
	})
}

// A shelf lies between nothing and its step, reaches either end, and two that follow
// one another are one.
func TestShelfLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := unit.Hertz(rapid.Float64Range(1, 1e5).Draw(t, "f"))
		from := unit.Hertz(rapid.Float64Range(10, 1e4).Draw(t, "from"))
		mid := from * unit.Hertz(rapid.Float64Range(1, 10).Draw(t, "mid"))
		to := mid * unit.Hertz(rapid.Float64Range(1, 10).Draw(t, "to"))
		step := 20 * math.Log10(float64(to/from))
		loss := float64(tape.ShelfLoss(f, from, to))
		if loss < -1e-12 || loss > step+1e-12 {
			t.Fatalf("%v dB is outside 0 to %v", loss, step)
		}
		if next := float64(tape.ShelfLoss(f*1.1, from, to)); next < loss-1e-12 {
			t.Fatalf("%v dB falls to %v dB", loss, next)
		}
		parts := float64(tape.ShelfLoss(f, from, mid) + tape.ShelfLoss(f, mid, to))
		if math.Abs(parts-loss) > 1e-9 {
			t.Fatalf("%v dB in one, %v dB in two", loss, parts)
		}
		if low, high := float64(tape.ShelfLoss(from*1e-6, from, to)), float64(tape.ShelfLoss(to*1e6, from, to)); low > 1e-9 || math.Abs(high-step) > 1e-9 {
			t.Fatalf("%v dB far below, %v dB far above, want 0 and %v", low, high, step)
		}
		if open, corner := tape.ShelfLoss(f, from, unit.Hertz(math.Inf(1))), tape.HighCornerLoss(f, from); open != corner {
			t.Fatalf("without an end %v dB, corner %v dB", open, corner)
		}
	})
}

func TestCornersOutsideRange(t *testing.T) {
	nan, inf := unit.Hertz(math.NaN()), unit.Hertz(math.Inf(1))
	for _, c := range [][2]unit.Hertz{{0, 100}, {-1, 100}, {nan, 100}, {inf, 100}, {100, -1}, {100, nan}} {
		for name, got := range map[string]float64{
			"low loss": float64(tape.LowCornerLoss(c[0], c[1])), "high loss": float64(tape.HighCornerLoss(c[0], c[1])),
			"low delay": float64(tape.LowCornerDelay(c[0], c[1])), "high delay": float64(tape.HighCornerDelay(c[0], c[1])),
			"shelf": float64(tape.ShelfLoss(c[0], c[1], inf)),
		} {
			if !math.IsNaN(got) {
				t.Errorf("%s at %v Hz with corner %v Hz: %v, want NaN", name, c[0], c[1], got)
			}
		}
	}
	for name, got := range map[string]float64{
		"low, infinite": float64(tape.LowCornerLoss(100, inf)), "high, zero": float64(tape.HighCornerLoss(100, 0)),
		"low delay, infinite": float64(tape.LowCornerDelay(100, inf)), "high delay, zero": float64(tape.HighCornerDelay(100, 0)),
		"shelf backwards": float64(tape.ShelfLoss(100, 2000, 1000)), "shelf from zero": float64(tape.ShelfLoss(100, 0, 1000)),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s: %v, want NaN", name, got)
		}
	}
	if got := tape.ShelfLoss(100, inf, inf); got != 0 {
		t.Errorf("shelf at infinity takes %v dB", got)
	}
	if got := tape.LowCornerDelay(100, 0); got != 0 || math.Signbit(float64(got)) {
		t.Errorf("no low corner: delay %v", got)
	}
}
