package tape_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"headstack/tape"
	"headstack/unit"
)

// Textbook figures: 1 µF into 10 kΩ 15.9 Hz, 10 µF into 47 kΩ 0.34 Hz, 100 pF across
// 100 kΩ 15.9 kHz.
func TestCouplingCorner(t *testing.T) {
	for _, c := range []struct {
		c         tape.Farad
		r         tape.Ohm
		want, ulp float64
	}{{1e-6, 10e3, 15.9, 0.1}, {10e-6, 47e3, 0.34, 0.01}, {100e-12, 100e3, 15900, 100}} {
		if got := float64(tape.CouplingCorner(c.c, c.r)); math.Abs(got-c.want) > c.ulp/2 {
			t.Errorf("%v F, %v Ω: %v Hz, want %v", c.c, c.r, got, c.want)
		}
	}
}

// The time constants of the standards are resistances times capacitances: 70 µs turns
// over at 2273.64 Hz (IASA TC-04, clause 5.4.10, prints 2274 Hz; the table its
// decimals).
func TestCouplingCornerAgainstStandards(t *testing.T) {
	tab := readTable(t, "04_playback_eq_time_constants.csv")
	for row := range tab.rows {
		c := tape.Farad(tab.number(row, "t_hf_us") * 1e-6 / 10e3)
		tab.near(row, "hf_transition_hz", float64(tape.CouplingCorner(c, 10e3)), 0.01, 0)
	}
}

// Loading at 0 Hz, worked by others from circuit theory.
func TestSeriesLossAgainstTable(t *testing.T) {
	tab := readTable(t, "11_meter_loading.csv")
	rows := 0
	for row := range tab.rows {
		if tab.number(row, "frequency_hz") != 0 {
			continue
		}
		rows++
		loss := tape.SeriesLoss(tape.Ohm(tab.number(row, "source_ohm")), tape.Ohm(tab.number(row, "input_ohm")))
		tab.near(row, "error_db", -float64(loss), 0.001, 0)
	}
	if rows < 10 {
		t.Errorf("only %d rows at 0 Hz", rows)
	}
}

// A dried capacitor moves the corner as its capacitance falls; what its resistance adds
// takes level and gives some bass back, so that level and corner exchange: at low
// frequencies only the capacitance counts.
func TestDriedCoupling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := tape.Farad(rapid.Float64Range(1e-8, 1e-4).Draw(t, "c"))
		r := tape.Ohm(rapid.Float64Range(100, 1e6).Draw(t, "r"))
		left := rapid.Float64Range(1e-3, 1).Draw(t, "left")
		added := tape.Ohm(rapid.Float64Range(0, 1e5).Draw(t, "added"))
		sound := tape.CouplingCorner(c, r)
		dried, direct := tape.DriedCorner(sound, left), tape.CouplingCorner(c*tape.Farad(left), r)
		if math.Abs(float64(dried/direct-1)) > 1e-12 {
			t.Fatalf("corner %v Hz, from the capacitance left %v Hz", dried, direct)
		}
		if dried < sound {
			t.Fatalf("corner falls from %v to %v Hz", sound, dried)
		}
		flat := tape.SeriesLoss(added, r)
		if flat < 0 || (added == 0) != (flat == 0) {
			t.Fatalf("%v Ω added takes %v dB", added, flat)
		}
		if more := tape.SeriesLoss(added+1, r); !(more > flat) {
			t.Fatalf("%v dB, with 1 Ω more %v dB", flat, more)
		}
		// Losses in steps multiply as the resistances grow.
		if steps := tape.SeriesLoss(added/2, r) + tape.SeriesLoss(added/2, r+added/2); math.Abs(float64(steps-flat)) > 1e-9 {
			t.Fatalf("%v dB in one, %v dB in two steps", flat, steps)
		}
		// The resistance added is at most a thousand times r, so that this is a thousandth of
		// either corner or less, and 1 + x² differs from x² by 4.4e-6 dB at most.
		low := sound * 1e-6
		with := flat + tape.LowCornerLoss(low, tape.CouplingCorner(c, r+added))
		if without := tape.LowCornerLoss(low, sound); math.Abs(float64(with-without)) > 5e-6 {
			t.Fatalf("far below the corner %v dB with the resistance, %v dB without", with, without)
		}
	})
}

func TestCouplingOutsideRange(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, bad := range []float64{nan, inf, -1} {
		for name, got := range map[string]float64{
			"capacitance": float64(tape.CouplingCorner(tape.Farad(bad), 1)), "resistance": float64(tape.CouplingCorner(1, tape.Ohm(bad))),
			"sound corner": float64(tape.DriedCorner(unit.Hertz(bad), 0.5)), "remaining": float64(tape.DriedCorner(10, bad)),
			"added": float64(tape.SeriesLoss(tape.Ohm(bad), 1)), "circuit": float64(tape.SeriesLoss(1, tape.Ohm(bad))),
		} {
			if !math.IsNaN(got) {
				t.Errorf("%s %v: %v, want NaN", name, bad, got)
			}
		}
	}
	for name, got := range map[string]float64{
		"no capacitance": float64(tape.CouplingCorner(0, 1)), "nothing left": float64(tape.DriedCorner(10, 0)),
		"more than all left": float64(tape.DriedCorner(10, 1.1)), "no circuit": float64(tape.SeriesLoss(1, 0)),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s: %v, want NaN", name, got)
		}
	}
}
