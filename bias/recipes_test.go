package bias

import (
	"math"
	"strings"
	"testing"
)

// The recipes that use the low tone meet their aims on true curves.
func TestRecipes(t *testing.T) {
	var flat, low tally
	var flatErr, lowErr []float64
	none := 0
	n := runs(25, 200)
	for seed := range n {
		b := newBench(seed, 0.25, 0.03)
		b.peak = 0.28 // the low tone falls by 1 dB 5 to 9 dB past the treble's peak
		var at []float64
		mid := b.trim.Law.DB(b.peak)
		for i := range 9 {
			at = append(at, clamp(b.trim.Law.Position(mid-3+11*float64(i)/8)))
		}
		for at[len(at)-2] == 1 {
			at = at[:len(at)-1]
		}
		c, err := Fit(b.trim, studio, b.record(at))
		if err != nil {
			t.Fatal(err)
		}
		// Readings come back 1 dB apart at the peak of the treble; flat is a true difference.
		diff := func(p float64) float64 {
			x := b.truth.bias(p)
			return (-2 + b.truth.low(x)) - (-3 + b.truth.treble(x))
		}
		want := diff(b.meets(2.5))
		if s := c.Set(Aim{Recipe: Flat, FallDB: want}); s.At != nil {
			flatErr = append(flatErr, diff(s.At.Position)-want)
			flat.add(s.Fall.Lo, diff(b.wiper(s.At.Position)), s.Fall.Hi)
		} else {
			none++
		}
		lowPeak := peakOf(b.truth.low, -4, 12)
		fall := func(p float64) float64 { return b.truth.low(lowPeak) - b.truth.low(b.truth.bias(p)) }
		if s := c.Set(LowToneAim()); s.At != nil {
			lowErr = append(lowErr, fall(s.At.Position)-1)
			low.add(s.Fall.Lo, fall(b.wiper(s.At.Position)), s.Fall.Hi)
		}
	}
	f, f95, _ := shares(flatErr)
	l, l95, _ := shares(lowErr)
	t.Logf("treble as high as the low tone: %.3f dB r.m.s., 95 %% within %.3f (%d of %d without); 1 kHz down by 1 dB: %.3f, %.3f on %d", f, f95, none, n, l, l95, len(lowErr))
	if f > 0.35 || l > 0.35 || none > n/10 || len(lowErr) < n/4 {
		t.Error("recipes miss their aims")
	}
	flat.check(t, "treble as high as the low tone")
	low.check(t, "low tone past its peak")
}

// Treble that is too weak at any bias is not blamed on bias.
func TestFlatOutOfReach(t *testing.T) {
	b := newBench(4, 0, 1e-3)
	s := b.record(b.positions(t))
	for i := range s.Readings {
		s.Readings[i].Treble.Value -= 9
	}
	c, err := Fit(b.trim, studio, s)
	if err != nil {
		t.Fatal(err)
	}
	if got := c.Set(CassetteAim()); !strings.Contains(got.Refused, "raise record treble") {
		t.Errorf("refused %q", got.Refused)
	}
}

// Third harmonic at the setting: a parabola of its logarithm is found again.
func TestThird(t *testing.T) {
	var y tally
	for seed := range 200 {
		b := newBench(seed, 0, 1e-3)
		s := b.record([]float64{0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8})
		true3 := func(p float64) float64 { u := b.trim.Law.DB(p) - b.trim.Law.DB(0.6); return 0.4 * math.Exp(0.03*u*u) }
		for i := range s.Readings {
			v := true3(s.Readings[i].Position)
			s.Readings[i].Third = &Level{Value: v * math.Exp(0.08*b.r.NormFloat64()), SD: 0.08 * v}
		}
		c := &Curve{Trim: b.trim, Tones: studio, passes: []Staircase{s}}
		r := c.third(0.63)
		if r == nil {
			t.Fatal("no third harmonic")
		}
		y.add(r.Lo, true3(0.63), r.Hi)
		if c.third(0.99) != nil {
			t.Fatal("a third harmonic far past the readings")
		}
	}
	// Residuals may only widen the interval, which then covers more than it says.
	if got := float64(y.hit) / float64(y.all); got < 0.93 {
		t.Errorf("%.3f of %d intervals hold the truth", got, y.all)
	}
}
