package tape_test

import (
	"math"
	"testing"

	"headstack/tape"
	"headstack/unit"
)

func um(x float64) unit.Metre { return unit.Metre(x * 1e-6) }
func mm(x float64) unit.Metre { return unit.Metre(x * 1e-3) }

// Elementary; the table is computed from the inch speeds.
func TestWavelengthAgainstTable(t *testing.T) {
	tab := readTable(t, "06_wavelengths.csv")
	for row := range tab.rows {
		for column, v := range map[string]float64{
			"wavelength_um_at_4.76_cm_per_s": 0.047625, "wavelength_um_at_9.53_cm_per_s": 0.09525,
			"wavelength_um_at_19.05_cm_per_s": 0.1905, "wavelength_um_at_38.1_cm_per_s": 0.381,
			"wavelength_um_at_76.2_cm_per_s": 0.762,
		} {
			got := tape.Wavelength(unit.MetrePerSecond(v), unit.Hertz(tab.number(row, "frequency_hz")))
			tab.near(row, column, float64(got)*1e6, 0.001, 0)
		}
	}
}

// Wallace, BSTJ 30(4), 1951: the law (from memory, the paper seen named), worked outside
// this package.
func TestSpacingLossAgainstTable(t *testing.T) {
	tab := readTable(t, "06_spacing_loss.csv")
	for row := range tab.rows {
		lambda := tape.Wavelength(unit.MetrePerSecond(tab.speed(row, "speed_cm_per_s")), unit.Hertz(tab.number(row, "frequency_hz")))
		got := tape.SpacingLoss(um(tab.number(row, "spacing_um")), lambda)
		tab.near(row, "loss_db", float64(got), 0.01, 0)
	}
}

// Wallace 1951: the law (from memory), worked outside this package.
func TestThicknessLossAgainstTable(t *testing.T) {
	tab := readTable(t, "06_thickness_loss.csv")
	for row := range tab.rows {
		lambda := tape.Wavelength(unit.MetrePerSecond(tab.speed(row, "speed_cm_per_s")), unit.Hertz(tab.number(row, "frequency_hz")))
		got := tape.ThicknessLoss(um(tab.number(row, "coating_um")), lambda)
		tab.near(row, "loss_db", float64(got), 0.01, 0)
	}
}

// The ideal head solved outside this package by another quadrature (surface
// field integrated over the gap); see the head of the file.
func TestGapResponseAgainstTable(t *testing.T) {
	tab := readTable(t, "06_gap_loss_function.csv")
	for row := range tab.rows {
		ratio := tab.number(row, "gap_over_wavelength")
		g, lambda := um(ratio), um(1)
		tab.near(row, "exact_signed_amplitude", tape.GapResponse(g, lambda), 1e-6, 0)
		tab.near(row, "exact_loss_db", float64(tape.GapLoss(g, lambda)), 1e-4, 0)
		// Beside the null the sinc is so steep that 1.11 must be the very
		// constant; Eargle 1994, chapter 167.
		tab.near(row, "sinc_c1.11_db", float64(tape.SincGapLoss(g, lambda)), 1e-4, 0)
	}
}

// First null of the ideal head at g/λ = 0.87951 (head of the table).
func TestGapNull(t *testing.T) {
	at := func(ratio float64) float64 { return tape.GapResponse(um(ratio), um(1)) }
	if below, above := at(0.879505), at(0.879515); !(below > 0 && above < 0) {
		t.Errorf("response at the printed null ± its rounding: %g and %g, want a change of sign", below, above)
	}
	if tape.GapNull != 0.87951 {
		t.Errorf("GapNull = %v", tape.GapNull)
	}
}

