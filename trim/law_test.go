package trim_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"headstack/tape"
	"headstack/trim"
	"headstack/unit"
)

// TestForms holds the forms against the formulas of tape and their slopes against differences.
func TestForms(t *testing.T) {
	loss := trim.AzimuthLoss{Width: 0.38e-3, Lambda: 9.525e-6}
	delay := trim.AzimuthDelay{Distance: 3.1e-3, Speed: 0.09525}
	ratio := trim.Ratio{Ref: 0.4}
	for _, x := range []float64{-30, -7.5, -0.5, 1e-4, 0.5, 5, 10, 20, 30} {
		for name, f := range map[string]trim.Form{"loss": loss, "delay": delay, "same": trim.Same{}} {
			y, slope := f.At(x)
			h := 1e-4
			up, _ := f.At(x + h)
			down, _ := f.At(x - h)
			if d := (up - down) / (2 * h); math.Abs(d-slope) > 1e-5*(1+math.Abs(d)) {
				t.Errorf("%s at %g: slope %g, by differences %g", name, x, slope, d)
			}
			alpha := unit.Radian(x) * tape.Arcminute
			want := map[string]float64{"loss": -float64(tape.AzimuthLoss(0.38e-3, alpha, 9.525e-6)), "delay": 1e6 * float64(tape.AzimuthDelay(3.1e-3, alpha, 0.09525)), "same": x}[name]
			if math.Abs(y-want) > 1e-9 {
				t.Errorf("%s at %g: %g, tape says %g", name, x, y, want)
			}
		}
	}
	// Six tracks of 0.38 mm at 9.525 cm/s: 10 arcminutes lose 0.19 dB at 10 kHz and
	// delay by 95 µs over 3.10 mm, computed from the standard formulas.
	if y, _ := loss.At(10); math.Abs(y+0.19) > 0.005 {
		t.Errorf("10 arcminutes: %g dB at 10 kHz, want -0.19", y)
	}
	if y, _ := delay.At(10); math.Abs(y-95) > 0.5 {
		t.Errorf("10 arcminutes: %g µs, want 95", y)
	}
	if y, s := ratio.At(0.8); math.Abs(y-6.0206) > 1e-4 || math.Abs(s-8.6859/0.8) > 1e-3 {
		t.Errorf("twice the reference is %g dB, slope %g", y, s)
	}
	if y, s := loss.At(90); y != -40 && (y > 0 || math.IsNaN(s)) {
		t.Errorf("far out: %g, %g", y, s)
	}
}

// one is a bench of one trim of a law.
func one(t *testing.T, x trim.Trim, v trim.Variable) *trim.Bench {
	t.Helper()
	m, err := trim.NewModel([]trim.Trim{x}, []trim.Variable{v})
	if err != nil {
		t.Fatal(err)
	}
	return trim.NewBench(m)
}

