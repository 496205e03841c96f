package trial_test

import (
	"cmp"
	"context"
	"encoding/json"
	"os"
	"strconv"
	"testing"
	"time"

	"headstack/machine"
	"headstack/trial"
)

func builtin(t testing.TB, id string) *machine.Definition {
	t.Helper()
	def, ok := machine.Builtin(id)
	if !ok {
		t.Fatalf("no definition %s", id)
	}
	return def
}

// policies are those of the published trial; the thresholds are tuned, see doc/TRIALS.md.
func policies() []trial.Maker {
	return []trial.Maker{trial.Advised(), trial.HalfSplit(0.8), trial.AlongPath(0.8), trial.Clairvoyant()}
}

// TestStory tells what was done on the recorder of HEADSTACK_TRIAL_SEED, of the type
// HEADSTACK_TRIAL_MACHINE by the policy HEADSTACK_TRIAL_POLICY.
func TestStory(t *testing.T) {
	seed, err := strconv.ParseUint(cmp.Or(os.Getenv("HEADSTACK_TRIAL_SEED"), "1"), 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	name := cmp.Or(os.Getenv("HEADSTACK_TRIAL_POLICY"), "advice")
	factor, _ := strconv.ParseFloat(cmp.Or(os.Getenv("HEADSTACK_TRIAL_FACTOR"), "1"), 64)
	tr := trial.Trial{Def: builtin(t, cmp.Or(os.Getenv("HEADSTACK_TRIAL_MACHINE"), "hexastrand")), Advisor: advisor, PriorFactor: factor}
	for _, p := range policies() {
		if p.Name != name {
			continue
		}
		if err := tr.Story(context.Background(), t.Output(), seed, p); err != nil {
			t.Fatal(err)
		}
		return
	}
	t.Fatalf("no policy %q", name)
}

// TestTrials runs the full trial: HEADSTACK_TRIALS recorders of each definition.
func TestTrials(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("HEADSTACK_TRIALS"))
	if n == 0 || os.Getenv("HEADSTACK_LONG") == "" {
		t.Skip("set HEADSTACK_LONG and HEADSTACK_TRIALS")
	}
	out := os.Getenv("HEADSTACK_TRIALS_OUT")
	var reports []*trial.Report
	text := ""
	for _, factor := range []float64{1, 3} {
		for _, id := range machine.BuiltinNames() {
			start := time.Now()
			tr := trial.Trial{Def: builtin(t, id), Machines: n, FirstSeed: 1, PriorFactor: factor, Policies: policies(), Advisor: advisor,
				Progress: func(done, of int) {
					if done%10 == 0 || done == of {
						t.Logf("%s, factor %g: %d of %d, %.0f s", id, factor, done, of, time.Since(start).Seconds())
					}
				}}
			r, err := tr.Run(context.Background())
			if err != nil {
				t.Fatal(err)
			}
			reports = append(reports, r)
			text += r.Markdown() + "\n"
			t.Log("\n" + r.Text())
			if out != "" {
				data, err := json.MarshalIndent(reports, "", " ")
				if err != nil {
					t.Fatal(err)
				}
				if err := cmp.Or(os.WriteFile(out, []byte(text), 0o666), os.WriteFile(out+".json", data, 0o666)); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
}

// TestPaired runs a small trial with bounds that a broken engine, technician or baseline
// would not keep.
func TestPaired(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of the engine's work; the rest of the bench is tested with a guesser")
	}
	n := 2
	if os.Getenv("HEADSTACK_LONG") != "" {
		n = 5
	}
	correct, all := 0, 0
	advice, halfSplit := 0.0, 0.0
	for _, id := range machine.BuiltinNames() {
		tr := trial.Trial{Def: builtin(t, id), Machines: n, FirstSeed: 100, Policies: policies(), Advisor: advisor}
		r, err := tr.Run(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		t.Log("\n" + r.Text())
		for _, row := range r.Rows {
			all++
			if row.Results["advice"].Outcome == trial.Correct {
				correct++
			}
			advice += row.Results["advice"].Minutes - row.IntakeMinutes
			halfSplit += row.Results["half split"].Minutes - row.IntakeMinutes
			if known := row.Results["clairvoyant"]; known.Needless > 0 || known.Outcome == trial.Unfinished {
				t.Errorf("%s, seed %d: who knows the faults: %+v", id, row.Seed, known)
			}
		}
	}
	if 10*correct < 5*all {
		t.Errorf("advice mends %d of %d recorders, want one half at least", correct, all)
	}
	if n >= 5 && advice > 1.3*halfSplit {
		t.Errorf("advice takes %.0f min after the intakes of %d recorders, half split %.0f", advice, all, halfSplit)
	}
}
