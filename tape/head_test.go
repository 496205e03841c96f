package tape_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"headstack/tape"
	"headstack/unit"
)

// Worked by others from circuit theory, at heads of invented round values.
func TestImpedanceAgainstTable(t *testing.T) {
	tab := readTable(t, "11_head_impedance.csv")
	for row := range tab.rows {
		f := unit.Hertz(tab.number(row, "frequency_hz"))
		w := tape.Winding{R: tape.Ohm(tab.number(row, "r_ohm")), L: tape.Henry(tab.number(row, "l_mh") / 1000)}
		tab.near(row, "impedance_ohm", float64(w.Impedance(f)), 0.001, 0)
		// A short that keeps the resistance s divides the voltage by |Z + s|/s; with
		// s taken off the winding that is the printed |Z|/s.
		const s = 1
		rest := tape.Winding{R: w.R - s, L: w.L}
		loss := tape.ShortedLeadLoss(f, rest, tape.Input{R: 1e15}, s)
		tab.near(row, "impedance_ohm", s*math.Pow(10, float64(loss)/20), 0.001, 1e-6)
	}
	// Practice notes: 60 to 120 mH are 380 to 750 Ω at 1 kHz.
	for l, want := range map[tape.Henry]float64{60e-3: 380, 120e-3: 750} {
		if got := float64(tape.Winding{L: l}.Impedance(1000)); math.Abs(got-want) > 5 {
			t.Errorf("%v H: %v Ω at 1 kHz, want %v", l, got, want)
		}
	}
}

// A source without inductance: loading of a meter, worked by others. The table is re
// the unloaded source.
func TestHeadLoadingAgainstMeterTable(t *testing.T) {
	tab := readTable(t, "11_meter_loading.csv")
	for row := range tab.rows {
		w := tape.Winding{R: tape.Ohm(tab.number(row, "source_ohm"))}
		in := tape.Input{R: tape.Ohm(tab.number(row, "input_ohm")), C: tape.Farad(tab.number(row, "input_and_cable_pf") * 1e-12)}
		got := tape.HeadLoading(unit.Hertz(tab.number(row, "frequency_hz")), w, in) - tape.SeriesLoss(w.R, in.R)
		tab.near(row, "error_db", float64(got), 0.001, 0)
	}
}

// circuit reads a row of the nodal solutions.
func circuit(tab table, row int) (unit.Hertz, tape.Winding, tape.Input) {
	return unit.Hertz(tab.number(row, "frequency_hz")),
		tape.Winding{R: tape.Ohm(tab.number(row, "r_ohm")), L: tape.Henry(tab.number(row, "l_h"))},
		tape.Input{
			R: tape.Ohm(tab.number(row, "rin_ohm")), C: tape.Farad(tab.number(row, "cin_f")),
			NoiseVolts: tab.number(row, "noise_volts"), NoiseAmps: tab.number(row, "noise_amps"),
		}
}

// mpmath 1.3, 50 digits, nodal equations; see the head of the file. Printed to twelve
// digits.
func TestHeadCircuitsAgainstTable(t *testing.T) {
	tab := readTable(t, "head_circuits.csv")
	for row := range tab.rows {
		f, w, in := circuit(tab, row)
		stray, short := tape.Farad(tab.number(row, "stray_f")), tape.Ohm(tab.number(row, "short_ohm"))
		tab.near(row, "loading_db", float64(tape.HeadLoading(f, w, in)), 0, 1e-9)
		tab.near(row, "open_loss_db", float64(tape.OpenLeadLoss(f, w, in, stray)), 0, 1e-9)
		tab.near(row, "shorted_loss_db", float64(tape.ShortedLeadLoss(f, w, in, short)), 0, 1e-9)
		tab.near(row, "noise_rise_db", float64(tape.OpenLeadNoise(f, w, in, stray)), 0, 1e-9)
	}
}

// drawWinding and drawInput cover what heads and replay amplifiers are made of.
func drawWinding(t *rapid.T) tape.Winding {
	return tape.Winding{
		R: tape.Ohm(rapid.Float64Range(1, 1000).Draw(t, "R")),
		L: tape.Henry(rapid.Float64Range(1e-3, 1).Draw(t, "L")),
	}
}

func drawInput(t *rapid.T) tape.Input {
	return tape.Input{
		R: tape.Ohm(rapid.Float64Range(1e4, 1e6).Draw(t, "R_in")),
		C: tape.Farad(rapid.Float64Range(1e-11, 2e-9).Draw(t, "C_in")),
	}
}

