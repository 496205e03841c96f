package tape_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"headstack/tape"
	"headstack/unit"
)

// lossLaw is any loss by a length at a wavelength.
type lossLaw func(length, lambda unit.Metre) unit.Decibel

var laws = map[string]lossLaw{
	"spacing":   tape.SpacingLoss,
	"thickness": tape.ThicknessLoss,
	"gap":       tape.GapLoss,
	"sinc gap":  tape.SincGapLoss,
	"azimuth": func(width, lambda unit.Metre) unit.Decibel {
		return tape.AzimuthLoss(width, math.Pi/4, lambda) // tan = 1
	},
}

// Below the first null every loss is zero at zero length, rises with the length,
// and depends on the ratio of length to wavelength alone.
func TestLossLaws(t *testing.T) {
	for name, law := range laws {
		t.Run(name, rapid.MakeCheck(func(t *rapid.T) {
			ratio := rapid.Float64Range(0, 0.87).Draw(t, "length/lambda")
			more := rapid.Float64Range(1e-3, 0.1).Draw(t, "more")
			scale := rapid.Float64Range(1e-7, 1e-2).Draw(t, "lambda")
			lambda := unit.Metre(scale)
			loss := law(unit.Metre(ratio*scale), lambda)
			if zero := law(0, lambda); math.Abs(float64(zero)) > 1e-12 {
				t.Fatalf("loss of nothing is %v", zero)
			}
			if loss < -1e-12 {
				t.Fatalf("loss %v is negative", loss)
			}
			if ratio+more < 0.87 {
				if next := law(unit.Metre((ratio+more)*scale), lambda); !(next > loss) {
					t.Fatalf("loss %v at %v, %v at %v", loss, ratio, next, ratio+more)
				}
			}
			unscaled := law(unit.Metre(ratio), 1)
			if math.Abs(float64(loss-unscaled)) > 1e-9*(1+float64(loss)) {
				t.Fatalf("loss %v at λ = %v, %v at λ = 1", loss, lambda, unscaled)
			}
		}))
	}
}

func TestLossesOutsideRange(t *testing.T) {
	nan, inf := unit.Metre(math.NaN()), unit.Metre(math.Inf(1))
	for name, law := range laws {
		for _, c := range [][2]unit.Metre{{1, 0}, {1, -1}, {-1, 1}, {nan, 1}, {1, nan}, {1, inf}, {inf, 1}} {
			if got := law(c[0], c[1]); !math.IsNaN(float64(got)) {
				t.Errorf("%s(%v, %v) = %v, want NaN", name, c[0], c[1], got)
			}
		}
	}
	if got := tape.Wavelength(0, 1000); !math.IsNaN(float64(got)) {
		t.Errorf("wavelength at rest = %v, want NaN", got)
	}
	if got := tape.AzimuthDelay(1, 0.1, 0); !math.IsNaN(float64(got)) {
		t.Errorf("delay at rest = %v, want NaN", got)
	}
	for _, f := range []unit.Hertz{0, -1, unit.Hertz(math.NaN())} {
		if got := tape.FluxDB(f, 70, 3180); !math.IsNaN(float64(got)) {
			t.Errorf("flux at %v Hz = %v, want NaN", f, got)
		}
	}
}

// Short gaps lose as the square of g/λ; the ideal head's second moment makes the
// effective gap longer than the mechanical one, between 1.10 and 1.12.
func TestShortGap(t *testing.T) {
	const ratio = 0.01
	loss := float64(tape.GapLoss(um(ratio), um(1)))
	x2 := loss / (20 * math.Log10E) * 6 // sinc: loss ≈ 20·log10(e)·x²/6
	factor := math.Sqrt(x2) / (math.Pi * ratio)
	if !(factor > 1.10 && factor < 1.12) {
		t.Errorf("effective gap %.4f gaps", factor)
	}
}

// The delay is odd in distance and angle, adds up over tracks and comes back from
// AzimuthAngle.
func TestAzimuthDelaySigns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s1 := unit.Metre(rapid.Float64Range(-0.02, 0.02).Draw(t, "s1"))
		s2 := unit.Metre(rapid.Float64Range(1e-4, 0.02).Draw(t, "s2"))
		angle := unit.Radian(rapid.Float64Range(-0.02, 0.02).Draw(t, "angle"))
		v := unit.MetrePerSecond(rapid.Float64Range(0.02, 1).Draw(t, "v"))
		d := tape.AzimuthDelay(s2, angle, v)
		if d < 0 != (angle < 0) {
			t.Fatalf("delay %v for angle %v over a positive distance", d, angle)
		}
		if m := tape.AzimuthDelay(-s2, angle, v); m != -d {
			t.Fatalf("mirrored distance: %v, want %v", m, -d)
		}
		sum := tape.AzimuthDelay(s1, angle, v) + d
		if both := tape.AzimuthDelay(s1+s2, angle, v); math.Abs(float64(both-sum)) > 1e-12*math.Abs(float64(d))+1e-18 {
			t.Fatalf("delays do not add: %v, want %v", both, sum)
		}
		if back := tape.AzimuthAngle(d, s2, v); math.Abs(float64(back-angle)) > 1e-14 {
			t.Fatalf("angle %v comes back as %v", angle, back)
		}
	})
}

// The fringing gain is positive, rises with the wavelength and stays under the
// bound of endless tape on both sides.
func TestFringingLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(t, "tracks")
		width := rapid.Float64Range(0.1, 2).Draw(t, "width")
		guard := rapid.Float64Range(0.05, 2).Draw(t, "guard")
		edge := rapid.Float64Range(0, 1).Draw(t, "edge")
		g := tape.Geometry{TapeWidth: mm(2*edge + float64(n)*width + float64(n-1)*guard)}
		for i := range n {
			g.Tracks = append(g.Tracks, tape.TrackPlace{Centre: mm(edge + width/2 + float64(i)*(width+guard)), Width: mm(width)})
		}
		track := rapid.IntRange(1, n).Draw(t, "track")
		lambda := rapid.Float64Range(0.002, 20).Draw(t, "lambda_mm")
		gain := tape.FringingGain(g, track, mm(lambda))
		longer := tape.FringingGain(g, track, mm(lambda*1.5))
		bound := 20 * math.Log10(1+2*0.76980036*lambda/(2*math.Pi)/width)
		if gain < -1e-9 || float64(gain) > bound+1e-9 || longer < gain-1e-9 {
			t.Fatalf("gain %v dB, at 1.5 λ %v dB, bound %v dB", gain, longer, bound)
		}
		mirrored := tape.FringingGain(g, n+1-track, mm(lambda))
		if math.Abs(float64(mirrored-gain)) > 1e-6 {
			t.Fatalf("mirrored track %v dB, want %v dB", mirrored, gain)
		}
		// Scale-free: lengths and wavelength together.
		if float64(tape.SideNeighbour(mm(guard), mm(lambda))) > guard/2*1e-3*(1+1e-2)+1e-12 {
			t.Fatalf("neighbour at %v mm gives more than half the guard", guard)
		}
	})
}
