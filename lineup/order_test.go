package lineup_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"headstack/lineup"
	"headstack/machine"
	"headstack/testtape"
)

// bench is an order of one of the invented recorders, with the invented tapes.
func bench(t testing.TB, name string) (*lineup.Order, *machine.Definition, []lineup.TapeAtHand) {
	t.Helper()
	d, ok := machine.Builtin(name)
	if !ok {
		t.Fatalf("no recorder %s", name)
	}
	var tapes []lineup.TapeAtHand
	for _, n := range testtape.BuiltinNames() {
		tp, err := testtape.Builtin(n)
		if err != nil {
			t.Fatal(err)
		}
		tapes = append(tapes, lineup.TapeAtHand{Tape: tp})
	}
	o, err := lineup.New(d, lineup.Options{Tapes: tapes})
	if err != nil {
		t.Fatal(err)
	}
	return o, d, tapes
}

var recorders = []string{"hexastrand", "octogrange"}

// Each step stands after all that it needs, so that the graph has no cycle; each replica
// of each trim is set at exactly one step, at its own speed.
func TestOrderOfBuiltins(t *testing.T) {
	for _, name := range recorders {
		o, d, _ := bench(t, name)
		at := map[string]int{}
		for i, s := range o.Steps {
			if _, twice := at[s.ID]; twice {
				t.Errorf("%s: two steps %s", name, s.ID)
			}
			at[s.ID] = i
			for _, n := range s.Needs {
				if j, ok := at[n.Step]; !ok || j >= i || n.Why == "" {
					t.Errorf("%s: %s needs %s, which stands at %d of %d; why %q", name, s.ID, n.Step, j, i, n.Why)
				}
			}
		}
		want := map[string]bool{}
		for _, tr := range d.Trims {
			for _, k := range d.ReplicaKeys(tr.Each) {
				part := d.Designator(tr.Part, tr.Each, k)
				n, speed := 0, tr.SpeedCmS
				for _, s := range o.Steps {
					if s.Trim == tr.ID && s.Key == k {
						n++
						if s.Part != part || speed != 0 && s.SpeedCmS != speed || speed == 0 && !s.AllSpeeds || s.Kind == lineup.Other != (tr.Sets == "offset") {
							t.Errorf("%s: step %s: part %q at %g cm/s, kind %s", name, s.ID, s.Part, s.SpeedCmS, s.Kind)
						}
					}
				}
				if n != 1 {
					t.Errorf("%s: %s is set at %d steps", name, part, n)
				}
				want[part] = true
			}
		}
		if counts := map[string]int{"hexastrand": 44, "octogrange": 154}; len(want) != counts[name] {
			t.Errorf("%s: %d adjusters, want %d", name, len(want), counts[name])
		}
	}
}

// The sequence of the trade, first steps of each kind.
func TestSequence(t *testing.T) {
	for name, want := range map[string][]lineup.Kind{
		"hexastrand": {lineup.PathClean, lineup.Demagnetised, lineup.DemagnetiserAway, lineup.ScrapRun, lineup.NoiseReductionOff, lineup.PitchCentre, lineup.Warm,
			lineup.Flutter, lineup.Drift, lineup.Speed, lineup.Height, lineup.Rack, lineup.Azimuth, lineup.Level, lineup.Treble, lineup.LevelAgain, lineup.AzimuthAgain,
			lineup.Meter, lineup.BiasFrequency, lineup.Erase, lineup.Trap, lineup.NoiseReduction, lineup.Bias, lineup.RecordLevel, lineup.RecordTreble, lineup.RecordAgain,
			lineup.PlayBass, lineup.NoiseReductionOn, lineup.CaseClosed, lineup.FreshShell, lineup.ProofSpeed},
		"octogrange": {lineup.PathClean, lineup.Demagnetised, lineup.DemagnetiserAway, lineup.ScrapRun, lineup.NoiseReductionOff, lineup.PitchCentre, lineup.Warm,
			lineup.Tension, lineup.Brake, lineup.Flutter, lineup.Drift, lineup.Speed, lineup.Azimuth, lineup.Level, lineup.Treble, lineup.LevelAgain, lineup.AzimuthAgain,
			lineup.Meter, lineup.EraseAzimuth, lineup.RecordAzimuth, lineup.Erase, lineup.Trap, lineup.Bias, lineup.RecordLevel, lineup.RecordTreble, lineup.RecordAgain,
			lineup.PlayBass, lineup.SyncLevel, lineup.SyncTreble, lineup.Other, lineup.CaseClosed, lineup.ProofSpeed},
	} {
		o, _, _ := bench(t, name)
		var got []lineup.Kind
		for _, s := range o.Steps {
			if !slices.Contains(got, s.Kind) {
				got = append(got, s.Kind)
			}
		}
		if !slices.Equal(got[:len(want)], want) {
			t.Errorf("%s:\n got %v\nwant %v", name, got[:len(want)], want)
		}
	}
}

