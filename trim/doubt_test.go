package trim_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"headstack/trim"
)

// bench6 is a bank of six with all read once and one trim turned, so that the family is known.
func bench6(t *testing.T, seed uint64) (*bank, *trim.Bench) {
	t.Helper()
	bk := newBank(rand.New(rand.NewPCG(seed, 21)), 6, 0.23, 0.10)
	b := trim.NewBench(bk.model)
	mustRead(t, b, bk.read(1, 2, 3, 4, 5, 6))
	turnBoth(t, bk, b, 1, 60)
	mustRead(t, b, bk.read(1))
	return bk, b
}

func turnBoth(t *testing.T, bk *bank, b *trim.Bench, track int, by float64) {
	t.Helper()
	bk.turn(track, by)
	mustTurn(t, b, preset(track), by)
}

// TestSlips makes one slip on each of 100 banks and counts how often it is named; none
// is named where none was made.
func TestSlips(t *testing.T) {
	const runs = 100
	for _, c := range []struct {
		name string
		slip func(t *testing.T, bk *bank, b *trim.Bench) []trim.Doubt
		kind trim.DoubtKind // "": none
		most float64        // largest share that may go another way
	}{
		{"none", func(t *testing.T, bk *bank, b *trim.Bench) []trim.Doubt {
			turnBoth(t, bk, b, 3, 70)
			return mustRead(t, b, bk.read(1, 2, 3, 4, 5, 6))
		}, "", 0.02},
		{"nothing turned", func(t *testing.T, bk *bank, b *trim.Bench) []trim.Doubt {
			mustTurn(t, b, preset(3), 70)
			return mustRead(t, b, bk.read(1, 2, 3, 4, 5, 6))
		}, trim.NoEffect, 0.02},
		{"track 4's turned", func(t *testing.T, bk *bank, b *trim.Bench) []trim.Doubt {
			bk.turn(4, 70)
			mustTurn(t, b, preset(3), 70)
			return mustRead(t, b, bk.read(1, 2, 3, 4, 5, 6))
		}, trim.OtherTrim, 0.02},
		{"the other way", func(t *testing.T, bk *bank, b *trim.Bench) []trim.Doubt {
			bk.turn(3, -70)
			mustTurn(t, b, preset(3), 70)
			return mustRead(t, b, bk.read(1, 2, 3, 4, 5, 6))
		}, trim.WrongWay, 0.02},
		{"another track soloed", func(t *testing.T, bk *bank, b *trim.Bench) []trim.Doubt {
			r := bk.read(3)
			r[0].Value -= 45
			return mustRead(t, b, r)
		}, trim.Outlier, 0.02},
	} {
		t.Run(c.name, func(t *testing.T) {
			wrong := 0
			for seed := range uint64(runs) {
				bk, b := bench6(t, seed)
				d := c.slip(t, bk, b)
				if c.kind == "" {
					if len(d) > 0 {
						wrong++
						t.Log(d[0].Sentence)
					}
					continue
				}
				if len(d) == 0 || d[0].Kind != c.kind {
					wrong++
					continue
				}
				if seed == 0 {
					t.Log(d[0].Sentence)
				}
				if d[0].Kind == trim.OtherTrim && d[0].Other != preset(4) {
					t.Errorf("it was VR1-4, not %s", d[0].Other)
				}
				if d[0].Kind == trim.Outlier {
					continue
				}
				// The state is right all the same.
				for i := 3; i <= 4; i++ {
					f, _ := b.State(level(i))
					if math.Abs(f.Value-bk.y[i-1]) > 0.4 {
						t.Errorf("seed %d: track %d is at %.2f, believed at %v", seed, i, bk.y[i-1], f)
					}
				}
			}
			t.Logf("%d of %d go another way", wrong, runs)
			if float64(wrong) > c.most*runs {
				t.Errorf("%d of %d", wrong, runs)
			}
		})
	}
}

// TestSiblingIsNotBlamedUnread: another track's reading that is off says nothing against a
// move while the turned trim's own figure was not read.
func TestSiblingIsNotBlamedUnread(t *testing.T) {
	for seed := range uint64(20) {
		bk, b := bench6(t, seed)
		turnBoth(t, bk, b, 3, 70)
		r := bk.read(4)
		r[0].Value += 3 // read wrong, or a fault that comes and goes
		for _, d := range mustRead(t, b, r) {
			if d.Kind == trim.OtherTrim || d.Kind == trim.NoEffect {
				t.Errorf("seed %d: %s", seed, d.Sentence)
			}
		}
	}
}

