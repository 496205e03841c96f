package tape_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"headstack/tape"
	"headstack/unit"
)

// Levels turn round with the order and add up over a third one; conventions go to and
// fro without loss, the open-circuit figure being the larger.
func TestFluxivityLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		level := func(name string) unit.NanoweberPerMetre {
			return unit.NanoweberPerMetre(rapid.Float64Range(1, 2000).Draw(t, name))
		}
		a, b, c := level("a"), level("b"), level("c")
		if ab, ba := tape.FluxivityDB(a, b), tape.FluxivityDB(b, a); math.Abs(float64(ab+ba)) > 1e-9 {
			t.Fatalf("%v and %v dB", ab, ba)
		}
		if sum := tape.FluxivityDB(a, c) + tape.FluxivityDB(c, b); math.Abs(float64(sum-tape.FluxivityDB(a, b))) > 1e-9 {
			t.Fatalf("%v dB over a third level", sum)
		}
		difference := unit.Decibel(rapid.Float64Range(0.1, 1).Draw(t, "difference"))
		open := tape.ConvertFluxivity(a, tape.ShortCircuit, tape.OpenCircuit, difference)
		if got := tape.FluxivityDB(open, a); math.Abs(float64(got-difference)) > 1e-9 {
			t.Fatalf("open-circuit figure %v dB up, want %v", got, difference)
		}
		if back := tape.ConvertFluxivity(open, tape.OpenCircuit, tape.ShortCircuit, difference); math.Abs(float64(back/a-1)) > 1e-12 {
			t.Fatalf("%v comes back as %v", a, back)
		}
		if same := tape.ConvertFluxivity(a, tape.OpenCircuit, tape.OpenCircuit, difference); same != a {
			t.Fatalf("%v restated by the same method is %v", a, same)
		}
	})
}

// McKnight, Cortez, McKnight, JAES 46(9), 1998, and practice notes: the ratios of the two
// statements and their decibels, and that the usual difference is one of them.
func TestMethodDifferencesAgainstTable(t *testing.T) {
	tab := readTable(t, "05_fluxivity_method_differences.csv")
	usual, worked := false, 0
	for row := range tab.rows {
		if tab.text(row, "ratio") == "" {
			continue // a range
		}
		worked++
		ratio := unit.NanoweberPerMetre(tab.number(row, "ratio"))
		// The ratio is printed to four decimals, 0.0004 dB.
		tab.near(row, "difference_db", float64(tape.FluxivityDB(ratio, 1)), 0.001, 0.0004)
		usual = usual || math.Abs(tab.number(row, "difference_db")-float64(tape.UsualConventionDifference)) < 0.005
	}
	if worked < 4 || !usual {
		t.Errorf("%d rows worked; usual difference among them: %v", worked, usual)
	}
}

func TestFluxivityOutsideRange(t *testing.T) {
	for _, bad := range []unit.NanoweberPerMetre{0, -1, unit.NanoweberPerMetre(math.NaN()), unit.NanoweberPerMetre(math.Inf(1))} {
		for name, got := range map[string]float64{
			"level": float64(tape.FluxivityDB(bad, 250)), "reference": float64(tape.FluxivityDB(250, bad)),
			"converted": float64(tape.ConvertFluxivity(bad, tape.ShortCircuit, tape.OpenCircuit, 0.8)),
		} {
			if !math.IsNaN(got) {
				t.Errorf("%s %v: %v, want NaN", name, bad, got)
			}
		}
	}
}
