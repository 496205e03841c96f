package diagnosis

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"headstack/machine"
	"headstack/measure"
)

// bench collects evidence the way a person does.
type bench struct {
	ev Evidence
	n  int
}

func (b *bench) ref(kind string) string { b.n++; return fmt.Sprintf("%s %d", kind, b.n) }

func (b *bench) check(function, key string, o Outcome, s Symptom) string {
	c := Check{Ref: b.ref("check"), Function: function, Key: key, Outcome: o, Symptom: s}
	b.ev.Checks = append(b.ev.Checks, c)
	return c.Ref
}

// read enters a reading in V with a fresh probe setting; hz 0 is the point's
// own tone.
func (b *bench) read(point, key string, volts, hz float64) string {
	r := Reading{Ref: b.ref("reading"), TestPoint: point, Key: key, Value: volts, Unit: "V", ToneHz: hz,
		Instrument: "millivoltmeter", Session: "first", Setting: fmt.Sprint("setting ", b.n)}
	b.ev.Readings = append(b.ev.Readings, r)
	return r.Ref
}

// capture enters a play capture of six tracks: level and 10 kHz per track.
func (b *bench) capture(level, treble [6]float64) string {
	m := Measured{Ref: b.ref("capture"), Function: "play"}
	for t := range 6 {
		m.Results = append(m.Results,
			measure.Result{Name: "level", Track: t + 1, ToneHz: 315, Value: level[t], Lo: level[t] - 0.05, Hi: level[t] + 0.05, Unit: "dBFS"},
			measure.Result{Name: "response", Track: t + 1, ToneHz: 10000, Value: treble[t], Lo: treble[t] - 0.1, Hi: treble[t] + 0.1, Unit: "dB"},
			measure.Result{Name: "response", Track: t + 1, ToneHz: 6300, Refused: "tone absent"})
	}
	b.ev.Measures = append(b.ev.Measures, m)
	return m.Ref
}

func hexastrand(t testing.TB) *machine.Definition {
	t.Helper()
	def, ok := machine.Builtin("hexastrand")
	if !ok {
		t.Fatal("no built-in definition hexastrand")
	}
	return def
}

