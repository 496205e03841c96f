package tape_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"headstack/tape"
	"headstack/unit"
)

// Through a break the signal rises 6 dB per octave from far below, as
// 2πf·C_s·R_in; a larger stray capacitance leaves more of it; far above, where winding
// and resistances no longer count, the two capacitances divide it.
func TestOpenLeadLaws(t *testing.T) {
	octave := 20 * math.Log10(2)
	rapid.Check(t, func(t *rapid.T) {
		w, in := drawWinding(t), drawInput(t)
		stray := tape.Farad(rapid.Float64Range(1e-13, 1e-11).Draw(t, "stray"))
		const low = 0.1 // Hz, a thousandth of any corner here
		loss := float64(tape.OpenLeadLoss(low, w, in, stray))
		want := -20*math.Log10(2*math.Pi*low*float64(stray)*float64(in.R)) - float64(tape.SeriesLoss(w.R, in.R))
		if math.Abs(loss-want) > 1e-3 {
			t.Fatalf("%v dB far below, want %v", loss, want)
		}
		if step := loss - float64(tape.OpenLeadLoss(2*low, w, in, stray)); math.Abs(step-octave) > 1e-3 {
			t.Fatalf("rises %v dB per octave", step)
		}
		f := unit.Hertz(rapid.Float64Range(20, 3000).Draw(t, "f"))
		if less := tape.OpenLeadLoss(f, w, in, stray/2); !(less > tape.OpenLeadLoss(f, w, in, stray)) {
			t.Fatalf("half the stray capacitance takes %v dB", less)
		}
		bare := tape.Winding{R: 1e-6}
		high := float64(tape.OpenLeadLoss(1e9, bare, in, stray))
		divider := 20 * math.Log10(float64((in.C+stray)/stray))
		if math.Abs(high-divider) > 1e-3 {
			t.Fatalf("%v dB far above, want the divider's %v", high, divider)
		}
		if got := tape.OpenLeadLoss(f, w, in, 0); !math.IsInf(float64(got), 1) {
			t.Fatalf("without stray capacitance %v dB", got)
		}
		if got := tape.OpenLeadLoss(f, w, in, 1); math.Abs(float64(got)) > 1e-3 {
			t.Fatalf("a break bridged by 1 F takes %v dB", got)
		}
	})
}

// The figures of the doc comment, by the elementary 1/(2πf·C_s·R_in): 70.6 dB at 1 kHz
// and 50.6 dB at 10 kHz for 1 pF into 47 kΩ.
func TestOpenLeadFigures(t *testing.T) {
	in := tape.Input{R: 47e3}
	for f, want := range map[unit.Hertz]float64{1000: 70.59, 10000: 50.59} {
		if got := float64(tape.OpenLeadLoss(f, tape.Winding{R: 1}, in, 1e-12)); math.Abs(got-want) > 0.01 {
			t.Errorf("%v Hz: %.3f dB, want %v", f, got, want)
		}
	}
}

// A short takes more the less resistance it keeps and the higher the frequency, and
// nothing when it keeps much more than all else.
func TestShortedLeadLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, in := drawWinding(t), drawInput(t)
		in.C = 0 // with it the sound head's resonance comes in
		f := unit.Hertz(rapid.Float64Range(20, 2e4).Draw(t, "f"))
		short := tape.Ohm(rapid.Float64Range(0.01, 100).Draw(t, "short"))
		loss := tape.ShortedLeadLoss(f, w, in, short)
		if !(loss > 0) {
			t.Fatalf("loss %v dB", loss)
		}
		if less := tape.ShortedLeadLoss(f, w, in, 2*short); !(less < loss) {
			t.Fatalf("%v dB, with twice the resistance %v dB", loss, less)
		}
		if higher := tape.ShortedLeadLoss(f*2, w, in, short); !(higher > loss) {
			t.Fatalf("%v dB, an octave higher %v dB", loss, higher)
		}
		// An unloaded head falls between the impedances' ratio and one more than it.
		ratio := float64(w.Impedance(f) / short)
		bare := float64(tape.ShortedLeadLoss(f, w, tape.Input{R: 1e15}, short))
		if least, most := 20*math.Log10(ratio), 20*math.Log10(1+ratio); bare < least-1e-9 || bare > most+1e-9 {
			t.Fatalf("%v dB is outside %v to %v", bare, least, most)
		}
		if got := tape.ShortedLeadLoss(f, w, in, 1e15); math.Abs(float64(got)) > 1e-6 {
			t.Fatalf("a short of 1e15 Ω takes %v dB", got)
		}
		if got := tape.ShortedLeadLoss(f, w, in, 0); !math.IsInf(float64(got), 1) {
			t.Fatalf("a perfect short takes %v dB", got)
		}
	})
	if got := tape.ShortedLeadLoss(1000, tape.Winding{}, tape.Input{R: 1e4}, 0); got != 0 {
		t.Errorf("source without impedance: %v dB", got)
	}
}

