package lineup_test

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"headstack/lineup"
	"headstack/machine"
	"headstack/measure"
)

// reading is a figure in tolerance of a limit of ±1, or off by that much.
func reading(off float64) (*measure.Result, *lineup.Target) {
	r := &measure.Result{Value: off, Lo: off - 0.01, Hi: off + 0.01, Unit: "dB"}
	r.Conditions.Case = measure.CaseClosed
	return r, &lineup.Target{Unit: "dB", Tolerance: 1}
}

// do is the entry by which a step is done well.
func do(s *lineup.Step) lineup.Event {
	if s.Gate && s.Measure == "" {
		return lineup.Event{Kind: lineup.GateDone, Step: s.ID}
	}
	r, t := reading(0)
	return lineup.Event{Kind: lineup.Measured, Step: s.ID, Result: r, Target: t}
}

// ready are the steps that can be done now, in order.
func ready(s *lineup.Status) []string {
	var out []string
	for _, x := range s.Steps {
		if x.Ready() {
			out = append(out, x.Step)
		}
	}
	return out
}

// finish does what is due, in order, until nothing is; it closes the case when that is
// asked for.
func finish(t failer, o *lineup.Order, d *machine.Definition, log []lineup.Event) []lineup.Event {
	t.Helper()
	for range len(o.Steps) {
		list := ready(o.Status(log))
		if len(list) == 0 {
			return log
		}
		for _, id := range list {
			s, _ := o.Step(id)
			if s.Kind == lineup.CaseClosed {
				for _, op := range d.Openings {
					log = append(log, lineup.Event{Kind: lineup.Closed, Opening: op.ID})
				}
				continue
			}
			log = append(log, do(s))
		}
	}
	t.Fatalf("not finished after as many rounds as there are steps; next is %s", o.Status(log).Next)
	return nil
}

type failer interface {
	Helper()
	Fatalf(string, ...any)
	Errorf(string, ...any)
}

// drawEvent is anything that may happen at a bench.
func drawEvent(t *rapid.T, o *lineup.Order, d *machine.Definition) lineup.Event {
	step := o.Steps[rapid.IntRange(0, len(o.Steps)-1).Draw(t, "step")]
	switch rapid.IntRange(0, 9).Draw(t, "what") {
	case 0:
		tr := rapid.SampledFrom(d.Trims).Draw(t, "trim")
		e := lineup.Event{Kind: lineup.Turned, Trim: tr.ID}
		if keys := d.ReplicaKeys(tr.Each); tr.Each != "" && rapid.Bool().Draw(t, "one") {
			e.Key = rapid.SampledFrom(keys).Draw(t, "key")
		}
		return e
	case 1:
		return lineup.Event{Kind: lineup.Opened, Opening: rapid.SampledFrom(d.Openings).Draw(t, "opening").ID}
	case 2:
		return lineup.Event{Kind: lineup.Closed, Opening: rapid.SampledFrom(d.Openings).Draw(t, "opening").ID}
	case 3:
		return lineup.Event{Kind: lineup.GateLost, Step: step.ID}
	case 4:
		return lineup.Event{Kind: lineup.SignedOff, Step: step.ID, Reason: "as it is"}
	case 5:
		return lineup.Event{Kind: lineup.TapeChanged, Carrier: lineup.OwnTape, Tape: "another"}
	case 6:
		return lineup.Event{Kind: lineup.Evidence, Step: step.ID, Reason: "edge tracks differ"}
	case 7:
		return lineup.Event{Kind: lineup.Played, Tape: "good"}
	case 8:
		r, target := reading(rapid.Float64Range(-3, 3).Draw(t, "off"))
		return lineup.Event{Kind: lineup.Measured, Step: step.ID, Result: r, Target: target}
	}
	return do(&step)
}

func drawLog(t *rapid.T, o *lineup.Order, d *machine.Definition) []lineup.Event {
	var log []lineup.Event
	for range rapid.IntRange(0, 12).Draw(t, "stretches") {
		if rapid.Bool().Draw(t, "work") { // a stretch of the order itself, else nothing is ever done
			for range rapid.IntRange(1, 8).Draw(t, "rounds") {
				list := ready(o.Status(log))
				for _, id := range list[:rapid.IntRange(0, len(list)).Draw(t, "steps")] {
					s, _ := o.Step(id)
					log = append(log, do(s))
				}
			}
			continue
		}
		log = append(log, drawEvent(t, o, d))
	}
	return log
}