// TestDeadTrim: a trim that twice does nothing is reported as such and not turned again.
func TestDeadTrim(t *testing.T) {
	bk, b := bench6(t, 1)
	bk.s[4] = 0
	bk.y[4] = 4
	mustRead(t, b, bk.read(5)) // as it came in: an outlier, confirmed
	mustRead(t, b, bk.read(5))
	for n := range 2 {
		next, err := b.Next([]trim.Target{{Quantity: level(5), Tolerance: 0.5}})
		if err != nil {
			t.Fatal(err)
		}
		if next[0].Do != trim.DoTurn {
			t.Fatalf("turn %d: %+v", n, next[0])
		}
		if n == 1 && !strings.Contains(next[0].Sentence, "make sure") {
			t.Errorf("after one turn that did nothing: %s", next[0].Sentence)
		}
		turnBoth(t, bk, b, 5, next[0].By)
		d := mustRead(t, b, bk.read(5))
		if len(d) != 1 || d[0].Kind != trim.NoEffect || d[0].Trim != preset(5) {
			t.Fatalf("turn %d: doubts %+v", n, d)
		}
		if n == 1 && !strings.Contains(d[0].Sentence, "does nothing") {
			t.Errorf("second time: %s", d[0].Sentence)
		}
	}
	next, err := b.Next([]trim.Target{{Quantity: level(5), Tolerance: 0.5}})
	if err != nil {
		t.Fatal(err)
	}
	if next[0].Do != trim.DoFault || !strings.Contains(next[0].Sentence, "does nothing") {
		t.Errorf("dead trim: %+v", next[0])
	}
	if s, _ := b.Sensitivity(preset(5)); s.Value < 0.02 {
		t.Errorf("what did nothing taught its siblings' sensitivity: %v", s)
	}
}

// TestDeadScrew: so is one whose direction is not known.
func TestDeadScrew(t *testing.T) {
	r, err := trim.ParseRange("±40 arcminutes")
	if err != nil {
		t.Fatal(err)
	}
	q := trim.Quantity{Measure: "azimuth"}
	b := one(t, trim.New("AZ", "AZ", q, 0, r), trim.Variable{Quantity: q, Unit: "arcmin", BaseSD: 15})
	rng := rand.New(rand.NewPCG(1, 22))
	read := func() []trim.Doubt {
		return mustRead(t, b, []trim.Reading{{Quantity: q, Value: 8 + 0.1*rng.NormFloat64(), SD: 0.1}})
	}
	read()
	for n := range 2 {
		next, err := b.Next([]trim.Target{{Quantity: q, Tolerance: 0.5}})
		if err != nil || next[0].Do != trim.DoTurn {
			t.Fatalf("turn %d: %+v, %v", n, next, err)
		}
		mustTurn(t, b, "AZ", next[0].By)
		if d := read(); len(d) != 1 || d[0].Kind != trim.NoEffect {
			t.Fatalf("turn %d: %+v", n, d)
		}
	}
	if next, err := b.Next([]trim.Target{{Quantity: q, Tolerance: 0.5}}); err != nil || next[0].Do != trim.DoFault {
		t.Errorf("dead screw: %+v, %v", next, err)
	}
}

// TestOutlier: one wrong reading counts for nothing; read again as far off, it counts, and
// the level is known to have changed.
func TestOutlier(t *testing.T) {
	bk, b := bench6(t, 2)
	was, _ := b.State(level(2))
	r := bk.read(2)
	r[0].Value += 3
	d := mustRead(t, b, r)
	if len(d) != 1 || d[0].Kind != trim.Outlier || d[0].Chance > 1e-3 {
		t.Fatalf("3 dB off: %+v", d)
	}
	if now, _ := b.State(level(2)); math.Abs(now.Value-was.Value) > 1e-6 {
		t.Errorf("an outlier moved %v to %v", was, now)
	}
	next, err := b.Next(targets(6, 0.5))
	if err != nil {
		t.Fatal(err)
	}
	again := false
	for _, x := range next {
		again = again || x.Do == trim.DoRead && x.Target.Quantity == level(2)
	}
	if !again {
		t.Error("it is not asked for again")
	}
	bk.y[1] += 3
	d = mustRead(t, b, bk.read(2))
	if len(d) != 1 || d[0].Kind != trim.Confirmed {
		t.Fatalf("read again: %+v", d)
	}
	if now, _ := b.State(level(2)); math.Abs(now.Value-bk.y[1]) > 0.3 {
		t.Errorf("at %.2f, believed at %v", bk.y[1], now)
	}
	if s, _ := b.Sensitivity(preset(2)); s.Lo > bk.s[1] || s.Hi < bk.s[1] {
		t.Errorf("a change from elsewhere taught the trim: %v, truth %.4f", s, bk.s[1])
	}
}

// TestUnlike: a trim of another kind than its siblings is told, and its reading counts.
func TestUnlike(t *testing.T) {
	bk, b := bench6(t, 3)
	bk.s[3] *= 2
	before, _ := b.Sensitivity(preset(2))
	turnBoth(t, bk, b, 4, 60)
	d := mustRead(t, b, bk.read(4))
	if len(d) != 1 || d[0].Kind != trim.Unlike {
		t.Fatalf("twice the sensitivity: %+v", d)
	}
	t.Log(d[0].Sentence)
	if s, _ := b.Sensitivity(preset(4)); s.Lo > bk.s[3] || s.Hi < bk.s[3] {
		t.Errorf("believed to do %v, truth %.4f", s, bk.s[3])
	}
	if s, _ := b.Sensitivity(preset(2)); math.Abs(math.Log(s.Value/before.Value)) > 0.05 {
		t.Errorf("it taught its sibling all the same: %v, before %v", s, before)
	}
}
