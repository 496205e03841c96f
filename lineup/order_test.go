package lineup_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"

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
