package tape_test

import (
	"math"
	"testing"

	"headstack/tape"
	"headstack/unit"
)

// The side integral at λ = 2π m, so that k = 1 and e is k·e. Solved outside this
// package (exact integral; finite differences for the neighbouring core).
func TestSidesAgainstTable(t *testing.T) {
	tab := readTable(t, "06_fringing_side_integral.csv")
	for row := range tab.rows {
		d := unit.Metre(tab.number(row, "k_d"))
		tab.near(row, "k_e_tape_ends_at_d", float64(tape.SideTapeEnds(d, 2*math.Pi)), 1e-6, 0)
		tab.near(row, "k_e_neighbour_core_at_d", float64(tape.SideNeighbour(d, 2*math.Pi)), 1e-4, 0)
	}
	if got, want := tape.SideTapeEnds(unit.Metre(math.Inf(1)), 2*math.Pi), 4/(3*math.Sqrt(3)); math.Abs(float64(got)-want) > 1e-12 {
		t.Errorf("no end: %v, want 4/(3√3) = %v", got, want)
	}
}

// besides builds a geometry in which track 1 has the sides of a row of the table.
func besides(width float64, a string, da float64, b string, db float64) tape.Geometry {
	const other = 0.5
	low := da
	if a == "core" {
		low = da + other + 1
	}
	g := tape.Geometry{TapeWidth: mm(low + width + db)}
	g.Tracks = append(g.Tracks, tape.TrackPlace{Centre: mm(low + width/2), Width: mm(width)})
	if a == "core" {
		g.Tracks = append(g.Tracks, tape.TrackPlace{Centre: mm(low - da - other/2), Width: mm(other)})
	}
	if b == "core" {
		g.TapeWidth += mm(other + 1)
		g.Tracks = append(g.Tracks, tape.TrackPlace{Centre: mm(low + width + db + other/2), Width: mm(other)})
	}
	return g
}

// Worked from the same boundary-value problem outside this package. The extra
// tolerance is the stated accuracy of the neighbouring-core solution, 0.0003 in
// k·e per side, and what two interpolations of its fifteen points may differ by
// (0.0015 in k·e per side).
func TestFringingGainAgainstTable(t *testing.T) {
	tab := readTable(t, "06_fringing.csv")
	worst := 0.0
	for row := range tab.rows {
		width := tab.number(row, "core_width_mm")
		g := besides(width, tab.text(row, "side_a"), tab.number(row, "side_a_distance_mm"),
			tab.text(row, "side_b"), tab.number(row, "side_b_distance_mm"))
		lambda := tape.Wavelength(unit.MetrePerSecond(tab.speed(row, "speed_cm_per_s")), unit.Hertz(tab.number(row, "frequency_hz")))
		sides := 0.0
		for _, s := range []string{"side_a", "side_b"} {
			if tab.text(row, s) == "core" {
				sides++
			}
		}
		perUnit := float64(lambda) * 1e3 / (2 * math.Pi) / width // d(e/w) per k·e
		extra := 20 * math.Log10(1+0.0018*sides*perUnit)
		got := float64(tape.FringingGain(g, 1, lambda))
		worst = math.Max(worst, math.Abs(got-tab.number(row, "gain_model_db")))
		tab.near(row, "gain_model_db", got, 0.01, extra)
	}
	t.Logf("largest difference %.4f dB", worst)
}

func TestFringingGainOfBareTrack(t *testing.T) {
	// A core as wide as the tape has nothing beside it.
	g := tape.Geometry{TapeWidth: mm(6.3), Tracks: []tape.TrackPlace{{Centre: mm(3.15), Width: mm(6.3)}}}
	if got := tape.FringingGain(g, 1, mm(10)); math.Abs(float64(got)) > 1e-9 {
		t.Errorf("full-track core: %v dB, want 0", got)
	}
	off := tape.Geometry{TapeWidth: mm(6.3), Tracks: []tape.TrackPlace{{Centre: mm(8), Width: mm(1)}}}
	if got := tape.FringingGain(off, 1, mm(10)); !math.IsNaN(float64(got)) {
		t.Errorf("core beside the tape: %v dB, want NaN", got)
	}
	defer func() {
		if recover() == nil {
			t.Error("track 2 of 1: no panic")
		}
	}()
	tape.FringingGain(g, 2, mm(10))
}