func diagnose(t testing.TB, def *machine.Definition, ev Evidence) *Verdict {
	t.Helper()
	e, err := New(def, Options{Open: []string{"lid"}})
	if err != nil {
		t.Fatal(err)
	}
	v, err := e.Diagnose(ev)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// stage finds a stage instance by its designator.
func stage(t testing.TB, v *Verdict, part string) StageState {
	t.Helper()
	for _, s := range v.Stages {
		if s.Part == part {
			return s
		}
	}
	t.Fatalf("no stage instance %s", part)
	return StageState{}
}

func says(v *Verdict, words string) bool {
	return strings.Contains(strings.Join(v.Sentences, "\n"), words)
}

// ashWeak is a recorder that records weak on the tracks of group Ash.
func ashWeak() *bench {
	b := &bench{}
	for t := 1; t <= 6; t++ {
		key := fmt.Sprint(t)
		b.check("play", key, Works, "")
		if t%2 == 1 {
			b.check("record-play", key, Faulty, SymptomWeak)
		} else {
			b.check("record-play", key, Works, "")
		}
	}
	return b
}

// TestGroupRecordsWeak: weak on tracks 1, 3, 5 is the shared group, not three
// tracks; two readings halve what is left.
func TestGroupRecordsWeak(t *testing.T) {
	def := hexastrand(t)
	b := ashWeak()
	v := diagnose(t, def, b.ev)
	if !says(v, "Group Ash (tracks 1, 3, 5), record-play: weak.") {
		t.Errorf("sentences %q do not name the group", v.Sentences)
	}
	for _, s := range v.Stages {
		if s.Status == Suspect && s.Key != "a" {
			t.Errorf("%s is suspect with %.3f, but only group a explains three weak tracks", s.Part, s.P)
		}
	}
	if n := v.Next[0]; n.TestPoint != "TP20" || n.Key != "a" {
		t.Errorf("next is %q, want the point in the middle of the group's path, TP20-a", n.Text)
	}
	b.read("TP20", "a", 0.245, 0)
	b.read("TP21", "a", 0.310, 0)
	b.read("TP21", "b", 1.08, 0)
	v = diagnose(t, def, b.ev)
	if p := stage(t, v, "C31-a").P + stage(t, v, "U12-a").P; p < 0.85 {
		t.Errorf("C31-a and U12-a together %.3f; they lie between the right and the low point", p)
	}
	if !says(v, "TP20-a is right and TP21-a is 11 dB low.") {
		t.Errorf("sentences %q do not say between which points it lies", v.Sentences)
	}
	if x := stage(t, v, "U11-a"); x.P > 0.03 {
		t.Errorf("U11-a lies before the right point, but has %.3f", x.P)
	}
	if v.WrongFix < 0.1 || v.WrongFix > 0.6 {
		t.Errorf("chance of a wrong fix %.3f with two parts left", v.WrongFix)
	}
}

// TestDullTrack: treble low on one track may be the head or the play equaliser;
// treble low already at the preamplifier leaves the head.
func TestDullTrack(t *testing.T) {
	def := hexastrand(t)
	b := &bench{}
	for k := 1; k <= 6; k++ {
		b.check("play", fmt.Sprint(k), Works, "")
	}
	b.ev.Checks[3] = Check{Ref: b.ev.Checks[3].Ref, Function: "play", Key: "4", Outcome: Faulty, Symptom: SymptomDull}
	b.capture([6]float64{-18.1, -17.9, -18.2, -18.6, -18, -17.8}, [6]float64{0.3, -0.5, 0.2, -10.4, -0.1, 0.4})
	v := diagnose(t, def, b.ev)
	if !says(v, "Track 4, play: dull (10 kHz is 10 dB low on track 4).") || !says(v, "mechanical:") {
		t.Errorf("sentences %q", v.Sentences)
	}
	head, eq := stage(t, v, "H-4"), stage(t, v, "R21-4/C14-4")
	if head.Status != Suspect || eq.Status != Suspect || head.P < eq.P {
		t.Errorf("head %v %.3f, equaliser %v %.3f: both should be suspect, the head more", head.Status, head.P, eq.Status, eq.P)
	}
	b.read("TP10", "4", 0.0031, 10000)
	b.read("TP10", "3", 0.0098, 10000)
	v = diagnose(t, def, b.ev)
	if p := stage(t, v, "H-4").P; p < 0.9 {
		t.Errorf("treble 10 dB low at the preamplifier: head %.3f, want over 0.9", p)
	}
	if p := stage(t, v, "R21-4/C14-4").P; p > 0.05 {
		t.Errorf("the equaliser lies behind that point, but keeps %.3f", p)
	}
	if f := v.Explanations[0].Faults; len(f) != 1 || f[0].Part != "H-4" {
		t.Errorf("leading explanation %v", f)
	}
}

// TestWrongReadings: a reading that no part explains is doubted before a part
// is blamed.
func TestWrongReadings(t *testing.T) {
	def := hexastrand(t)
	for _, x := range []struct {
		name, point, key string
		volts            float64
		words            string
	}{
		{"a thousand times too large", "TP21", "b", 1090, "Unit slip"},
		{"a thousandth", "TP21", "b", 0.00109, "Unit slip"},
		{"pin with a rail on it", "BUS", "2", 11.5, "Wrong pin"},
	} {
		t.Run(x.name, func(t *testing.T) {
			b := ashWeak()
			ref := b.read(x.point, x.key, x.volts, 0)
			v := diagnose(t, def, b.ev)
			if len(v.Doubts) == 0 || v.Doubts[0].Ref != ref || !strings.Contains(v.Doubts[0].Text, x.words) {
				t.Errorf("doubts %v, want %s with %q", v.Doubts, ref, x.words)
			}
			if !strings.Contains(v.Sentences[0], ref) {
				t.Errorf("the first sentence is %q, not the doubt", v.Sentences[0])
			}
			for _, s := range v.Stages {
				if s.Status == Suspect && s.Key != "a" {
					t.Errorf("%s was blamed with %.3f", s.Part, s.P)
				}
			}
		})
	}
}

// TestSoundMachine: everything works; much is proved, nothing suspect, and
// stages that nothing touched stay unknown at their prior.
func TestSoundMachine(t *testing.T) {
	def := hexastrand(t)
	b := &bench{}
	for k := 1; k <= 6; k++ {
		b.check("play", fmt.Sprint(k), Works, "")
		b.read("TP11", fmt.Sprint(k), 0.1+0.001*float64(k%3), 0)
	}
	v := diagnose(t, def, b.ev)
	if u := stage(t, v, "U3-2"); u.Status != Proved || len(u.ClearedBy) == 0 {
		t.Errorf("U3-2 is %s at %.4f with %d reasons", u.Status, u.P, len(u.ClearedBy))
	}
	if m := stage(t, v, "U51-2"); m.Status != Unknown || m.P != 0.020 {
		t.Errorf("the meter that nothing tried is %s at %v, want unknown at its prior 0.020", m.Status, m.P)
	}
	for _, s := range v.Stages {
		if s.Status == Suspect {
			t.Errorf("%s is suspect with %.3f on a sound machine", s.Part, s.P)
		}
	}
	if !says(v, "Nothing heard or measured so far points to a fault.") {
		t.Errorf("sentences %q", v.Sentences)
	}
}

// TestNothingKnown: an empty job proposes where to begin.
func TestNothingKnown(t *testing.T) {
	v := diagnose(t, hexastrand(t), Evidence{})
	if len(v.Next) == 0 || v.Next[0].Kind != "check" || v.Next[0].GainBits <= 0 {
		t.Errorf("next of an empty job: %+v", v.Next)
	}
	for _, s := range v.Stages {
		if s.Status != Unknown {
			t.Errorf("%s is %s with no evidence", s.Part, s.Status)
		}
	}
}

// TestOpeningCosts: the same reading costs the opening minutes while the lid is
// closed, and names opening, place, pin and cautions.
func TestOpeningCosts(t *testing.T) {
	def := hexastrand(t)
	b := ashWeak()
	find := func(open []string) Action {
		e, err := New(def, Options{Open: open})
		if err != nil {
			t.Fatal(err)
		}
		v, err := e.Diagnose(b.ev)
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range v.Next {
			if a.TestPoint == "TP20" && a.Key == "a" && a.ToneHz == 315 {
				return a
			}
		}
		t.Fatalf("TP20-a is not among the next actions with %v open", open)
		return Action{}
	}
	closed, open := find(nil), find([]string{"lid"})
	if closed.Minutes-open.Minutes != 8 || closed.Opening != "lid" || open.Opening != "" {
		t.Errorf("closed %v min (%q), open %v min (%q); the lid takes 8 min", closed.Minutes, closed.Opening, open.Minutes, open.Opening)
	}
	if len(closed.Cautions) == 0 {
		t.Error("opening the lid carries no caution")
	}
	e, err := New(def, Options{})
	if err != nil {
		t.Fatal(err)
	}
	bus, _ := def.TestPoint("BUS")
	if w := e.whereIs(bus, "2"); !strings.Contains(w, "connector W9, Strip side, pin") {
		t.Errorf("place of the bus point: %q", w)
	}
}

// TestRails: a rail that a function ties to its regulator accuses it; a level
// on no path is only in or out of its range.
func TestRails(t *testing.T) {
	def := hexastrand(t)
	b := &bench{}
	b.read("TP1", "", 11.46, 0)
	low := b.read("TP2", "", -10.1, 0)
	b.read("TP41", "", 4.8, 0)
	v := diagnose(t, def, b.ev)
	if p := stage(t, v, "U41").P; p > 0.006 {
		t.Errorf("+11.5 V is right, but U41 is at %.4f", p)
	}
	// A rail that sags by a volt is rarer than a probe on the wrong pin.
	if len(v.Doubts) == 0 || v.Doubts[0].Ref != low || stage(t, v, "U42").P < 0.06 {
		t.Errorf("-10.1 V once: doubts %v, U42 %.3f", v.Doubts, stage(t, v, "U42").P)
	}
	b.read("TP2", "", -10.12, 0)
	v = diagnose(t, def, b.ev)
	if p := stage(t, v, "U42").P; p < 0.9 || len(v.Doubts) > 0 {
		t.Errorf("-10.1 V again with a fresh probe: U42 %.3f, doubts %v", p, v.Doubts)
	}
	if !says(v, "4.8 V at TP41") || !says(v, "out of range") {
		t.Errorf("sentences %q do not speak of the mute line", v.Sentences)
	}
}

// TestBadEvidence: entries that cannot be understood are named.
func TestBadEvidence(t *testing.T) {
	e, err := New(hexastrand(t), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for name, ev := range map[string]Evidence{
		"function":  {Checks: []Check{{Ref: "check 9", Function: "fly", Outcome: Works}}},
		"key":       {Checks: []Check{{Ref: "check 9", Function: "play", Key: "7", Outcome: Works}}},
		"outcome":   {Checks: []Check{{Ref: "check 9", Function: "play", Key: "1", Outcome: "fine"}}},
		"symptom":   {Checks: []Check{{Ref: "check 9", Function: "play", Key: "1", Outcome: Faulty, Symptom: "odd"}}},
		"point":     {Readings: []Reading{{Ref: "check 9", TestPoint: "TP99"}}},
		"unit":      {Readings: []Reading{{Ref: "check 9", TestPoint: "TP11", Key: "1", Unit: "A", Value: 1}}},
		"value":     {Readings: []Reading{{Ref: "check 9", TestPoint: "TP11", Key: "1", Unit: "V", Value: math.NaN()}}},
		"captureOf": {Measures: []Measured{{Ref: "check 9", Function: "run"}}},
	} {
		if _, err := e.Diagnose(ev); err == nil || !strings.Contains(err.Error(), "check 9") {
			t.Errorf("%s: error %v does not name the entry", name, err)
		}
	}
	if _, err := New(hexastrand(t), Options{MaxFaults: 3}); err == nil {
		t.Error("three faults at once were accepted")
	}
}

// TestEveryBuiltin: both recorders can be diagnosed.
func TestEveryBuiltin(t *testing.T) {
	for _, name := range machine.BuiltinNames() {
		def, _ := machine.Builtin(name)
		b := &bench{}
		for _, f := range def.Functions {
			if f.CheckMinutes > 0 && f.Each == machine.EachTrack {
				b.check(f.ID, "1", Faulty, SymptomDead)
				b.check(f.ID, "2", Works, "")
			}
		}
		v := diagnose(t, def, b.ev)
		if len(v.Explanations) == 0 || len(v.Next) == 0 {
			t.Errorf("%s: %d explanations, %d actions", name, len(v.Explanations), len(v.Next))
		}
	}
}
