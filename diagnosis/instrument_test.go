package diagnosis

import (
	"math"
	"strings"
	"testing"

	"headstack/machine"
)

// TestDroop: the error of a meter of one pole. Values worked out from the formula
// outside this project, to the third decimal.
func TestDroop(t *testing.T) {
	for _, x := range []struct{ corner, hz, db float64 }{
		{1000, 50, -0.011}, {1000, 315, -0.411}, {1000, 1000, -3.010}, {1000, 3150, -10.383}, {1000, 20000, -26.031},
		{5000, 6300, -4.129}, {10000, 3150, -0.414}, {20000, 10000, -0.969}, {20000, 20000, -3.010}, {50000, 15000, -0.374},
		{100000, 20000, -0.170},
	} {
		want := x.db
		if x.corner == 10000 { // the same ratio as 1 kHz and 315 Hz
			want = -0.411
		}
		if got := -DroopDB(x.hz, x.corner); math.Abs(got-want) > 6e-4 {
			t.Errorf("%g Hz on a corner of %g Hz: %.4f dB, want %.3f", x.hz, x.corner, got, want)
		}
	}
	// Bias of 92 kHz on ordinary meters, trade figures: 20 kHz reads 13.5 dB low, 50 kHz
	// 6.4 dB, 100 kHz 2.7 dB.
	for corner, want := range map[float64]float64{20000: 13.5, 50000: 6.4, 100000: 2.7} {
		if got := DroopDB(92000, corner); math.Abs(got-want) > 0.05 {
			t.Errorf("92 kHz on a corner of %g Hz: %.3f dB low, want %.1f", corner, got, want)
		}
	}
	if DroopDB(92000, 0) != 0 || DroopDB(0, 1000) != 0 {
		t.Error("an unknown corner or a steady voltage droops")
	}
}

// TestLoading: a source under an input. Values worked out from the formula outside this
// project, to the third decimal.
func TestLoading(t *testing.T) {
	for _, x := range []struct{ source, input, pF, hz, db float64 }{
		{600, 1e6, 100, 0, -0.005}, {600, 10e6, 200, 20000, -0.002}, {10000, 1e6, 100, 1000, -0.087}, {10000, 10e6, 200, 10000, -0.077},
		{47000, 1e6, 100, 10000, -0.731}, {47000, 10e6, 100, 20000, -1.330}, {47000, 10e6, 200, 20000, -3.811}, {100000, 1e6, 100, 0, -0.828},
		{100000, 1e6, 100, 20000, -4.455}, {100000, 10e6, 200, 10000, -4.148}, {100000, 10e6, 200, 20000, -8.655},
	} {
		if got := -LoadingDB(x.source, x.input, x.pF*1e-12, x.hz); math.Abs(got-x.db) > 6e-4 {
			t.Errorf("%g ohm under %g ohm and %g pF at %g Hz: %.4f dB, want %.3f", x.source, x.input, x.pF, x.hz, got, x.db)
		}
	}
	if LoadingDB(10000, 0, 0, 1000) != 0 {
		t.Error("an input of which nothing is known loads")
	}
}

// TestAverageResponding: what an average-responding meter reads over the true r.m.s.
// value, textbook values; form factors of the waves: square 1, triangle 2/√3.
func TestAverageResponding(t *testing.T) {
	for name, x := range map[string]struct{ form, db float64 }{
		"sine": {math.Pi / (2 * math.Sqrt2), 0}, "square": {1, 0.912}, "triangle": {2 / math.Sqrt(3), -0.337}, "Gaussian noise": {noiseForm, -1.049},
	} {
		if got := AverageDB(x.form); math.Abs(got-x.db) > 6e-4 {
			t.Errorf("%s: %.4f dB, want %.3f", name, got, x.db)
		}
	}
}

// TestOrdinaryMeter: how often a meter that nobody knows reads low by a decibel, and
// that the falls run through are that distribution.
func TestOrdinaryMeter(t *testing.T) {
	for _, x := range []struct{ hz, low, high float64 }{
		{315, 0, 0}, {401, 0.01, 0.03}, {1000, 0.03, 0.08}, {10000, 0.25, 0.45}, {92000, 0.78, 0.82},
	} {
		p := chanceOfDroop(x.hz, 1)
		if p < x.low || p > x.high {
			t.Errorf("%g Hz reads a decibel low with %.3f, want %g to %g", x.hz, p, x.low, x.high)
		}
		n := 0
		for _, d := range ordinaryDroops(x.hz) {
			if d >= 1 {
				n++
			}
		}
		if got := float64(n) / droopSteps; math.Abs(got-p) > 0.5/droopSteps+1e-9 {
			t.Errorf("%g Hz: %.3f of the falls are a decibel or more, want %.3f", x.hz, got, p)
		}
	}
}

// meters are the register of the tests.
var meters = []Instrument{
	{ID: "handheld", Kind: Average, BandwidthHz: 20000, ACPercent: 3, InputOhm: 10e6, InputF: 100e-12, Autorange: true},
	{ID: "scope", Kind: Scope, ACPercent: 3, InputOhm: 10e6, InputF: 15e-12, Leads: "x10 probe"},
}

// biasJob reads the bias of tracks with one instrument.
func biasJob(instrument string, volts map[string]float64) Evidence {
	b := &bench{}
	for _, k := range []string{"1", "2", "3", "4", "5", "6"} {
		if v, ok := volts[k]; ok {
			b.read("TP22", k, v, 0)
			b.ev.Readings[len(b.ev.Readings)-1].Instrument = instrument
		}
	}
	b.ev.Instruments = meters
	return b.ev
}