// The ideal head of the table above and Eargle's sinc at gaps of usual size (sizes from
// memory).
func TestGapLossWorked(t *testing.T) {
	tab := readTable(t, "06_gap_loss_worked.csv")
	for row := range tab.rows {
		lambda := tape.Wavelength(unit.MetrePerSecond(tab.speed(row, "speed_cm_per_s")), unit.Hertz(tab.number(row, "frequency_hz")))
		g := um(tab.number(row, "gap_um"))
		tab.near(row, "exact_loss_db", float64(tape.GapLoss(g, lambda)), 0.01, 0)
		tab.near(row, "sinc_c1.11_loss_db", float64(tape.SincGapLoss(g, lambda)), 0.01, 0)
	}
}

// Textbook law (from memory), worked outside this package.
func TestAzimuthLossAgainstTable(t *testing.T) {
	tab := readTable(t, "06_azimuth_loss.csv")
	for row := range tab.rows {
		lambda := tape.Wavelength(unit.MetrePerSecond(tab.speed(row, "speed_cm_per_s")), unit.Hertz(tab.number(row, "frequency_hz")))
		angle := unit.Radian(tab.number(row, "angle_arcmin")) * tape.Arcminute
		got := tape.AzimuthLoss(mm(tab.number(row, "track_width_mm")), angle, lambda)
		tab.near(row, "loss_db", float64(got), 0.01, 0)
	}
}

// McKnight, "Azimuth in a Magnetic Tape Recorder" (figures in print read), worked outside
// this package.
func TestAzimuthDelayAgainstTable(t *testing.T) {
	tab := readTable(t, "06_azimuth_phase.csv")
	for row := range tab.rows {
		v := unit.MetrePerSecond(tab.speed(row, "speed_cm_per_s"))
		s := mm(tab.number(row, "centre_distance_mm"))
		angle := unit.Radian(tab.number(row, "angle_arcmin")) * tape.Arcminute
		delay := tape.AzimuthDelay(s, angle, v)
		tab.near(row, "time_us", float64(delay)*1e6, 0.001, 0)
		tab.near(row, "phase_10khz_deg", float64(delay)*1e4*360, 0.01, 0)
		if back := tape.AzimuthAngle(delay, s, v); math.Abs(float64(back-angle)) > 1e-15 {
			t.Errorf("row %d: angle back %g, want %g", row+1, back, angle)
		}
	}
}

// Figures of daily work, computed from the law by others than this package and
// printed to the places shown.
func TestAzimuthBenchFigures(t *testing.T) {
	const cassette, reel = unit.MetrePerSecond(0.09525), unit.MetrePerSecond(0.381)
	for _, c := range []struct {
		arcmin, delayUs, lossDB, delayUnit float64
	}{
		{1, 9.5, 0.00, 0.1}, {5, 47, 0.05, 1}, {10, 95, 0.19, 1}, {20, 189, 0.78, 1}, {30, 284, 1.81, 1},
	} {
		angle := unit.Radian(c.arcmin) * tape.Arcminute
		delay := float64(tape.AzimuthDelay(mm(3.10), angle, cassette)) * 1e6
		if math.Abs(delay-c.delayUs) > c.delayUnit/2 {
			t.Errorf("six tracks, %g': %.2f µs between outer tracks, want %g", c.arcmin, delay, c.delayUs)
		}
		loss := float64(tape.AzimuthLoss(mm(0.38), angle, tape.Wavelength(cassette, 10000)))
		if math.Abs(loss-c.lossDB) > 0.005 {
			t.Errorf("six tracks, %g': %.3f dB at 10 kHz, want %g", c.arcmin, loss, c.lossDB)
		}
	}
	if d := float64(tape.AzimuthDelay(mm(10.5), tape.Arcminute, reel)) * 1e6; math.Abs(d-8.0) > 0.05 {
		t.Errorf("half-inch eight tracks, 1': %.2f µs, want 8.0", d)
	}
	// McKnight, "Azimuth in a Magnetic Tape Recorder": 300 µrad, 10 kHz,
	// 9.5 cm/s, edge tracks of 2 mm on 6.3 mm tape (4.3 mm between centres):
	// about 45 degrees; on 12.5 mm tape (10.5 mm) 110.
	for distance, want := range map[float64]float64{4.3: 45, 10.5: 110} {
		got := float64(tape.AzimuthDelay(mm(distance), 300e-6, cassette)) * 1e4 * 360
		if math.Abs(got-want) > 0.1*want {
			t.Errorf("%g mm: %.0f degrees, want about %g", distance, got, want)
		}
	}
}

