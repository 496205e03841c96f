package tape_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"headstack/tape"
	"headstack/unit"
)

func TestWavelengthLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := unit.MetrePerSecond(rapid.Float64Range(0.01, 2).Draw(t, "v"))
		f := unit.Hertz(rapid.Float64Range(1, 3e5).Draw(t, "f"))
		lambda := tape.Wavelength(v, f)
		if math.Abs(float64(lambda)*float64(f)-float64(v)) > 1e-15 {
			t.Fatalf("λ·f = %v, want %v", float64(lambda)*float64(f), v)
		}
		// A tape that plays fast keeps its wavelengths.
		if fast := tape.Wavelength(v*1.01, f*1.01); math.Abs(float64(fast/lambda-1)) > 1e-12 {
			t.Fatalf("%v, played fast %v", lambda, fast)
		}
	})
}

// Spacings add, dB for dB, and loss is as the inverse of the wavelength. Wallace 1951:
// 54.6 dB per wavelength.
func TestSpacingAdds(t *testing.T) {
	if got := float64(tape.SpacingLoss(um(1), um(1))); math.Abs(got-54.6) > 0.05 {
		t.Errorf("one wavelength of spacing: %v dB, want 54.6", got)
	}
	rapid.Check(t, func(t *rapid.T) {
		a := um(rapid.Float64Range(0, 10).Draw(t, "a"))
		b := um(rapid.Float64Range(0, 10).Draw(t, "b"))
		lambda := um(rapid.Float64Range(1, 1000).Draw(t, "λ"))
		both, sum := tape.SpacingLoss(a+b, lambda), tape.SpacingLoss(a, lambda)+tape.SpacingLoss(b, lambda)
		if math.Abs(float64(both-sum)) > 1e-9 {
			t.Fatalf("%v dB in one, %v dB in two", both, sum)
		}
		if half := tape.SpacingLoss(a, lambda/2); math.Abs(float64(half-2*tape.SpacingLoss(a, lambda))) > 1e-9 {
			t.Fatalf("an octave higher %v dB", half)
		}
	})
}

// A thin layer loses as half its depth in spacing, since its mean depth is that; a deep
// one 6.02 dB per octave, as 1/(kδ). Wallace 1951.
func TestThicknessLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lambda := um(rapid.Float64Range(1, 1000).Draw(t, "λ"))
		thin := lambda * 1e-5
		if got, want := tape.ThicknessLoss(thin, lambda), tape.SpacingLoss(thin/2, lambda); math.Abs(float64(got/want-1)) > 1e-4 {
			t.Fatalf("thin layer %v dB, spacing of its mean depth %v dB", got, want)
		}
		deep := lambda * unit.Metre(rapid.Float64Range(6, 1000).Draw(t, "δ/λ"))
		kd := 2 * math.Pi * float64(deep/lambda)
		if got, want := float64(tape.ThicknessLoss(deep, lambda)), 20*math.Log10(kd); math.Abs(got-want) > 1e-12*want+1e-12 {
			t.Fatalf("deep layer %v dB, want %v", got, want)
		}
		// It takes no more than spacing of its whole depth would.
		d := lambda * unit.Metre(rapid.Float64Range(0, 10).Draw(t, "depth/λ"))
		if got, most := tape.ThicknessLoss(d, lambda), tape.SpacingLoss(d, lambda); got > most+1e-12 {
			t.Fatalf("%v dB, all of it away %v dB", got, most)
		}
	})
}