// The loaded head: nothing at 0 Hz, the closed form at resonance, 12 dB per octave in
// the end, a first-order corner without capacitance.
func TestHeadLoadingLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, in := drawWinding(t), drawInput(t)
		if got := tape.HeadLoading(0, w, in); math.Abs(float64(got)) > 1e-12 {
			t.Fatalf("%v dB at 0 Hz", got)
		}
		f0 := tape.HeadResonance(w.L, in.C)
		if got, want := float64(f0)*math.Sqrt(float64(w.L)*float64(in.C))*2*math.Pi, 1.0; math.Abs(got-want) > 1e-12 {
			t.Fatalf("resonance %v Hz: ω√(LC) = %v", f0, got)
		}
		// Textbook: without resistance the voltage rises to R_in/(ω₀L) at resonance.
		bare := tape.Winding{L: w.L}
		q := float64(in.R) / (2 * math.Pi * float64(f0) * float64(w.L))
		if got := float64(tape.HeadLoading(f0, bare, in)); math.Abs(got-20*math.Log10(q)) > 1e-6 {
			t.Fatalf("%v dB at resonance, want %v", got, 20*math.Log10(q))
		}
		far := unit.Hertz(1e9)
		if step := tape.HeadLoading(far, w, in) - tape.HeadLoading(2*far, w, in); math.Abs(float64(step)-40*math.Log10(2)) > 1e-3 {
			t.Fatalf("%v dB per octave far beyond", step)
		}
		in.C = 0
		f := unit.Hertz(rapid.Float64Range(20, 1e5).Draw(t, "f"))
		corner := unit.Hertz(float64(w.R+in.R) / (2 * math.Pi * float64(w.L)))
		if got, want := -tape.HeadLoading(f, w, in), tape.HighCornerLoss(f, corner); math.Abs(float64(got-want)) > 1e-9 {
			t.Fatalf("without capacitance %v dB lost, want %v", got, want)
		}
	})
}

// Impedance begins at the resistance and grows as the frequency.
func TestImpedanceLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := drawWinding(t)
		f := unit.Hertz(rapid.Float64Range(1, 1e5).Draw(t, "f"))
		if w.Impedance(0) != w.R {
			t.Fatalf("%v at 0 Hz", w.Impedance(0))
		}
		z, more := w.Impedance(f), w.Impedance(2*f)
		if !(z > w.R && more > z && more < 2*z) {
			t.Fatalf("%v, an octave higher %v", z, more)
		}
		if ratio := w.Impedance(2e9) / w.Impedance(1e9); math.Abs(float64(ratio)-2) > 1e-6 {
			t.Fatalf("grows %v-fold per octave in the end", ratio)
		}
	})
}

func TestHeadOutsideRange(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), -1} {
		for name, got := range map[string]float64{
			"R":        float64(tape.HeadLoading(1000, tape.Winding{R: tape.Ohm(bad)}, tape.Input{R: 1})),
			"L":        float64(tape.HeadLoading(1000, tape.Winding{L: tape.Henry(bad)}, tape.Input{R: 1})),
			"R_in":     float64(tape.HeadLoading(1000, tape.Winding{}, tape.Input{R: tape.Ohm(bad)})),
			"C_in":     float64(tape.HeadLoading(1000, tape.Winding{}, tape.Input{R: 1, C: tape.Farad(bad)})),
			"f":        float64(tape.HeadLoading(unit.Hertz(bad), tape.Winding{}, tape.Input{R: 1})),
			"|Z| at f": float64(tape.Winding{}.Impedance(unit.Hertz(bad))),
			"|Z| of R": float64(tape.Winding{R: tape.Ohm(bad)}.Impedance(1000)),
			"L of f0":  float64(tape.HeadResonance(tape.Henry(bad), 1)),
			"C of f0":  float64(tape.HeadResonance(1, tape.Farad(bad))),
		} {
			if !math.IsNaN(got) {
				t.Errorf("%s = %v: %v, want NaN", name, bad, got)
			}
		}
	}
	for name, got := range map[string]float64{
		"no input resistance": float64(tape.HeadLoading(1000, tape.Winding{R: 1}, tape.Input{})),
		"no inductance":       float64(tape.HeadResonance(0, 1)),
		"no capacitance":      float64(tape.HeadResonance(1, 0)),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s: %v, want NaN", name, got)
		}
	}
}