// IEC 60094-1:1981 clause 15 (formula from memory; the constants of most rows read in IASA
// TC-04, clause 5.4.10), worked for every curve outside this package.
func TestFluxDBAgainstTable(t *testing.T) {
	tab := readTable(t, "04_playback_eq_flux_levels.csv")
	for row := range tab.rows {
		f := unit.Hertz(tab.number(row, "frequency_hz"))
		high, low := tab.number(row, "t_hf_us"), tab.number(row, "t_lf_us")
		got := tape.FluxDB(f, high, low)
		tab.near(row, "flux_db", float64(got), 0.01, 0)
		tab.near(row, "flux_re_1khz_db", float64(got-tape.FluxDB(1000, high, low)), 0.01, 0)
		if none := tape.FluxDB(f, high, 0); math.IsInf(low, 1) && none != got {
			t.Errorf("row %d: no low time constant %v, infinite %v", row+1, none, got)
		}
	}
}

// Levels of the trade, each with its source in the table; the decibels are arithmetic.
func TestFluxivityAgainstTable(t *testing.T) {
	tab := readTable(t, "05_reference_fluxivity.csv")
	for row := range tab.rows {
		a := unit.NanoweberPerMetre(tab.number(row, "fluxivity_nwb_per_m"))
		for column, b := range map[string]unit.NanoweberPerMetre{
			"re_160_db": 160, "re_185_db": 185, "re_200_db": 200, "re_250_db": 250, "re_320_db": 320,
		} {
			tab.near(row, column, float64(tape.FluxivityDB(a, b)), 0.01, 0)
		}
	}
}

// Practice notes: 200 nWb/m short-circuit is labelled 220 open-circuit. McKnight,
// Cortez, McKnight, JAES 46(9), 1998: 320 by the old statement measures 288, 0.915 dB.
func TestConvertFluxivity(t *testing.T) {
	got := tape.ConvertFluxivity(200, tape.ShortCircuit, tape.OpenCircuit, tape.UsualConventionDifference)
	if math.Abs(float64(got)-220) > 0.1 {
		t.Errorf("200 short-circuit is %v open-circuit, want 220", got)
	}
	got = tape.ConvertFluxivity(320, tape.OpenCircuit, tape.ShortCircuit, 0.915)
	if math.Abs(float64(got)-288) > 0.02 {
		t.Errorf("320 open-circuit is %v short-circuit, want 288", got)
	}
	if got := tape.ConvertFluxivity(250, "guess", tape.ShortCircuit, 0.8); !math.IsNaN(float64(got)) {
		t.Errorf("unknown convention gives %v, want NaN", got)
	}
}

// The two-edge model (from memory) worked outside this package.
func TestHeadContourAgainstTable(t *testing.T) {
	tab := readTable(t, "06_head_contour.csv")
	for row := range tab.rows {
		v := unit.MetrePerSecond(tab.speed(row, "speed_cm_per_s"))
		l := mm(tab.number(row, "pole_face_length_mm"))
		for column, want := range map[string]float64{
			"first_maximum_hz": 1.2, "first_minimum_hz": 0.8, "second_maximum_hz": 1.2, "second_minimum_hz": 0.8,
		} {
			// The printed frequency is rounded to 0.1 Hz, at worst 1.3 % of it;
			// an extremum is flat, so the amplitude there is off by under 0.001.
			got := tape.HeadContour(l, 0.2, tape.Wavelength(v, unit.Hertz(tab.number(row, column))))
			if math.Abs(math.Pow(10, float64(got)/20)-want) > 0.001 {
				t.Errorf("%s row %d: amplitude %.5f, want %g", column, row+1, math.Pow(10, float64(got)/20), want)
			}
		}
	}
}