// P. Horowitz and W. Hill, The Art of Electronics, chapter on noise: 10 kΩ at room
// temperature has 1.3 µV r.m.s. in 10 kHz (from memory). Textbooks: 1 kΩ has 4.07
// nV/√Hz at 300 K, 4.00 at 290 K, and 50 Ω 0.91 at 300 K.
func TestThermalNoise(t *testing.T) {
	for _, c := range []struct {
		r              tape.Ohm
		kelvin, want   float64
		bandwidth, ulp float64
	}{
		{10e3, 295, 1.3e-6, 10e3, 0.1e-6}, {1e3, 300, 4.07e-9, 1, 0.01e-9},
		{1e3, 290, 4.00e-9, 1, 0.01e-9}, {50, 300, 0.91e-9, 1, 0.01e-9},
	} {
		if got := tape.ThermalNoise(c.r, c.kelvin) * math.Sqrt(c.bandwidth); math.Abs(got-c.want) > c.ulp/2 {
			t.Errorf("%v Ω at %v K: %v V, want %v", c.r, c.kelvin, got, c.want)
		}
	}
}

// Noise grows as the root of resistance and temperature; powers of resistances add.
func TestThermalNoiseLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := tape.Ohm(rapid.Float64Range(0, 1e6).Draw(t, "a"))
		b := tape.Ohm(rapid.Float64Range(1, 1e6).Draw(t, "b"))
		kelvin := rapid.Float64Range(1, 400).Draw(t, "kelvin")
		va, vb, both := tape.ThermalNoise(a, kelvin), tape.ThermalNoise(b, kelvin), tape.ThermalNoise(a+b, kelvin)
		if math.Abs(math.Hypot(va, vb)/both-1) > 1e-12 {
			t.Fatalf("%v and %v make %v", va, vb, both)
		}
		if hot := tape.ThermalNoise(b, 4*kelvin); math.Abs(hot/vb-2) > 1e-12 {
			t.Fatalf("four times as hot: %v of %v", hot, vb)
		}
	})
	if tape.ThermalNoise(0, 290) != 0 || tape.ThermalNoise(1e3, 0) != 0 {
		t.Error("noise without resistance or warmth")
	}
}

// The hiss of an open input: at low frequencies resistances alone count, R_in against R
// and R_in in parallel; the amplifier's own voltage noise hides it, its current noise
// adds to it.
func TestOpenLeadNoiseLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, in := drawWinding(t), drawInput(t)
		const low = 0.01
		rise := float64(tape.OpenLeadNoise(low, w, in, 0))
		if want := 10 * math.Log10(float64((in.R+w.R)/w.R)); math.Abs(rise-want) > 1e-3 {
			t.Fatalf("%v dB far below, want %v", rise, want)
		}
		volts, amps := in, in
		volts.NoiseVolts = rapid.Float64Range(1e-9, 2e-8).Draw(t, "volts")
		amps.NoiseAmps = rapid.Float64Range(1e-13, 2e-12).Draw(t, "amps")
		f := unit.Hertz(rapid.Float64Range(20, 1000).Draw(t, "f"))
		rise = float64(tape.OpenLeadNoise(f, w, in, 0))
		if hidden := float64(tape.OpenLeadNoise(f, w, volts, 0)); !(math.Abs(hidden) < math.Abs(rise)+1e-9) {
			t.Fatalf("%v dB, with voltage noise %v dB", rise, hidden)
		}
		// It grows with the impedance itself, the resistances' only with its root.
		if with, without := tape.OpenLeadNoise(low, w, amps, 0), tape.OpenLeadNoise(low, w, in, 0); !(with > without) {
			t.Fatalf("with current noise %v dB, without %v dB", with, without)
		}
		// A break that 1 F bridges is none.
		if got := tape.OpenLeadNoise(f, w, in, 1); math.Abs(float64(got)) > 0.05 {
			t.Fatalf("bridged break: %v dB", got)
		}
	})
}

func TestHeadLeadOutsideRange(t *testing.T) {
	w, in := tape.Winding{R: 200, L: 0.1}, tape.Input{R: 47e3, C: 1e-10}
	type result struct {
		name string
		got  float64
	}
	all := func(f unit.Hertz, w tape.Winding, in tape.Input, third float64) []result {
		return []result{
			{"open", float64(tape.OpenLeadLoss(f, w, in, tape.Farad(third)))},
			{"shorted", float64(tape.ShortedLeadLoss(f, w, in, tape.Ohm(third)))},
			{"noise", float64(tape.OpenLeadNoise(f, w, in, tape.Farad(third)))},
		}
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), -1} {
		var results []result
		results = append(results, all(unit.Hertz(bad), w, in, 1)...)
		results = append(results, all(1000, w, in, bad)...)
		results = append(results, all(1000, tape.Winding{R: tape.Ohm(bad)}, in, 1)...)
		results = append(results, all(1000, w, tape.Input{R: tape.Ohm(bad)}, 1)...)
		results = append(results, all(1000, w, tape.Input{R: 1, NoiseVolts: bad}, 1)...)
		results = append(results, all(1000, w, tape.Input{R: 1, NoiseAmps: bad}, 1)...)
		results = append(results,
			result{"resistance of noise", tape.ThermalNoise(tape.Ohm(bad), 290)}, result{"kelvin", tape.ThermalNoise(1, bad)})
		for _, r := range results {
			if !math.IsNaN(r.got) {
				t.Errorf("%s with %v: %v, want NaN", r.name, bad, r.got)
			}
		}
	}
	for _, r := range append(all(0, w, in, 1), all(1000, w, tape.Input{}, 1)...) {
		if !math.IsNaN(r.got) {
			t.Errorf("%s at 0 Hz or without input resistance: %v, want NaN", r.name, r.got)
		}
	}
}
