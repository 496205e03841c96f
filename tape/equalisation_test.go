package tape_test

import (
	"math"
	"math/cmplx"
	"testing"

	"pgregory.net/rapid"

	"headstack/tape"
	"headstack/unit"
)

// Mismatches as technicians' tables print them, at 10 kHz re 1 kHz and, for the bass, re
// the middle region; computed by others from IEC 60094-1:1981 clause 15.
func TestMismatchFigures(t *testing.T) {
	for _, c := range []struct {
		recorded, replay tape.Equalisation
		f, ref           unit.Hertz
		want, tolerance  float64
	}{
		{tape.Equalisation{HighUs: 70}, tape.Equalisation{HighUs: 120}, 10000, 1000, 3.35, 0.005},
		{tape.Equalisation{HighUs: 70}, tape.Equalisation{HighUs: 90}, 10000, 1000, 1.66, 0.005},
		{tape.Equalisation{HighUs: 35}, tape.Equalisation{HighUs: 70}, 10000, 1000, 4.86, 0.005},
		{tape.Equalisation{HighUs: 35}, tape.Equalisation{HighUs: 50}, 10000, 1000, 2.50, 0.005},
		// Re 20 kHz, where the bass constant makes 0.00003 dB.
		{tape.Equalisation{HighUs: 50, LowUs: 3180}, tape.Equalisation{HighUs: 50}, 50, 20000, 3.0, 0.05},
		{tape.Equalisation{HighUs: 50, LowUs: 3180}, tape.Equalisation{HighUs: 50}, 100, 20000, 0.97, 0.005},
	} {
		if got := float64(tape.MismatchDB(c.f, c.ref, c.recorded, c.replay)); math.Abs(got-c.want) > c.tolerance {
			t.Errorf("%v played as %v at %v Hz re %v Hz: %.3f dB, want %g", c.recorded, c.replay, c.f, c.ref, got, c.want)
		}
	}
}

// Every pair of the standards' curves in the table of IEC 60094-1 clause 15: the printed
// columns re 1 kHz and re 315 Hz differ by the mismatch.
func TestMismatchAgainstTable(t *testing.T) {
	tab := readTable(t, "04_playback_eq_flux_levels.csv")
	curve := func(row int) tape.Equalisation {
		e := tape.Equalisation{HighUs: tab.number(row, "t_hf_us"), LowUs: tab.number(row, "t_lf_us")}
		if math.IsInf(e.LowUs, 1) {
			e.LowUs = 0
		}
		return e
	}
	for row := range tab.rows {
		for other := range tab.rows {
			if tab.hertz(row) != tab.hertz(other) {
				continue
			}
			for column, ref := range map[string]unit.Hertz{"flux_re_1khz_db": 1000, "flux_re_315hz_db": 315} {
				want := tab.number(row, column) - tab.number(other, column)
				// Two figures rounded to 0.01 dB.
				if got := float64(tape.MismatchDB(tab.hertz(row), ref, curve(row), curve(other))); math.Abs(got-want) > 0.01+1e-9 {
					t.Errorf("rows %d and %d %s: %.4f dB, want %.2f", row+1, other+1, column, got, want)
				}
			}
		}
	}
}

// A chain without its treble part plays a right tape as the curve's treble fall, which is
// the printed flux where the curve has no bass rise.
func TestTreblePartLossAgainstTable(t *testing.T) {
	tab := readTable(t, "04_playback_eq_flux_levels.csv")
	rows := 0
	for row := range tab.rows {
		if !math.IsInf(tab.number(row, "t_lf_us"), 1) {
			continue
		}
		rows++
		e := tape.Equalisation{HighUs: tab.number(row, "t_hf_us")}
		tab.near(row, "flux_db", -float64(tape.TreblePartLoss(tab.hertz(row), e)), 0.01, 0)
	}
	if rows < 100 {
		t.Errorf("only %d rows without a bass rise", rows)
	}
}