// TestLaws follows the advice on trims whose law is not even: a divider whose place in
// the travel is not known, a logarithmic bias trim, one that lowers when turned clockwise.
func TestLaws(t *testing.T) {
	bias := trim.Quantity{Measure: "bias", Track: 1}
	divider := func(sign float64) func(p float64) float64 {
		return func(p float64) float64 {
			s := p / 270
			if sign < 0 {
				s = 1 - s
			}
			least := math.Pow(10, -14.0/20)
			return 20 * math.Log10(least+(1-least)*s)
		}
	}
	for _, c := range []struct {
		name string
		trim trim.Trim
		v    trim.Variable
		law  func(p float64) float64 // quantity at a position
		from float64
		to   trim.Target
	}{
		{"divider", trim.Trim{ID: "A", Sets: level(1), Sign: 1, Law: trim.Divider, Travel: 270, Unit: trim.Degrees, Range: 14, FamilySpread: 0.2, OwnSpread: 0.1, Backlash: 0.03},
			trim.Variable{Quantity: level(1), Unit: "dB", BaseSD: 30}, divider(1), 40, trim.Target{Quantity: level(1), Value: -4, Tolerance: 0.5}},
		{"divider, clockwise lowers", trim.Trim{ID: "A", Sets: level(1), Sign: -1, Law: trim.Divider, Travel: 270, Unit: trim.Degrees, Range: 14, FamilySpread: 0.2, OwnSpread: 0.1, Backlash: 0.03},
			trim.Variable{Quantity: level(1), Unit: "dB", BaseSD: 30}, divider(-1), 220, trim.Target{Quantity: level(1), Value: -4, Tolerance: 0.5}},
		{"logarithmic", trim.Trim{ID: "A", Sets: bias, Sign: 1, Law: trim.Logarithmic, Travel: 270, Unit: trim.Degrees, Range: math.Log(7.0 / 2), FamilySpread: 0.2, OwnSpread: 0.1, Backlash: 0.03},
			trim.Variable{Quantity: bias, Unit: "mA", Base: 4.5, BaseSD: 2}, func(p float64) float64 { return 2.2 * math.Exp(1.1*math.Log(3.5)*p/270) }, 60, trim.Target{Quantity: bias, Value: 5, Tolerance: 0.1}},
		{"turns the other way than told is not known", trim.Trim{ID: "A", Sets: level(1), Sign: 0, Law: trim.MultiTurn, Travel: 12, Unit: trim.Turns, Range: 12, FamilySpread: 0.2, OwnSpread: 0.1, Backlash: 0.03},
			trim.Variable{Quantity: level(1), Unit: "dB", BaseSD: 30}, func(p float64) float64 { return -1.2 * p }, 6, trim.Target{Quantity: level(1), Value: -10, Tolerance: 0.3}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := one(t, c.trim, c.v)
			rng := rand.New(rand.NewPCG(3, 3))
			p, sd := c.from, c.to.Tolerance/10
			read := func() {
				if d := mustRead(t, b, []trim.Reading{{Quantity: c.to.Quantity, Value: c.law(p) + sd*rng.NormFloat64(), SD: sd}}); len(d) > 0 {
					t.Errorf("doubted: %s", d[0].Sentence)
				}
			}
			read()
			moves := 0
			for ; moves < 8; moves++ {
				next, err := b.Next([]trim.Target{c.to})
				if err != nil {
					t.Fatal(err)
				}
				if next[0].Do != trim.DoTurn {
					break
				}
				t.Log(next[0].Sentence)
				p += next[0].By
				mustTurn(t, b, "A", next[0].By)
				read()
			}
			if got := c.law(p); math.Abs(got-c.to.Value) > c.to.Tolerance || moves > 4 {
				t.Errorf("after %d moves %g, want %g ±%g", moves, got, c.to.Value, c.to.Tolerance)
			}
		})
	}
}

// TestSiblings: what track 1 taught narrows track 2, and both come near the truth.
func TestSiblings(t *testing.T) {
	bk := newBank(rand.New(rand.NewPCG(1, 1)), 2, 0, 0)
	for i := range bk.s {
		bk.s[i] *= 1.4
	}
	b := trim.NewBench(bk.model)
	before, _ := b.Sensitivity(preset(2))
	mustRead(t, b, bk.read(1, 2))
	bk.turn(1, 80)
	mustTurn(t, b, preset(1), 80)
	mustRead(t, b, bk.read(1))
	own, _ := b.Sensitivity(preset(1))
	after, _ := b.Sensitivity(preset(2))
	truth := bk.s[1]
	t.Logf("before %v, own %v, sibling %v, truth %.4f", before, own, after, truth)
	width := func(f trim.Figure) float64 { return math.Log(f.Hi / f.Lo) }
	if !(width(own) < width(after) && width(after) < 0.6*width(before)) {
		t.Errorf("widths of logarithms: before %.2f, own %.2f, sibling %.2f", width(before), width(own), width(after))
	}
	if math.Abs(after.Value-truth) >= math.Abs(before.Value-truth)/2 || after.Lo > truth || after.Hi < truth {
		t.Errorf("the sibling is believed to do %v, truth %.4f", after, truth)
	}
	// The sum of the spreads of one's own: 10 % and 10 % about a common one.
	if w := width(after) / (2 * 1.96); w < 0.10 || w > 0.16 {
		t.Errorf("the sibling's own spread is left at %.2f", w)
	}
}