// biasFaults is the expected number of faults on the bias path of a track.
func biasFaults(t *testing.T, v *Verdict, key string) (n float64) {
	t.Helper()
	def := hexastrand(t)
	path, err := def.Path("bias", key)
	if err != nil {
		t.Fatal(err)
	}
	for _, in := range path {
		n += stage(t, v, in.Part()).P
	}
	return n
}

// TestBiasByOrdinaryMeter: 4.7 V where 22 V are expected is what a sound recorder shows on a
// meter of 20 kHz: nothing is blamed, and the reading is doubted as an absolute one
// where nobody knows the meter; a scope's 4.7 V is a fault; a sibling that stands out
// among readings of the same meter is one too.
func TestBiasByOrdinaryMeter(t *testing.T) {
	def := hexastrand(t)
	one := map[string]float64{"1": 4.67}
	before := biasFaults(t, diagnose(t, def, Evidence{}), "1")
	v := diagnose(t, def, biasJob("some meter", one))
	if n := biasFaults(t, v, "1"); n > 2*before {
		t.Errorf("a meter nobody knows: %.3f faults, beforehand %.3f", n, before)
	}
	if len(v.Doubts) != 1 || !strings.Contains(v.Doubts[0].Text, "×10 probe or a meter good to 92 kHz, or read a sibling") {
		t.Errorf("doubts %+v do not say that the meter misleads and what to take", v.Doubts)
	}
	v = diagnose(t, def, biasJob("handheld", one))
	if n := biasFaults(t, v, "1"); n > before || len(v.Doubts) > 0 {
		t.Errorf("a meter of 20 kHz, made up for: %.3f faults, beforehand %.3f, doubts %+v", n, before, v.Doubts)
	}
	if n := biasFaults(t, diagnose(t, def, biasJob("scope", one)), "1"); n < 0.5 {
		t.Errorf("4.67 V by a scope: only %.3f faults", n)
	}
	all := map[string]float64{"1": 4.7, "2": 4.6, "3": 4.65, "4": 1.6, "5": 4.7, "6": 4.62}
	for _, meter := range []string{"some meter", "handheld"} {
		v = diagnose(t, def, biasJob(meter, all))
		if n := biasFaults(t, v, "2"); n > before {
			t.Errorf("siblings by %s: %.3f faults before track 2, beforehand %.3f", meter, n, before)
		}
		if n := biasFaults(t, v, "4"); n < 0.5 {
			t.Errorf("siblings by %s: track 4 stands out by 9 dB, but only %.3f faults", meter, n)
		}
	}
}

// TestAccuracy: an instrument of 0.5 % makes a narrower offset than one of 5 %, and one
// that nobody knows has the usual.
func TestAccuracy(t *testing.T) {
	e, err := New(hexastrand(t), Options{})
	if err != nil {
		t.Fatal(err)
	}
	tp, _ := e.def.TestPoint("TP11")
	fine := e.ownPriorWith(tp, "1", Instrument{ACPercent: 0.5}).sd
	coarse := e.ownPriorWith(tp, "1", Instrument{ACPercent: 5}).sd
	usual := e.ownPrior(tp, "1").sd
	if !(fine < coarse) || fine > usual {
		t.Errorf("offset of 0.5 %%: %.3f dB, of 5 %%: %.3f dB, nobody knows: %.3f dB", fine, coarse, usual)
	}
	// ±5 % at 95 % is 0.424 dB at 1.96 standard deviations, beside the point's ±0.5 dB.
	if want := math.Hypot(0.25, 0.4238/1.96); math.Abs(coarse-want) > 1e-3 {
		t.Errorf("offset of 5 %%: %.4f dB, want %.4f", coarse, want)
	}
}

func TestCannotTell(t *testing.T) {
	def := hexastrand(t)
	bias, _ := def.TestPoint("TP22")
	line, _ := def.TestPoint("TP11")
	rail, _ := def.TestPoint("TP1")
	winding := &machine.TestPoint{Expect: machine.Quantity{Value: 300, Unit: "ohm"}}
	for _, x := range []struct {
		name string
		in   Instrument
		tp   *machine.TestPoint
		hz   float64
		says []string
	}{
		{"known meter on bias", meters[0], bias, 0, []string{"Its bandwidth of 20 kHz reads 92 kHz 13.5 dB low: only siblings compare", "noise reads 1.0 dB low", "loads the point with its leads", "first display after a change"}},
		{"known meter on line", meters[0], line, 0, []string{"noise reads 1.0 dB low", "first display"}},
		{"scope on bias", meters[1], bias, 0, nil},
		{"unknown meter on bias", Instrument{}, bias, 0, []string{"reads 92 kHz low by a decibel or more in 80 % of cases, so only siblings compare"}},
		{"unknown meter at 10 kHz", Instrument{}, line, 10000, []string{"reads 10 kHz low"}},
		{"unknown meter on line", Instrument{}, line, 0, nil},
		{"unknown meter on a rail", Instrument{}, rail, 0, nil},
		{"counter", Instrument{Kind: Counter}, line, 0, []string{"not a level"}},
		{"winding", Instrument{LeadsOhm: 0.3}, winding, 0, []string{"no proof of a joint", "add 300 mohm"}},
	} {
		got := x.in.CannotTell(x.tp, x.hz, def)
		if len(got) != len(x.says) {
			t.Errorf("%s: %q, want %d sentences", x.name, got, len(x.says))
			continue
		}
		for i, s := range x.says {
			if !strings.Contains(got[i], s) {
				t.Errorf("%s: %q does not say %q", x.name, got[i], s)
			}
		}
	}
}