// The sinc follows the ideal head within 0.02 dB up to half a wavelength and falls short
// of it nearer the null, as its comment says; the table of the ideal head holds to 0.88.
func TestSincAgainstIdealHead(t *testing.T) {
	for ratio := 0.0; ratio <= 0.5; ratio += 0.005 {
		exact, sinc := tape.GapLoss(um(ratio), um(1)), tape.SincGapLoss(um(ratio), um(1))
		if math.Abs(float64(exact-sinc)) > 0.02 {
			t.Errorf("g/λ = %.3f: ideal head %.4f dB, sinc %.4f dB", ratio, exact, sinc)
		}
	}
	for ratio := 0.6; ratio < tape.GapNull; ratio += 0.01 {
		if exact, sinc := tape.GapLoss(um(ratio), um(1)), tape.SincGapLoss(um(ratio), um(1)); !(exact > sinc) {
			t.Errorf("g/λ = %.3f: ideal head %.4f dB, sinc %.4f dB", ratio, exact, sinc)
		}
	}
}

// The response is 1 at long wavelengths, never above it, positive up to the null and
// negative after it.
func TestGapResponseLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ratio := rapid.Float64Range(0, 20).Draw(t, "g/λ")
		if s := tape.GapResponse(um(ratio), um(1)); !(math.Abs(s) <= 1+1e-9) {
			t.Fatalf("response %v", s)
		}
		below := rapid.Float64Range(0, tape.GapNull-1e-4).Draw(t, "below")
		above := rapid.Float64Range(tape.GapNull+1e-4, 1.5).Draw(t, "above")
		if a, b := tape.GapResponse(um(below), um(1)), tape.GapResponse(um(above), um(1)); !(a > 0 && b < 0) {
			t.Fatalf("response %v before the null and %v after it", a, b)
		}
	})
	if got := tape.GapResponse(um(20.1), um(1)); !math.IsNaN(got) {
		t.Errorf("beyond the range: %v", got)
	}
}

// Azimuth: the sign of the angle does not count for one core, a null stands where the
// tilt covers one wavelength, small angles lose as their square.
func TestAzimuthLossLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		width := mm(rapid.Float64Range(0.1, 10).Draw(t, "width"))
		angle := unit.Radian(rapid.Float64Range(0, 0.02).Draw(t, "angle"))
		lambda := um(rapid.Float64Range(2, 2000).Draw(t, "λ"))
		loss := tape.AzimuthLoss(width, angle, lambda)
		if mirrored := tape.AzimuthLoss(width, -angle, lambda); mirrored != loss {
			t.Fatalf("%v dB, mirrored %v dB", loss, mirrored)
		}
		if loss < -1e-12 {
			t.Fatalf("loss %v dB", loss)
		}
		null := unit.Radian(math.Atan(float64(lambda / width)))
		if got := tape.AzimuthLoss(width, null, lambda); !(got > 200) {
			t.Fatalf("%v dB where the tilt is one wavelength", got)
		}
		small := null * 1e-3
		one, two := tape.AzimuthLoss(width, small, lambda), tape.AzimuthLoss(width, 2*small, lambda)
		if math.Abs(float64(two/one)-4) > 1e-3 {
			t.Fatalf("twice a small angle loses %v times as much", two/one)
		}
	})
}

// Nothing but finite numbers in range gives a delay or an angle.
func TestAzimuthOutsideRange(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range [][3]float64{{nan, 0.1, 1}, {inf, 0, 1}, {inf, 0.1, 1}, {1, nan, 1}, {1, math.Pi / 2, 1}, {1, -2, 1}, {1, 0.1, nan}, {1, 0.1, inf}, {1, 0.1, -1}} {
		if got := tape.AzimuthDelay(unit.Metre(c[0]), unit.Radian(c[1]), unit.MetrePerSecond(c[2])); !math.IsNaN(float64(got)) {
			t.Errorf("delay of %v: %v, want NaN", c, got)
		}
	}
	for _, c := range [][3]float64{{nan, 1, 1}, {inf, 1, 1}, {1, 0, 1}, {1, nan, 1}, {1, inf, 1}, {1, 1, 0}, {1, 1, nan}} {
		if got := tape.AzimuthAngle(unit.Second(c[0]), unit.Metre(c[1]), unit.MetrePerSecond(c[2])); !math.IsNaN(float64(got)) {
			t.Errorf("angle of %v: %v, want NaN", c, got)
		}
	}
}