// Whatever happened before, turning a trim leaves none of what depends on it done, and
// what was done before is stale and says which trim.
func TestTurningNeverLeavesDependentsDone(t *testing.T) {
	for _, name := range recorders {
		o, d, _ := bench(t, name)
		rapid.Check(t, func(t *rapid.T) {
			log := drawLog(t, o, d)
			before := o.Status(log)
			tr := rapid.SampledFrom(d.Trims).Draw(t, "trim")
			key := rapid.SampledFrom(d.ReplicaKeys(tr.Each)).Draw(t, "key")
			after := o.Status(append(slices.Clone(log), lineup.Event{Kind: lineup.Turned, Trim: tr.ID, Key: key}))
			for _, c := range o.Stale(tr.ID, key) {
				b, _ := before.Of(c.Step)
				a, ok := after.Of(c.Step)
				if !ok || a.State == lineup.StateDone {
					t.Fatalf("%s is %s after %s %s was turned", c.Step, a.State, tr.ID, key)
				}
				if b.State == lineup.StateDone && (a.State != lineup.StateStale || !strings.Contains(a.Why, "turned")) {
					t.Fatalf("%s was done and is %s: %s", c.Step, a.State, a.Why)
				}
			}
			// All else stands as it stood, but for what waits.
			moved := o.Stale(tr.ID, key)
			for i, b := range before.Steps {
				a := after.Steps[i]
				if b.State == lineup.StateDone && a.State != lineup.StateDone && b.Step != string(lineup.CaseClosed) &&
					!slices.ContainsFunc(moved, func(c lineup.Consequence) bool { return c.Step == b.Step }) {
					t.Fatalf("%s was done and is %s after %s, on which it does not depend", b.Step, a.State, tr.ID)
				}
			}
		})
	}
}

// States depend on the log alone, also after it went through JSON, and blocked steps
// name what they wait for.
func TestStatusIsAFunctionOfTheLog(t *testing.T) {
	for _, name := range recorders {
		o, d, _ := bench(t, name)
		again, err := lineup.New(d, lineup.Options{})
		if err != nil {
			t.Fatal(err)
		}
		rapid.Check(t, func(t *rapid.T) {
			log := drawLog(t, o, d)
			one := o.Status(log)
			data, err := json.Marshal(log)
			if err != nil {
				t.Fatal(err)
			}
			var back []lineup.Event
			if err := json.Unmarshal(data, &back); err != nil {
				t.Fatal(err)
			}
			if two := again.Status(back); !reflect.DeepEqual(one, two) {
				t.Fatalf("%+v\n%+v", one, two)
			}
			for _, s := range one.Steps {
				if s.State == lineup.StateBlocked && (len(s.Waits) == 0 || s.Why == "") || s.State == lineup.StateDone && len(s.Waits) > 0 || s.State == lineup.StateStale && s.Why == "" {
					t.Fatalf("%+v", s)
				}
			}
		})
	}
}

// From any log, doing what is due in order ends with all done.
func TestDoingWhatIsDueEnds(t *testing.T) {
	for _, name := range recorders {
		o, d, _ := bench(t, name)
		rapid.Check(t, func(t *rapid.T) {
			log := finish(t, o, d, drawLog(t, o, d))
			if s := o.Status(log); !s.Complete() {
				for _, x := range s.Steps {
					if x.State != lineup.StateDone && x.State != lineup.StateNotNeeded {
						t.Fatalf("%+v", x)
					}
				}
			}
		})
	}
}

