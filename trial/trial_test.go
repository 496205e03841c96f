package trial_test

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
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
// HEADSTACK_TRIAL_SEED on, with right priors and with wrong ones. It writes the tables to
// HEADSTACK_TRIALS_OUT, of what is ready after every tenth recorder, and the result of
// each recorder to a file of lines beside it, with which it goes on when it is started
// again. HEADSTACK_TRIAL_MACHINE, HEADSTACK_TRIAL_FACTOR and HEADSTACK_TRIAL_POLICY limit
// it to one definition, one series and some policies ("advice,half split").
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
	k := newKeeper(t, cmp.Or(os.Getenv("HEADSTACK_TRIALS_OUT"), filepath.Join(t.TempDir(), "trials.md")))
	for _, factor := range factors {
		for _, id := range ids {
			start := time.Now()
			tr := trial.Trial{Def: builtin(t, id), Machines: n, FirstSeed: seed, PriorFactor: factor, Policies: policies(), Advisor: advisor,
				Have: k.rows[series{id, factor}]}
			if only := os.Getenv("HEADSTACK_TRIAL_POLICY"); only != "" {
				names := strings.Split(only, ",")
				tr.Policies = slices.DeleteFunc(tr.Policies, func(p trial.Maker) bool { return !slices.Contains(names, p.Name) })
			}
			tr.Keep = func(r trial.Row, done, of int) error {
				fmt.Fprintf(os.Stderr, "%s, priors wrong by %g: %d of %d recorders, %.0f s\n", id, factor, done, of, time.Since(start).Seconds())
				return k.keep(series{id, factor}, r)
			}
			r, err := tr.Run(context.Background())
			if err != nil {
				t.Fatal(err)
			}
			t.Log("\n" + r.Text())
		}
	}
	if err := k.tables(); err != nil {
		t.Fatal(err)
	}
}

// series is one definition with priors wrong by a factor.
type series struct {
	Machine string  `json:"machine"`
	Factor  float64 `json:"factor"`
}

// keeper keeps the recorders that are ready in a file of lines.
type keeper struct {
	name string
	rows map[series][]trial.Row
	n    int
}

type line struct {
	series
	Row trial.Row `json:"row"`
}

func newKeeper(t *testing.T, name string) *keeper {
	k := &keeper{name: name, rows: map[series][]trial.Row{}}
	data, err := os.ReadFile(name + ".jsonl")
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	for d := json.NewDecoder(bytes.NewReader(data)); ; {
		var l line
		if err := d.Decode(&l); err == io.EOF {
			return k
		} else if err != nil {
			t.Fatalf("%s.jsonl: %v", name, err)
		}
		k.rows[l.series] = append(k.rows[l.series], l.Row)
	}
}

func (k *keeper) keep(s series, r trial.Row) error {
	if slices.ContainsFunc(k.rows[s], func(x trial.Row) bool { return x.Seed == r.Seed }) {
		return nil
	}
	k.rows[s] = append(k.rows[s], r)
	data, err := json.Marshal(line{s, r})
	if err != nil {
		return err
	}
	f, err := os.OpenFile(k.name+".jsonl", os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o666)
	if err != nil {
		return err
	}
	_, err = f.Write(append(data, '\n'))
	if err := cmp.Or(err, f.Close()); err != nil {
		return err
	}
	if k.n++; k.n%10 == 0 {
		return k.tables()
	}
	return nil
}

// tables writes those of every series, as far as it is.
func (k *keeper) tables() error {
	var b bytes.Buffer
	for _, factor := range []float64{1, 3} {
		for _, id := range machine.BuiltinNames() {
			rows := slices.SortedFunc(slices.Values(k.rows[series{id, factor}]), func(a, b trial.Row) int { return cmp.Compare(a.Seed, b.Seed) })
			if len(rows) == 0 {
				continue
			}
			r := trial.Report{Machine: id, FirstSeed: rows[0].Seed, PriorFactor: factor, Rows: rows}
			for _, p := range policies() {
				if _, ok := rows[0].Results[p.Name]; ok {
					r.Policies = append(r.Policies, p.Name)
				}
			}
			fmt.Fprintln(&b, r.Markdown())
		}
	}
	return os.WriteFile(k.name, b.Bytes(), 0o666)
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
