package diagnosis

import (
	"math"
	"strings"
	"testing"
)

// TestStudent: the density of Student's t by its closed forms for 1 (Cauchy) and 2
// degrees of freedom, and that for 4 by its value at 0, 3/8, and at √4: 3/8 / 2^2.5.
func TestStudent(t *testing.T) {
	for _, x := range []struct{ at, nu, want float64 }{
		{0, 1, 1 / math.Pi}, {2, 1, 1 / (5 * math.Pi)}, {1, 2, math.Pow(3, -1.5)},
		{0, 4, 0.375}, {2, 4, 0.375 / math.Pow(2, 2.5)}, {2, 4 + 1e-9, 0.375 / math.Pow(2, 2.5)},
	} {
		if got := student(x.at, 1, x.nu); math.Abs(got-x.want) > 1e-9 {
			t.Errorf("t(%g) with %g degrees of freedom: %.12g, want %.12g", x.at, x.nu, got, x.want)
		}
		if got := student(3*x.at, 3, x.nu); math.Abs(got-x.want/3) > 1e-9 {
			t.Errorf("the same at three times the scale: %.12g, want %.12g", got, x.want/3)
		}
	}
}

// TestSmeared compares the quadrature with a fine sum, as far as it is used.
func TestSmeared(t *testing.T) {
	for _, x := range []struct{ noise, tol float64 }{{0.05, 1e-11}, {0.25, 1e-9}, {0.5, 1e-8}} {
		for _, at := range []float64{0, 0.3, 1, 3, 8, 40} {
			want := 0.0
			const step = 1e-3
			for u := -9.0; u <= 9; u += step {
				want += step * student(at-x.noise*u, 1, 4) * math.Exp(-u*u/2) / math.Sqrt(2*math.Pi)
			}
			if got := smeared(at, 1, 4, x.noise); math.Abs(got/want-1) > x.tol {
				t.Errorf("noise %g at %g: %.12g, want %.12g (off by %.1e)", x.noise, at, got, want, got/want-1)
			}
		}
	}
}

func TestSettle(t *testing.T) {
	for _, x := range []struct {
		name     string
		repeats  []float64
		y        float64
		others   int
		n, stray int
	}{
		{"one", []float64{-3}, -3, 0, 1, 0},
		{"three that agree", []float64{-3.1, -3, -2.9}, -3, 0, 3, 0},
		{"one caught while ranging", []float64{-3, 57, -3.2}, -3.1, 0, 2, 1},
		{"two against one each", []float64{10, -3, -30, -3.2}, -3.1, 0, 2, 2},
		{"one against one", []float64{57, -3}, -3, 1, 1, 1},
	} {
		y, others, n, stray := settle(x.repeats, acRepeatDB)
		if math.Abs(y-x.y) > 1e-12 || len(others) != x.others || n != x.n || stray != x.stray {
			t.Errorf("%s: %g, others %v, %d agree, %d left out", x.name, y, others, n, stray)
		}
	}
}

// TestStrayRepeat: of three displays in one setting the one caught while ranging is
// left out and said to be; with two that contradict each other a wrong one is as likely
// as the other, so nothing is blamed as it would be for the low one alone.
func TestStrayRepeat(t *testing.T) {
	def := hexastrand(t)
	job := func(volts ...float64) *Verdict {
		b := &bench{}
		for k, v := range volts {
			b.read("TP11", "3", v, 0)
			b.ev.Readings[k].Setting = "one"
		}
		b.check("play", "3", Faulty, SymptomUnknown)
		return diagnose(t, def, b.ev)
	}
	at := func(v *Verdict) float64 { return stage(t, v, "U3-3").P + stage(t, v, "H-3").P + stage(t, v, "U5-3").P }
	good, low := job(0.1), job(0.01)
	stray := job(0.1, 0.01, 0.101)
	if math.Abs(at(stray)-at(good)) > 0.02 {
		t.Errorf("a stray display among three: %.3f, without it %.3f", at(stray), at(good))
	}
	found := ""
	for _, b := range append(stage(t, stray, "U3-3").ClearedBy, stage(t, stray, "U5-3").ClearedBy...) {
		found += b.Text
	}
	if !strings.Contains(found, "1 of 3 repeats left out") {
		t.Errorf("%q does not say that a repeat was left out", found)
	}
	if both := at(job(0.1, 0.01)); !(both > at(good) && both < at(low)/2) {
		t.Errorf("two displays that contradict each other: %.3f, want between %.3f of the right and %.3f of the low one", both, at(good), at(low))
	}
}

// TestRepeatsAndSettings: three readings of one setting are worth hardly more than one:
// they rule out a slip of typing and a display caught while ranging, half of what else
// would explain the value, and so a bit at most. Three settings are worth much more.
func TestRepeatsAndSettings(t *testing.T) {
	def := hexastrand(t)
	job := func(setting ...string) float64 {
		b := &bench{}
		for k, s := range setting {
			b.read("TP2", "", -10.1, 0)
			b.ev.Readings[k].Setting = s
		}
		return stage(t, diagnose(t, def, b.ev), "U42").P
	}
	one, repeated, fresh := job("a"), job("a", "a", "a"), job("a", "b", "c")
	if bits := bitsOf(repeated, one); bits > 1 || bits < -0.1 {
		t.Errorf("repeated without moving the probe: %.3f after %.3f, %.2f bit", repeated, one, bits)
	}
	if bits := bitsOf(fresh, one); bits < 3 {
		t.Errorf("taken afresh: %.3f after %.3f, %.2f bit", fresh, one, bits)
	}
}