func drawCurve(t *rapid.T, name string) tape.Equalisation {
	e := tape.Equalisation{HighUs: rapid.Float64Range(0, 300).Draw(t, name+" treble")}
	if rapid.Bool().Draw(t, name+" has bass") {
		e.LowUs = rapid.Float64Range(500, 5000).Draw(t, name+" bass")
	}
	return e
}

// The flux rises in the bass and falls in the treble, 6 dB per octave in either end,
// through 0 dB where neither constant counts.
func TestFluxLaws(t *testing.T) {
	octave := 20 * math.Log10(2)
	rapid.Check(t, func(t *rapid.T) {
		e := tape.Equalisation{HighUs: rapid.Float64Range(10, 300).Draw(t, "treble"), LowUs: rapid.Float64Range(500, 5000).Draw(t, "bass")}
		f := unit.Hertz(rapid.Float64Range(10, 20000).Draw(t, "f"))
		if level, next := e.FluxDB(f), e.FluxDB(f*1.01); !(next < level) {
			t.Fatalf("flux rises with frequency: %v, %v dB", level, next)
		}
		const low, high = 1e-4, 1e9
		if step := float64(e.FluxDB(low) - e.FluxDB(2*low)); math.Abs(step-octave) > 1e-6 {
			t.Fatalf("bass rises %v dB per octave", step)
		}
		if step := float64(e.FluxDB(high) - e.FluxDB(2*high)); math.Abs(step-octave) > 1e-6 {
			t.Fatalf("treble falls %v dB per octave", step)
		}
		if flat := (tape.Equalisation{}).FluxDB(f); flat != 0 {
			t.Fatalf("no constants: %v dB", flat)
		}
		// The curve is that of its corners.
		corners := tape.LowCornerLoss(f, e.BassTurnover()) - tape.HighCornerLoss(f, e.TrebleTurnover())
		if math.Abs(float64(corners-e.FluxDB(f))) > 1e-9 {
			t.Fatalf("flux %v dB, corners %v dB", e.FluxDB(f), corners)
		}
		if got := 1e6 / (2 * math.Pi * float64(e.TrebleTurnover())); math.Abs(got-e.HighUs) > 1e-9 {
			t.Fatalf("treble constant comes back as %v µs", got)
		}
	})
}

// A mismatch is nothing at the reference tone and of equal curves, changes sign with the
// order, and adds up over a third curve; a lost treble part is the mismatch of a chain
// without treble constant, a weakened one a shelf.
func TestMismatchLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := drawCurve(t, "a"), drawCurve(t, "b"), drawCurve(t, "c")
		f := unit.Hertz(rapid.Float64Range(20, 20000).Draw(t, "f"))
		ref := unit.Hertz(rapid.Float64Range(20, 20000).Draw(t, "ref"))
		m := tape.MismatchDB(f, ref, a, b)
		if at, same := tape.MismatchDB(ref, ref, a, b), tape.MismatchDB(f, ref, a, a); at != 0 || same != 0 {
			t.Fatalf("%v dB at the reference, %v dB between equals", at, same)
		}
		if back := tape.MismatchDB(f, ref, b, a); math.Abs(float64(m+back)) > 1e-9 {
			t.Fatalf("%v dB, the other way round %v dB", m, back)
		}
		if sum := tape.MismatchDB(f, ref, a, c) + tape.MismatchDB(f, ref, c, b); math.Abs(float64(sum-m)) > 1e-9 {
			t.Fatalf("%v dB, over a third curve %v dB", m, sum)
		}
		lost := tape.TreblePartLoss(f, a)
		if e := tape.EqualisationError(f, a, tape.Equalisation{LowUs: a.LowUs}); lost < 0 || math.Abs(float64(lost+e)) > 1e-9 {
			t.Fatalf("treble part takes %v dB, error without it %v dB", lost, e)
		}
		weak := tape.Equalisation{HighUs: a.HighUs * rapid.Float64Range(0, 1).Draw(t, "left"), LowUs: a.LowUs}
		shelf := tape.ShelfLoss(f, a.TrebleTurnover(), weak.TrebleTurnover())
		if e := tape.EqualisationError(f, a, weak); math.Abs(float64(shelf+e)) > 1e-9 {
			t.Fatalf("shelf %v dB, error %v dB", shelf, e)
		}
	})
}

