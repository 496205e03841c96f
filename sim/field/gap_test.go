package field

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// What Laplace's equation and the law of current ask of any head's field: the
// potential across it is 1 at every distance, on the face the field is 1/g in the gap
// and nothing on the poles, and potential theory's mean value holds (a harmonic
// function at the centre of a square is the mean over it, to the fourth order).
func TestFieldOfGap(t *testing.T) {
	const g = 2e-6
	for _, x := range []float64{0, 0.4 * g, 0.6 * g, 5 * g} {
		want := 0.0
		if x < g/2 {
			want = 1 / g
		}
		if got := karlqvist(x, 1e-12*g, g); math.Abs(got-want)*g > 1e-9 {
			t.Errorf("on the face at %g gaps: %g, want %g", x/g, got*g, want*g)
		}
	}
	for _, y := range []float64{0.05 * g, g, 7 * g} {
		sum := 0.0
		for u := -1.0; u < 1; u += 1e-4 { // x = y·tan(πu/2) takes in all of it
			s, c := math.Sincos(math.Pi / 2 * (u + 0.5e-4))
			sum += karlqvist(y*s/c, y, g) * y * math.Pi / 2 / (c * c) * 1e-4
		}
		if math.Abs(sum-1) > 1e-4 {
			t.Errorf("potential at a distance of %g gaps: %g, want 1", y/g, sum)
		}
	}
	x, y, h := 0.7*g, 0.9*g, 0.01*g
	around := karlqvist(x+h, y, g) + karlqvist(x-h, y, g) + karlqvist(x, y+h, g) + karlqvist(x, y-h, g)
	if d := (around/4 - karlqvist(x, y, g)) * g; math.Abs(d) > 1e-7 {
		t.Errorf("field is not harmonic: mean around is off by %g", d)
	}
}

// In closed form the Karlqvist head reads sin(X)/X, X = πg/λ, times Wallace's
// exp(-2πy/λ). O. Karlqvist, Trans. Roy. Inst. Technol. Stockholm 86, 1954 (from
// memory); R. L. Wallace, BSTJ 30(4), 1951. The integral knows neither.
func TestIntegralAgainstClosedForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lambda := math.Exp(rapid.Float64Range(math.Log(6e-6), math.Log(20e-3)).Draw(t, "wavelength"))
		gap := rapid.Float64Range(0.5e-6, 5e-6).Draw(t, "gap")
		spacing := rapid.Float64Range(0, 5e-6).Draw(t, "spacing")
		coating := rapid.Float64Range(2e-6, 14e-6).Draw(t, "coating")
		k := 2 * math.Pi / lambda
		got := usual.depth(k, gap, spacing, coating)
		want := math.Exp(-k*spacing) * -math.Expm1(-k*coating) / (k * coating) * math.Sin(k*gap/2) / (k * gap / 2)
		if err := 20 * math.Log10(got/want); !(math.Abs(err) < 0.002) {
			t.Errorf("integral %g, closed form %g: %.5f dB apart", got, want, err)
		}
	})
}

// A gap as long as the wave gives nothing: the first null of sin(X)/X.
func TestGapNull(t *testing.T) {
	const lambda = 8e-6
	if got := usual.depth(2*math.Pi/lambda, lambda, 0, 4e-6); math.Abs(got) > 1e-6 {
		t.Errorf("a gap of one wavelength reads %g, want 0", got)
	}
}

// Halving all steps moves no response by 0.001 dB.
func TestStepsAreFineEnough(t *testing.T) {
	fine := usual
	fine.halves, fine.halfWaves, fine.ramp = 2, 2*usual.halfWaves, 2*usual.ramp-1
	worst := 0.0
	rapid.Check(t, func(t *rapid.T) {
		kind := rapid.SampledFrom([]Kind{Cassette, OpenReel}).Draw(t, "kind")
		centres, widths := []float64{0.4e-3, 1.1e-3, 1.8e-3}, []float64{0.4e-3, 0.4e-3, 0.4e-3}
		h := kind.Head(centres, widths)
		if rapid.Bool().Draw(t, "faced") {
			h = kind.Faced(h)
		}
		tape := Tape{SpeedMS: 0.09525, WidthM: 3e-3, CoatingM: kind.CoatingM(), FullWidth: rapid.Bool().Draw(t, "full width"), CentresM: centres, WidthsM: widths}
		if kind == OpenReel {
			tape.SpeedMS = 0.381
		}
		f := Fault{
			SpacingLowM:  rapid.Float64Range(0, 2e-6).Draw(t, "low"),
			SpacingHighM: rapid.Float64Range(0, 2e-6).Draw(t, "high"),
			AzimuthRad:   rapid.Float64Range(-0.006, 0.006).Draw(t, "azimuth"),
			GapM:         rapid.Float64Range(1e-6, 3e-6).Draw(t, "gap"),
			HeightM:      rapid.Float64Range(-0.2e-3, 0.2e-3).Draw(t, "height"),
		}
		track := rapid.IntRange(1, 3).Draw(t, "track")
		hz := math.Exp(rapid.Float64Range(math.Log(40), math.Log(12500)).Draw(t, "log frequency"))
		response := func(s steps) complex128 {
			p, err := NewPlayer(h, tape)
			if err != nil {
				t.Fatal(err)
			}
			p.steps = s
			return p.Response(track, f, hz, 0)
		}
		off := response(usual)/response(fine) - 1
		worst = max(worst, math.Hypot(real(off), imag(off)))
		if db := 8.686 * math.Hypot(real(off), imag(off)); !(db < 0.001) {
			t.Errorf("halved steps move the response by %.5f dB", db)
		}
	})
	t.Logf("worst: %.2g dB", 8.686*worst)
}

// The limits of the side weight: a neighbour at a distance short against the wave
// takes half the room beside the core (the potential falls in a straight line); with
// nothing there, all of a short room is heard, and 1/a of a long one.
func TestSideLimits(t *testing.T) {
	width := func(room, b, a float64) float64 {
		sum := 0.0
		for _, n := range usual.beside(span{0, room}, b, a, 0) {
			sum += n.weight
		}
		return sum
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"close neighbour", width(1, 1, 1e-3), 0.5},
		{"close tape edge", width(1, math.Inf(1), 1e-3), 1},
		{"far neighbour", width(1, 1, 1e3), 1e-3},
		{"far tape edge", width(1, math.Inf(1), 1e3), 1e-3},
	} {
		if math.Abs(c.got/c.want-1) > 1e-3 {
			t.Errorf("%s: extra width %g, want %g", c.name, c.got, c.want)
		}
	}
}