// Definitions with parts left out still give an order without a cycle that can be
// finished, every trim that is left in it once.
func TestOrderOfPoorDefinitions(t *testing.T) {
	for _, name := range recorders {
		whole, _ := machine.Builtin(name)
		rapid.Check(t, func(t *rapid.T) {
			d := bare(whole)
			d.Trims = some(t, "trim", whole.Trims)
			d.TestPoints = some(t, "point", whole.TestPoints)
			d.Heads = some(t, "head", whole.Heads)
			d.Groups = some(t, "group", whole.Groups)
			d.Speeds = some(t, "speed", whole.Speeds)
			d.Tracks.Count = rapid.IntRange(1, whole.Tracks.Count).Draw(t, "tracks")
			o, err := lineup.New(&d, lineup.Options{})
			if len(d.Speeds) == 0 {
				if !errors.Is(err, lineup.ErrDefinition) {
					t.Fatalf("%v", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			at, trims := map[string]int{}, 0
			for i, s := range o.Steps {
				if _, twice := at[s.ID]; twice {
					t.Fatalf("two steps %s", s.ID)
				}
				at[s.ID] = i
				for _, n := range s.Needs {
					if j, ok := at[n.Step]; !ok || j >= i {
						t.Fatalf("%s needs %s", s.ID, n.Step)
					}
				}
				if s.Trim != "" {
					trims++
				}
			}
			for _, tr := range d.Trims {
				trims -= len(d.ReplicaKeys(tr.Each))
			}
			if trims != 0 {
				t.Fatalf("%d steps of trims too many", trims)
			}
			for _, s := range o.Steps {
				if tg := o.Target(s.ID, lineup.Setup{}); tg.Refused == "" && len(tg.Lines) == 0 {
					t.Fatalf("%+v", tg)
				}
			}
			if log := finish(t, o, &d, nil); !o.Status(log).Complete() {
				t.Fatal("not complete")
			}
			if _, err := o.Sheet(lineup.SheetOptions{Hearing: lineup.Hearing{AtOnce: 2}}); err != nil {
				t.Fatal(err)
			}
		})
	}
}

// bare is a copy without what loading remembers of the whole.
func bare(d *machine.Definition) machine.Definition {
	var out machine.Definition
	from, to := reflect.ValueOf(d).Elem(), reflect.ValueOf(&out).Elem()
	for i := range from.NumField() {
		if to.Type().Field(i).IsExported() {
			to.Field(i).Set(from.Field(i))
		}
	}
	return out
}

// some leaves a part of a list out.
func some[T any](t *rapid.T, what string, list []T) []T {
	var out []T
	for _, x := range list {
		if rapid.Bool().Draw(t, what) {
			out = append(out, x)
		}
	}
	return out
}

// Every name in the JSON of what callers keep or show is snake_case.
func TestJSONNames(t *testing.T) {
	o, d, tapes := bench(t, "octogrange")
	log := finish(t, o, d, nil)
	sheet, err := o.Sheet(lineup.SheetOptions{Hearing: lineup.Hearing{AtOnce: 8}})
	if err != nil {
		t.Fatal(err)
	}
	passes, err := o.TapePasses(lineup.Hearing{AtOnce: 2})
	if err != nil {
		t.Fatal(err)
	}
	set := lineup.Setup{Tapes: tapes}
	snake := regexp.MustCompile(`"[A-Za-z0-9_]*[A-Z][A-Za-z0-9_]*":`)
	for _, v := range []any{o, log, sheet, passes, lineup.NewSoak(d, 4), o.Proof(log, set, lineup.NewSoak(d, 4)), o.Stale("B38", "3"), o.Target("azimuth/AZP", set), o.Target("level/LEV/1", set), set} {
		data, err := json.Marshal(v)
		if err != nil {
			t.Fatalf("%T: %v", v, err)
		}
		if bad := snake.Find(data); bad != nil {
			t.Errorf("%T has a field %s", v, bad)
		}
	}
	// The passes of tapes are by their own names.
	data, err := json.Marshal(o.Status(log))
	if err != nil || snake.Match(data) {
		t.Errorf("%v %s", err, snake.Find(data))
	}
}

// Whoever puts a probe on a bias or erase node is told so, also where nothing is turned.
func TestCautionsStandAtTheStep(t *testing.T) {
	burns, _ := machine.StandardCaution("bias")
	for _, name := range recorders {
		o, d, _ := bench(t, name)
		for _, s := range o.Steps {
			switch s.Kind {
			case lineup.Erase, lineup.Trap, lineup.BiasFrequency, lineup.Bias:
				if s.AtPart != "" && !slices.Contains(s.Cautions, burns) {
					t.Errorf("%s: %s has no caution", name, s.ID)
				}
			}
			if tp, ok := d.TestPoint(s.At); ok && s.AtPart != "" {
				if b, _ := d.Board(tp.Board); s.Probe.Opening != b.Opening {
					t.Errorf("%s: the probe of %s goes to %q, its board is reached at %q", name, s.ID, s.Probe.Opening, b.Opening)
				}
			}
		}
	}
}

// Entries that do not fit are said and change nothing.
func TestProblems(t *testing.T) {
	o, _, _ := bench(t, "hexastrand")
	s := o.Status([]lineup.Event{{Kind: lineup.GateDone, Step: "nothing"}, {Kind: lineup.Turned, Trim: "VRa", Key: "9"}, {Kind: lineup.Opened, Opening: "roof"}, {Kind: "danced"}})
	if len(s.Problems) != 4 || s.Next != "path_clean" || s.Case != "closed" {
		t.Errorf("%+v", s)
	}
	if _, err := lineup.New(&machine.Definition{}, lineup.Options{}); !errors.Is(err, lineup.ErrDefinition) {
		t.Error(err)
	}
}

func ExampleNew() {
	d, _ := machine.Builtin("hexastrand")
	o, err := lineup.New(d, lineup.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, c := range o.Stale("VRd", "3")[:4] {
		fmt.Printf("%s: %s\n", c.Step, c.Why)
	}
	s := o.Status(nil)
	fmt.Println("next:", s.Next)
	// Output:
	// bias/VRd/3: it was turned: read it again
	// record_level/VRc/3: bias moves the recorded level
	// record_treble/9.525/3: bias moves the recorded treble more than the trim does
	// record_again/9.525/3: iterated until the change is small
	// next: path_clean
}