// TestEndOfTravel: what lies beyond the stop is said to be a fault.
func TestEndOfTravel(t *testing.T) {
	bk := newBank(rand.New(rand.NewPCG(1, 1)), 1, 0, 0)
	bk.y[0] = -16
	b := trim.NewBench(bk.model)
	mustRead(t, b, bk.read(1))
	next, err := b.Next(targets(1, 0.5))
	if err != nil {
		t.Fatal(err)
	}
	if next[0].Do != trim.DoFault || !strings.Contains(next[0].Sentence, "fault, not a trim") || next[0].By > 270 {
		t.Errorf("16 dB at 12 dB of range: %+v", next[0])
	}

	// In reach by its range, but the stop was felt.
	bk.y[0] = -5
	b = trim.NewBench(bk.model)
	mustRead(t, b, bk.read(1))
	if next, _ = b.Next(targets(1, 0.5)); next[0].Do != trim.DoTurn {
		t.Fatalf("5 dB of 12: %+v", next[0])
	}
	bk.turn(1, 40)
	if err := b.Turn(trim.Move{Trim: preset(1), By: 40, Stopped: true}); err != nil {
		t.Fatal(err)
	}
	mustRead(t, b, bk.read(1))
	if p, _ := b.Position(preset(1)); math.Abs(p.Value-270) > 1e-9 {
		t.Errorf("at its stop it stands at %v", p)
	}
	if next, _ = b.Next(targets(1, 0.5)); next[0].Do != trim.DoFault || next[0].By != 0 {
		t.Errorf("at its stop: %+v", next[0])
	}

	// As photographed before: half past four is its clockwise stop.
	x := bk.model.Trims()
	x[0].Start, x[0].StartSD = 260, 5
	m, err := trim.NewModel(x, []trim.Variable{{Quantity: level(1), Unit: "dB", BaseSD: 30}})
	if err != nil {
		t.Fatal(err)
	}
	b = trim.NewBench(m)
	mustRead(t, b, bk.read(1))
	if next, _ = b.Next(targets(1, 0.5)); next[0].Do != trim.DoFault {
		t.Errorf("10° before its stop: %+v", next[0])
	}
}

func TestModelRefuses(t *testing.T) {
	r, _ := trim.ParseRange("±6 dB")
	v := trim.Variable{Quantity: level(1), Unit: "dB", BaseSD: 30}
	ok := trim.New("A", "F", level(1), 1, r)
	same := func(from trim.Quantity) []trim.Influence {
		return []trim.Influence{{From: from, Gain: 1, Form: trim.Same{}}}
	}
	bad := func(f func(*trim.Trim)) trim.Trim { x := ok; f(&x); return x }
	for _, c := range []struct {
		name  string
		trims []trim.Trim
		vars  []trim.Variable
		want  string
	}{
		{"twice", []trim.Trim{ok, ok}, []trim.Variable{v}, "given twice"},
		{"sets nothing", []trim.Trim{ok}, nil, "no quantity of the model"},
		{"circle", nil, []trim.Variable{{Quantity: level(1), Moved: same(level(2))}, {Quantity: level(2), Moved: same(level(1))}}, "circle"},
		{"from nowhere", nil, []trim.Variable{{Quantity: level(1), Moved: same(level(2))}}, "no quantity"},
		{"quantity twice", nil, []trim.Variable{v, v}, "given twice"},
		{"signs", []trim.Trim{ok, bad(func(x *trim.Trim) { x.ID, x.Sign = "B", -1 })}, []trim.Variable{v}, "unequal signs"},
		{"dip", []trim.Trim{bad(func(x *trim.Trim) { x.Law = trim.Dip })}, []trim.Variable{v}, "Extremum"},
		{"travel", []trim.Trim{bad(func(x *trim.Trim) { x.Travel = 0 })}, []trim.Variable{v}, "travel"},
	} {
		if _, err := trim.NewModel(c.trims, c.vars); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	b := one(t, ok, v)
	if _, err := b.Read(trim.Reading{Quantity: level(1), Value: 1}); err == nil {
		t.Error("a reading without spread is taken")
	}
	if _, err := b.Read(trim.Reading{Quantity: level(7), Value: 1, SD: 1}); err == nil {
		t.Error("a reading of nothing is taken")
	}
	if err := b.Turn(trim.Move{Trim: "Z", By: 1}); err == nil {
		t.Error("a turn of nothing is taken")
	}
	if _, err := b.Next([]trim.Target{{Quantity: level(1)}}); err == nil {
		t.Error("a target without tolerance is taken")
	}
	if next, err := b.Next([]trim.Target{{Quantity: level(1), Tolerance: 0.5}}); err != nil || next[0].Do != trim.DoRead {
		t.Errorf("nothing read: %+v, %v", next, err)
	}
}
