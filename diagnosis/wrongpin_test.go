package diagnosis

import (
	"math"
	"slices"
	"strings"
	"testing"

	"headstack/machine"
)

// TestPinWays: what the other pins of a connector show, from the definition's pin lists.
// W2 of the recorder is +11.5, 0, −11.5, +5, 0D, MUTE on both sides; W5 is mirrored.
func TestPinWays(t *testing.T) {
	def := *hexastrand(t)
	def.TestPoints = append(slices.Clone(def.TestPoints), machine.TestPoint{ID: "TP99", Name: "line at the ribbon", Part: "TP99-{track}", Each: "track",
		Function: "play", After: "U5", ToneHz: 315, Expect: machine.Quantity{Value: 100, Unit: "mV", SpreadDB: 0.5}, Board: "Strip", Connector: "W5", Pin: "PB{track}"})
	e, err := New(&def, Options{})
	if err != nil {
		t.Fatal(err)
	}
	ways := func(id, key string) []wrongWay {
		tp := &def.TestPoints[slices.IndexFunc(def.TestPoints, func(x machine.TestPoint) bool { return x.ID == id })]
		return e.pinWays(tp, key, def.Expected(tp, key))
	}
	has := func(list []wrongWay, state int, s shows, db float64, opposite bool) bool {
		return slices.ContainsFunc(list, func(w wrongWay) bool {
			return w.state == state && w.shows == s && w.opposite == opposite && math.Abs(w.db-db) < 0.01
		})
	}
	sum := func(list []wrongWay) (p float64) {
		for _, w := range list {
			p += w.p
		}
		return p
	}
	minus := ways("TP2", "")
	if !has(minus, readPin, floor, 0, false) {
		t.Errorf("beside −11.5 lies 0: %+v", minus)
	}
	if !has(minus, readPin, fixed, 20*math.Log10(5/11.5), true) {
		t.Errorf("beside −11.5 lies +5, which shows the other sign: %+v", minus)
	}
	if !has(minus, readSide, fixed, 20*math.Log10(5/11.5), true) {
		t.Errorf("counted from the other end −11.5 is +5: %+v", minus)
	}
	// On Strip W5 runs +11.5 sense, bus Birch, bus Ash, PB6 ... PB1, shield.
	first := ways("TP99", "1")
	if !has(first, readPin, sound, 0, false) || !has(first, readPin, floor, 0, false) {
		t.Errorf("PB1 lies between PB2, a sibling, and the shield: %+v", first)
	}
	last := ways("TP99", "6")
	if !has(last, readSide, sound, 0, false) {
		t.Errorf("PB6 counted from the other end is PB3, a sibling: %+v", last)
	}
	for name, list := range map[string][]wrongWay{"TP2": minus, "TP99-1": first, "TP99-6": last, "BUS": ways("BUS", "2")} {
		if p := sum(list); math.Abs(p-wrongPin) > 1e-12 {
			t.Errorf("%s: wrong pins sum to %g, want %g", name, p, wrongPin)
		}
	}
	if mirrored := sumIf(last, readSide); mirrored < 3*sumIf(minus, readSide) {
		t.Errorf("the mirrored side is probed by mistake with %.4f on a mirrored connector, %.4f on a straight one", mirrored, sumIf(minus, readSide))
	}
}

func sumIf(list []wrongWay, state int) (p float64) {
	for _, w := range list {
		if w.state == state {
			p += w.p
		}
	}
	return p
}

// TestPriorsSum: whatever the point and instrument, right keeps more than three
// quarters and every state a probability of 0 or more.
func TestPriorsSum(t *testing.T) {
	for _, name := range machine.BuiltinNames() {
		def, _ := machine.Builtin(name)
		e, err := New(def, Options{})
		if err != nil {
			t.Fatal(err)
		}
		for i := range def.TestPoints {
			tp := &def.TestPoints[i]
			for _, key := range def.ReplicaKeys(tp.Each) {
				for _, in := range append(meters, Instrument{}) {
					p := readingModel{ways: e.readingWays(tp, key, in)}.prior()
					if p[readRight] < 0.8 || slices.Min(p[:]) < 0 || math.Abs(sumOf(p[:])-1) > 1e-12 {
						t.Errorf("%s %s-%s with %q: %v", name, tp.ID, key, in.ID, p)
					}
				}
			}
		}
	}
}

// TestHowItWentWrong: a doubt says what contradicts the reading, how it probably went
// wrong, and how to take it again.
func TestHowItWentWrong(t *testing.T) {
	def := hexastrand(t)
	for _, x := range []struct {
		name, point, key string
		volts            float64
		kind             WrongKind
		words            []string
	}{
		{"+5 V on the −11.5 V pin", "TP2", "", 5.0, WrongPin, []string{"next pin of W2", "The Hearth side of W2 is meant, not the Tape side", "+11.5 V rail, 11.5 V"}},
		{"leads exchanged", "TP2", "", 11.5, WrongLeads, []string{"wrong sign", "Leads exchanged?"}},
		{"0 V on the −11.5 V pin", "TP2", "", -0.004, WrongPin, []string{"next pin of W2"}},
		{"0 V with the other sign", "TP2", "", 0.004, WrongPin, []string{"next pin of W2"}},
		{"mV for V", "TP21", "b", 1100, WrongRangeHigh, []string{"Check 4 (record-play on track 2: works) passes the same stages", "Unit slip", "unit and range"}},
		{"V for mV", "TP21", "b", 0.0011, WrongRangeLow, []string{"Unit slip"}},
		{"decimal point", "TP21", "b", 11, WrongPoint, []string{"ten times", "Decimal point"}},
		{"nothing at all", "TP21", "b", 0.003, WrongLead, []string{"reads like a dead point", "check the tip on a known voltage"}},
	} {
		b := ashWeak()
		for _, f := range []string{"TP1", "TP3"} { // the other rails are there
			b.read(f, "", map[string]float64{"TP1": 11.5, "TP3": 5}[f], 0)
		}
		ref := b.read(x.point, x.key, x.volts, 0)
		e, err := New(def, Options{Open: []string{"lid"}})
		if err != nil {
			t.Fatal(err)
		}
		p, post := posteriorOf(t, e, b.ev)
		o := slices.IndexFunc(p.notes, func(n note) bool { return n.ref == ref })
		if r := p.recheck(post, o); r.kind != x.kind {
			t.Errorf("%s: %q, want %q (states %.3g)", x.name, r.kind, x.kind, post.wrong[o])
		}
		text := ""
		for _, d := range p.doubts(post) {
			if d.Ref == ref {
				text = d.Text
				if d.Kind != x.kind || !strings.Contains(text, d.How) || d.How == "" || d.Why == "" {
					t.Errorf("%s: doubt %+v", x.name, d)
				}
			}
		}
		for _, w := range x.words {
			if !strings.Contains(text, w) {
				t.Errorf("%s: %q does not say %q", x.name, text, w)
			}
		}
	}
}

// TestDeadReadingAlone: a reading of nothing is never proof of a dead stage by itself.
func TestDeadReadingAlone(t *testing.T) {
	def := hexastrand(t)
	b := &bench{}
	b.read("TP11", "3", 0.0003, 0)
	v := diagnose(t, def, b.ev)
	if v.WrongFix < 0.3 || len(v.Doubts) != 1 {
		t.Errorf("one reading of nothing: chance of a wrong fix %.3f, doubts %+v", v.WrongFix, v.Doubts)
	}
}