// replayGain is the textbook replay chain of a curve by complex arithmetic, without its
// integration: (1 + jωt_h)·jωt_l/(1 + jωt_l).
func replayGain(f unit.Hertz, e tape.Equalisation) complex128 {
	s := complex(0, 2*math.Pi*float64(f)*1e-6)
	g := 1 + s*complex(e.HighUs, 0)
	if e.LowUs > 0 {
		low := s * complex(e.LowUs, 0)
		g *= low / (1 + low)
	}
	return g
}

// Level and delay of a wrong setting are those of the ratio of two chains.
func TestEqualisationOfChains(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		recorded, replay := drawCurve(t, "recorded"), drawCurve(t, "replay")
		f := unit.Hertz(rapid.Float64Range(20, 20000).Draw(t, "f"))
		ratio := replayGain(f, replay) / replayGain(f, recorded)
		if want, got := 20*math.Log10(cmplx.Abs(ratio)), float64(tape.EqualisationError(f, recorded, replay)); math.Abs(got-want) > 1e-9 {
			t.Fatalf("error %v dB, chains %v dB", got, want)
		}
		want := -cmplx.Phase(ratio) / (2 * math.Pi * float64(f))
		if got := float64(tape.EqualisationDelay(f, recorded, replay)); math.Abs(got-want) > 1e-14 {
			t.Fatalf("delay %v s, chains %v s", got, want)
		}
	})
}

// The doc comment's figure: arctan(2π·0.12) - arctan(2π·0.07) = 0.2314 rad of 1 kHz.
func TestEqualisationDelayFigure(t *testing.T) {
	got := float64(tape.EqualisationDelay(1000, tape.Equalisation{HighUs: 70}, tape.Equalisation{HighUs: 120})) * 1e6
	if math.Abs(got+37) > 0.5 {
		t.Errorf("%.2f µs, want -37", got)
	}
}

func TestEqualisationOutsideRange(t *testing.T) {
	good := tape.Equalisation{HighUs: 70, LowUs: 3180}
	for name, e := range map[string]tape.Equalisation{
		"negative treble": {HighUs: -1}, "negative bass": {LowUs: -1},
		"treble NaN": {HighUs: math.NaN()}, "bass NaN": {LowUs: math.NaN()},
	} {
		for what, got := range map[string]float64{
			"flux": float64(e.FluxDB(1000)), "recorded": float64(tape.MismatchDB(100, 1000, e, good)),
			"replay": float64(tape.MismatchDB(100, 1000, good, e)), "delay": float64(tape.EqualisationDelay(1000, e, good)),
			"turnovers": float64(e.TrebleTurnover() + e.BassTurnover()),
		} {
			if !math.IsNaN(got) {
				t.Errorf("%s, %s: %v, want NaN", name, what, got)
			}
		}
	}
	for _, f := range []unit.Hertz{0, -1, unit.Hertz(math.NaN()), unit.Hertz(math.Inf(1))} {
		for what, got := range map[string]float64{
			"tone": float64(tape.MismatchDB(f, 1000, good, good)), "reference": float64(tape.MismatchDB(1000, f, good, good)),
			"delay": float64(tape.EqualisationDelay(f, good, good)), "treble part": float64(tape.TreblePartLoss(f, good)),
		} {
			if !math.IsNaN(got) {
				t.Errorf("%s at %v Hz: %v, want NaN", what, f, got)
			}
		}
	}
	if got := tape.TreblePartLoss(1000, tape.Equalisation{}); got != 0 {
		t.Errorf("no treble part to lose: %v dB", got)
	}
}