// Head bumps lie within 1 ± A, are gone without edges and move in proportion to the
// speed.
func TestHeadContourLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := mm(rapid.Float64Range(0.5, 20).Draw(t, "l"))
		a := rapid.Float64Range(0, 0.9).Draw(t, "A")
		lambda := mm(rapid.Float64Range(0.1, 100).Draw(t, "λ"))
		amplitude := math.Pow(10, float64(tape.HeadContour(l, a, lambda))/20)
		if amplitude < 1-a-1e-9 || amplitude > 1+a+1e-9 {
			t.Fatalf("amplitude %v for A = %v", amplitude, a)
		}
		if flat := tape.HeadContour(l, 0, lambda); flat != 0 {
			t.Fatalf("without edges %v dB", flat)
		}
		top := tape.HeadContour(l, a, l)
		if want := 20 * math.Log10(1+a); math.Abs(float64(top)-want) > 1e-9 {
			t.Fatalf("first bump %v dB, want %v", top, want)
		}
		// Two wavelengths further the bumps repeat: 2l/λ whole turns.
		n := unit.Metre(rapid.IntRange(1, 5).Draw(t, "n"))
		if again := tape.HeadContour(l, a, l/(2*n+1)); math.Abs(float64(again-top)) > 1e-9 {
			t.Fatalf("bump %v dB, a later one %v dB", top, again)
		}
	})
	for _, c := range [][3]float64{{-1, 0.1, 1}, {math.NaN(), 0.1, 1}, {1, -0.1, 1}, {1, 1, 1}, {1, math.NaN(), 1}, {1, 0.1, 0}, {1, 0.1, math.NaN()}} {
		if got := tape.HeadContour(unit.Metre(c[0]), c[1], unit.Metre(c[2])); !math.IsNaN(float64(got)) {
			t.Errorf("contour of %v: %v, want NaN", c, got)
		}
	}
}

// The side integral of fringing: next to nothing beside a near edge, all of it beside a
// far one, more with more tape, less beside a core than beside as much tape; scale-free.
func TestSideLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kd := rapid.Float64Range(1e-4, 30).Draw(t, "kd")
		d := unit.Metre(kd)
		const one = unit.Metre(2 * math.Pi) // k = 1
		ends, core := float64(tape.SideTapeEnds(d, one)), float64(tape.SideNeighbour(d, one))
		limit := 4 / (3 * math.Sqrt(3))
		if !(core > 0 && core <= ends+3e-4 && ends <= limit+1e-9) {
			t.Fatalf("kd = %v: core %v, tape's end %v, limit %v", kd, core, ends, limit)
		}
		if ends > kd {
			t.Fatalf("kd = %v: %v gathered of less tape", kd, ends)
		}
		if more := float64(tape.SideTapeEnds(d*1.1, one)); more < ends-1e-12 {
			t.Fatalf("kd = %v: %v, with more tape %v", kd, ends, more)
		}
		scale := unit.Metre(rapid.Float64Range(1e-6, 1e-2).Draw(t, "scale"))
		if scaled := float64(tape.SideTapeEnds(d*scale, one*scale) / scale); math.Abs(scaled-ends) > 1e-9 {
			t.Fatalf("kd = %v: %v, scaled %v", kd, ends, scaled)
		}
	})
	for name, side := range map[string]lossOfSide{"tape's end": tape.SideTapeEnds, "core": tape.SideNeighbour} {
		for _, c := range [][2]float64{{-1, 1}, {math.NaN(), 1}, {1, 0}, {1, -1}, {1, math.NaN()}, {1, math.Inf(1)}} {
			if got := side(unit.Metre(c[0]), unit.Metre(c[1])); !math.IsNaN(float64(got)) {
				t.Errorf("%s %v: %v, want NaN", name, c, got)
			}
		}
		if got := side(0, 1); got != 0 {
			t.Errorf("%s at no distance: %v", name, got)
		}
	}
}

type lossOfSide func(d, lambda unit.Metre) unit.Metre
