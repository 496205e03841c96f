package sim_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"headstack/machine"
	"headstack/measure"
	"headstack/sim"
)

func do(t testing.TB, b *sim.Bench, w sim.Work) sim.Worked {
	t.Helper()
	out, err := b.Do(w)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func octogrange(t testing.TB) *machine.Definition {
	t.Helper()
	def, ok := machine.Builtin("octogrange")
	if !ok {
		t.Fatal("no definition octogrange")
	}
	return def
}

// share counts in how many of n seeds something holds, and fails when that is more than
// four standard deviations from what is told.
func share(t *testing.T, name string, n int, want float64, holds func(seed uint64) bool) {
	t.Helper()
	k := 0
	for seed := range n {
		if holds(uint64(seed)) {
			k++
		}
	}
	got := float64(k) / float64(n)
	if sd := math.Sqrt(want * (1 - want) / float64(n)); math.Abs(got-want) > 4*sd+1e-9 {
		t.Errorf("%s: %.3f of %d, want %.3f ±%.3f", name, got, n, want, 4*sd)
	}
}

// Works cure as often as they are said to.
func TestWorksCure(t *testing.T) {
	def := hexastrand(t)
	bench := func(seed uint64, f sim.Fault) *sim.Bench {
		b, err := sim.NewBench(def, seed, f)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	dead := sim.Fault{Stage: "RY1", Key: "2", Mode: machine.Dead, Dead: true}
	fickle := sim.Fault{Stage: "RY1", Key: "2", Mode: machine.Intermittent, LevelDB: -40, Presence: 0.5}
	dirt := sim.Fault{Stage: "H", Key: "2", Mode: machine.Weak, Mechanical: true, TrebleDB: -8}
	own := dead
	own.CuredBy = map[string]float64{"reseat": 0.3}
	for _, c := range []struct {
		name string
		f    sim.Fault
		kind string
		want float64
	}{
		{"repair", dead, sim.Repair, 0.98}, {"cleaning dirt", dirt, sim.Clean, 0.85}, {"cleaning a dead part", dead, sim.Clean, 0},
		{"reseating what is intermittent", fickle, sim.Reseat, 0.5}, {"reflow of what is dead", dead, sim.Reflow, 0.2}, {"the definition's own", own, sim.Reseat, 0.3},
	} {
		share(t, c.name, 1000, c.want, func(seed uint64) bool {
			b := bench(seed, c.f)
			did := do(t, b, sim.Work{Kind: c.kind, Stage: c.f.Stage, Key: c.f.Key})
			if len(did.Cured)+len(b.Faults) != 1 {
				t.Fatalf("%s: %d cured, %d left", c.name, len(did.Cured), len(b.Faults))
			}
			return len(b.Faults) == 0
		})
	}
	share(t, "a second cleaning after one that failed", 2000, 0.15*0.15, func(seed uint64) bool {
		b := bench(seed, dirt)
		do(t, b, sim.Work{Kind: sim.Clean, Stage: "H", Key: "2"})
		do(t, b, sim.Work{Kind: sim.Clean, Stage: "H", Key: "2"})
		return len(b.Faults) == 1
	})
	b := bench(1, dead)
	if do(t, b, sim.Work{Kind: sim.Repair, Stage: "RY1", Key: "3"}); len(b.Faults) != 1 {
		t.Error("the repair of a sibling took the fault away")
	}
	for _, w := range []sim.Work{{Kind: sim.Repair, Stage: "XX"}, {Kind: sim.Repair, Stage: "RY1", Key: "9"}, {Kind: sim.Swap, Stage: "RY1", Key: "1", With: "1"}, {Kind: "pray", Stage: "RY1", Key: "1"}} {
		if _, err := b.Do(w); !errors.Is(err, sim.ErrBench) {
			t.Errorf("%+v: %v, want ErrBench", w, err)
		}
	}
}

// A swap carries the fault over, of a card everything that is on it; back is as before.
func TestSwap(t *testing.T) {
	def := octogrange(t)
	b, err := sim.NewBench(def, 1,
		sim.Fault{Stage: "K1", Key: "3", Mode: machine.Weak, LevelDB: -9},
		sim.Fault{Stage: "P", Key: "5", Mode: machine.Weak, LevelDB: -9})
	if err != nil {
		t.Fatal(err)
	}
	weak := func() (out []string) {
		for k := 1; k <= 8; k++ {
			c, err := b.Check("play", fmt.Sprint(k), 0)
			if err != nil {
				t.Fatal(err)
			}
			if c.Symptom == "weak" {
				out = append(out, c.Key)
			}
		}
		return out
	}
	before := weak()
	// C22 is on the card, so K1 goes with it; the head does not.
	do(t, b, sim.Work{Kind: sim.Swap, Stage: "C22", Key: "3", With: "6"})
	after := weak()
	do(t, b, sim.Work{Kind: sim.Swap, Stage: "C22", Key: "3", With: "6"})
	if back := weak(); !slices.Equal(before, []string{"3", "5"}) || !slices.Equal(after, []string{"5", "6"}) || !slices.Equal(back, before) {
		t.Errorf("weak: %v, exchanged %v, back %v", before, after, back)
	}
	share(t, "false cure by an exchange", 1000, 0.15, func(seed uint64) bool {
		b, _ := sim.NewBench(def, seed, sim.Fault{Stage: "K1", Key: "3", Mode: machine.Intermittent, Presence: 0.5, LevelDB: -40})
		do(t, b, sim.Work{Kind: sim.Swap, Stage: "K1", Key: "3", With: "4"})
		asleep := b.Faults[0].Asleep
		for look := range 20 {
			if c, _ := b.Check("play", "4", look); asleep && c.Outcome != sim.Works {
				t.Fatal("a fault that sleeps shows")
			}
		}
		return asleep
	})
}

// Faults show as often as their mode says under each condition.
func TestConditions(t *testing.T) {
	fickle := sim.Fault{Stage: "RY1", Key: "4", Mode: machine.Intermittent, LevelDB: -40, Presence: 0.2}
	lid := fickle
	lid.Shows = map[string]float64{"closed": 0.9, "propped": 0}
	for _, c := range []struct {
		name string
		f    sim.Fault
		how  sim.Condition
		want float64
	}{
		{"untouched", fickle, sim.Condition{}, 0.2},
		{"pressed", fickle, sim.Condition{Provoked: "pressed"}, 0.6},
		{"warm", fickle, sim.Condition{Provoked: "warm"}, 0.2},
		{"case closed", lid, sim.Condition{Case: measure.CaseClosed}, 0.9},
		{"case propped", lid, sim.Condition{Case: measure.CasePropped}, 0},
		{"pressed goes before the case", lid, sim.Condition{Case: measure.CasePropped, Provoked: "pressed"}, 0.6},
	} {
		b := exact(t, c.f)
		share(t, c.name+", by ear", 1000, c.want, func(look uint64) bool {
			x, err := b.CheckUnder("play", "4", int(look), c.how)
			if err != nil {
				t.Fatal(err)
			}
			return x.Outcome == sim.Faulty
		})
		share(t, c.name+", by meter", 1000, c.want, func(look uint64) bool {
			r := read(t, b, sim.Probe{TestPoint: "TP10", Key: "4", Setting: fmt.Sprint(look), Condition: c.how})
			return r.Value < 0.01
		})
	}
}

// A dull verdict names another track as often as told, and then that track is said to be
// dull; other verdicts are another track's as often as told; an intermittent fault is met
// there and gone as often as told.
func TestWrongVerdicts(t *testing.T) {
	dull := sim.Fault{Stage: "H", Key: "3", Mode: machine.Weak, TrebleDB: -12}
	b := exact(t, dull)
	b.DullElsewhere = 0.25
	for look := range 400 {
		var said []string
		for _, k := range []string{"1", "2", "3", "4", "5", "6"} {
			if c, _ := b.Check("play", k, look); c.Symptom == "dull" {
				said = append(said, k)
				if (c.Heard == k) != (k == "3") {
					t.Fatalf("look %d: %s said to be dull, heard %s", look, k, c.Heard)
				}
			}
		}
		if len(said) != 1 {
			t.Fatalf("look %d: dull are %v, want one", look, said)
		}
	}
	share(t, "dull on the wrong track", 1000, 0.25, func(look uint64) bool {
		c, _ := b.Check("play", "3", int(look))
		return c.Outcome == sim.Works
	})
	b = exact(t, sim.Fault{Stage: "U3", Key: "3", Mode: machine.Dead, Dead: true})
	b.WrongTrack = 0.1
	share(t, "wrong track heard", 1000, 0.1, func(look uint64) bool {
		c, _ := b.Check("play", "3", int(look))
		return c.Outcome == sim.Works
	})
	share(t, "a function of its own", 1000, 0.1, func(look uint64) bool {
		b := exact(t, sim.Fault{Stage: "SR", Mode: machine.Dead, Dead: true})
		b.WrongTrack, b.Seed = 0.1, look
		c, _ := b.Check("run", "", 0)
		return c.Outcome == sim.Works
	})
	b = exact(t, sim.Fault{Stage: "U3", Key: "3", Mode: machine.Intermittent, LevelDB: -40, Presence: 0.5})
	b.SeesBoth = 0.4
	share(t, "both there and gone", 1000, 0.4, func(look uint64) bool {
		c, _ := b.Check("play", "3", int(look))
		return c.Outcome == sim.Intermittent && c.Symptom == "dead"
	})
}

// Each slip gives what the recorder, the connector's pin list or the meter says.
func TestMoreSlips(t *testing.T) {
	b := exact(t)
	for _, c := range []struct {
		point, key string
		slip       sim.Slip
		want       float64 // V
	}{
		{"TP10", "3", sim.RangeSlip, 38e-6},
		{"TP22", "1", sim.Narrow, 22 / math.Hypot(1, 92.0/20)},    // 4.7 V, as the definition notes
		{"TP1", "", sim.ShieldPin, 11.5 * math.Pow(10, -50.0/20)}, // the 0 pin: what leaks over
		{"BUS", "2", sim.NextPin, 0.316 * math.Pow(10, -50.0/20)},
	} {
		r := read(t, b, sim.Probe{TestPoint: c.point, Key: c.key, Slip: c.slip})
		if ratio := r.Value / c.want; ratio < 0.99 || ratio > 1.01 {
			t.Errorf("%s-%s %s: %v V, want %v", c.point, c.key, c.slip, r.Value, c.want)
		}
	}
	// W2 carries +11.5, 0, -11.5, +5, 0D, MUTE: beside -11.5 are 0 and +5, beside +11.5
	// only 0.
	beside := map[int]bool{}
	for i := range 40 {
		r := read(t, b, sim.Probe{TestPoint: "TP2", Slip: sim.NextPin, Setting: fmt.Sprint(i)})
		beside[int(math.Round(r.Value))] = true
		if r := read(t, b, sim.Probe{TestPoint: "TP1", Slip: sim.NextPin, Setting: fmt.Sprint(i)}); math.Abs(r.Value) > 0.05 {
			t.Errorf("beside +11.5 V is %v V", r.Value)
		}
	}
	if len(beside) != 2 || !beside[0] || !beside[5] {
		t.Errorf("beside -11.5 V are %v", beside)
	}
	b.Faults = []sim.Fault{{Stage: "U3", Key: "2", Mode: machine.Weak, LevelDB: -20}}
	seen := map[bool]bool{}
	for i := range 60 {
		r := read(t, b, sim.Probe{TestPoint: "TP10", Key: "5", Slip: sim.WrongTrack, Setting: fmt.Sprint(i)})
		seen[r.Value < 0.01] = true
		typed := read(t, b, sim.Probe{TestPoint: "TP10", Key: "5", Slip: sim.Digit, Setting: fmt.Sprint(i)})
		if x := typed.Value / typed.Right; typed.Value == typed.Right || x < 0.2 || x > 2.7 {
			t.Errorf("0.0380 V with a digit mistyped: %v", typed.Value)
		}
		point := read(t, b, sim.Probe{TestPoint: "TP10", Key: "5", Slip: sim.Point, Setting: fmt.Sprint(i)})
		if x := math.Abs(math.Log10(point.Value / point.Right)); math.Abs(x-1) > 1e-3 {
			t.Errorf("0.0380 V with the point mistyped: %v", point.Value)
		}
	}
	if !seen[true] || !seen[false] {
		t.Error("another track's value is always the same one's")
	}
}

// On a mirrored connector the other side's counting gives another pin's value.
func TestOtherSide(t *testing.T) {
	data, _ := machine.BuiltinSource("hexastrand")
	def, err := machine.Load("hexastrand", data)
	if err != nil {
		t.Fatal(err)
	}
	// Tap the play lines where they cross on W5: PB3 is pin 4 on Tape, and pin 4 on the
	// mirrored side of Strip carries PB6.
	tp, _ := def.TestPoint("TP12")
	tp.Connector, tp.Pin, tp.Board = "W5", "PB{track}", "Tape"
	b, err := sim.NewBench(def, 1, sim.Fault{Stage: "U3", Key: "6", Mode: machine.Weak, LevelDB: -20})
	if err != nil {
		t.Fatal(err)
	}
	b.Spread, b.InstrumentDB, b.ReadingNoiseDB = 0, 0, 0
	r := read(t, b, sim.Probe{TestPoint: "TP12", Key: "3", Slip: sim.OtherSide})
	if got := dB(r.Value / r.Right); math.Abs(got+20) > 0.01 {
		t.Errorf("PB3 counted on the other side reads %+.2f dB re PB3, want PB6's -20", got)
	}
}