func TestHeadPlateOff(t *testing.T) {
	o, d, _ := bench(t, "hexastrand")
	log := finish(t, o, d, nil)
	log = append(log, lineup.Event{Kind: lineup.Opened, Opening: "head"})
	s := o.Status(log)
	for step, want := range map[string]lineup.State{
		"azimuth/AZ": lineup.StateStale, "height/HT1": lineup.StateDue, "rack/RK": lineup.StateBlocked, "treble/VRb/2": lineup.StateStale,
		"path_clean": lineup.StateStale, "speed/VR1": lineup.StateStale, "proof_level/9.525/1": lineup.StateStale,
		"bias_frequency/VRo": lineup.StateDone, "warm": lineup.StateDone,
	} {
		got, _ := s.Of(step)
		if step == "height/HT1" && got.State == lineup.StateBlocked {
			continue // waits for the gates first
		}
		if got.State != want {
			t.Errorf("%s is %s (%s), want %s", step, got.State, got.Why, want)
		}
	}
	if s.Case != measure.CaseOpen || s.Next != "path_clean" {
		t.Errorf("case %s, next %s", s.Case, s.Next)
	}
	// The other openings cost nothing but the proof.
	log = append(finish(t, o, d, nil), lineup.Event{Kind: lineup.Opened, Opening: "lid"})
	s = o.Status(log)
	for _, x := range s.Steps {
		st, _ := o.Step(x.Step)
		if x.State == lineup.StateStale != st.Kind.Proof() {
			t.Errorf("lid opened: %s is %s", x.Step, x.State)
		}
	}
}

func TestGoodTapeStaysInItsBox(t *testing.T) {
	o, d, _ := bench(t, "octogrange")
	played := lineup.Event{Kind: lineup.Played, Tape: "Carrow Fell"}
	if ok, waits := o.MayPlayTestTape(nil); ok || !slices.Contains(waits, "scrap_run") {
		t.Errorf("allowed at once: %v %v", ok, waits)
	}
	if s := o.Status([]lineup.Event{played}); len(s.Problems) != 1 || s.Passes["Carrow Fell"] != 1 {
		t.Errorf("%+v", s.Problems)
	}
	log := append(finish(t, o, d, nil), played, played)
	if s := o.Status(log); len(s.Problems) != 0 || s.Passes["Carrow Fell"] != 2 {
		t.Errorf("%+v, %v", s.Problems, s.Passes)
	}
	if ok, waits := o.MayPlayTestTape(append(log, lineup.Event{Kind: lineup.GateLost, Step: "demagnetised"})); ok || len(waits) < 2 {
		t.Errorf("after the head was magnetised: %v %v", ok, waits)
	}
}

// A re-check that reads out makes what it checks stale; set again, all is done again.
func TestRecheckOut(t *testing.T) {
	o, d, _ := bench(t, "hexastrand")
	log := finish(t, o, d, nil)
	r, target := reading(2)
	log = append(log, lineup.Event{Kind: lineup.Measured, Step: "record_again/9.525/4", Result: r, Target: target})
	s := o.Status(log)
	for _, step := range []string{"bias/VRd/4", "record_level/VRc/4", "record_treble/9.525/4"} {
		if x, _ := s.Of(step); x.State != lineup.StateStale || !strings.Contains(x.Why, "off by") {
			t.Errorf("%s is %s: %s", step, x.State, x.Why)
		}
	}
	if x, _ := s.Of("bias/VRd/5"); x.State != lineup.StateDone {
		t.Errorf("track 5: %+v", x)
	}
	if s := o.Status(finish(t, o, d, log)); !s.Complete() {
		t.Error("not complete")
	}
}

// A reading before the gates says how the recorder was found and settles nothing.
func TestAsFoundSettlesNothing(t *testing.T) {
	o, _, _ := bench(t, "hexastrand")
	r, target := reading(0)
	s := o.Status([]lineup.Event{{Kind: lineup.Measured, Step: "proof_level/9.525/2", Result: r, Target: target}})
	if x, _ := s.Of("proof_level/9.525/2"); x.State != lineup.StateBlocked || x.Found != 0 || x.Last != -1 {
		t.Errorf("%+v", x)
	}
}

// A whole line-up of the larger recorder, read again after each entry of a page.
func BenchmarkStatus(b *testing.B) {
	o, d, _ := bench(b, "octogrange")
	log := finish(b, o, d, nil)
	for b.Loop() {
		if s := o.Status(log); !s.Complete() {
			b.Fatal("not complete")
		}
	}
	b.ReportMetric(float64(len(log)), "entries")
}
