package trial_test

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
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

// TestTrials runs the full trial: HEADSTACK_TRIALS recorders of each definition from
// HEADSTACK_TRIAL_SEED on, with right priors and with wrong ones, and writes the tables to
// HEADSTACK_TRIALS_OUT and all results beside it. HEADSTACK_TRIAL_MACHINE and
// HEADSTACK_TRIAL_FACTOR limit it to one definition and one series.
func TestTrials(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("HEADSTACK_TRIALS"))
	if n == 0 || os.Getenv("HEADSTACK_LONG") == "" {
		t.Skip("set HEADSTACK_LONG and HEADSTACK_TRIALS")
	}
	seed, err := strconv.ParseUint(cmp.Or(os.Getenv("HEADSTACK_TRIAL_SEED"), "1"), 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	ids, factors := machine.BuiltinNames(), []float64{1, 3}
	if id := os.Getenv("HEADSTACK_TRIAL_MACHINE"); id != "" {
		ids = []string{id}
	}
	if f, err := strconv.ParseFloat(os.Getenv("HEADSTACK_TRIAL_FACTOR"), 64); err == nil {
		factors = []float64{f}
	}
	var reports []*trial.Report
	for _, factor := range factors {
		for _, id := range ids {
			start := time.Now()
			tr := trial.Trial{Def: builtin(t, id), Machines: n, FirstSeed: seed, PriorFactor: factor, Policies: policies(), Advisor: advisor,
				Progress: func(done, of int) {
					fmt.Fprintf(os.Stderr, "%s, priors wrong by %g: %d of %d recorders, %.0f s\n", id, factor, done, of, time.Since(start).Seconds())
				}}
			r, err := tr.Run(context.Background())
			if err != nil {
				t.Fatal(err)
			}
			t.Log("\n" + r.Text())
			reports = append(reports, r)
			if err := write(os.Getenv("HEADSTACK_TRIALS_OUT"), reports); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// write puts the tables into a file and the results of every recorder into one beside it.
func write(name string, reports []*trial.Report) error {
	if name == "" {
		return nil
	}
	text := ""
	for _, r := range reports {
		text += r.Markdown() + "\n"
	}
	data, err := json.MarshalIndent(reports, "", " ")
	return cmp.Or(err, os.WriteFile(name, []byte(text), 0o666), os.WriteFile(name+".json", data, 0o666))
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
