package lining

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"testing"

	"headstack/machine"
	"headstack/sim/trims"
)

// TestLining runs a short trial with bounds that a broken planner, technician or judge
// would not keep: the seeds are others than those of the published one.
func TestLining(t *testing.T) {
	for id, n := range map[string]int{"hexastrand": 5, "octogrange": 1} {
		if testing.Short() && n == 1 {
			continue // its 140 trims take several seconds
		}
		d, ok := machine.Builtin(id)
		if !ok {
			t.Fatalf("no definition %s", id)
		}
		tr := Trial{Def: d, Machines: n, FirstSeed: 9001, Policies: Policies()}
		tr.Policies = slices.DeleteFunc(tr.Policies, func(p Policy) bool { return p.Name == "planned, case ignored" })
		r, err := tr.Run(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		t.Log("\n" + r.Markdown())
		in := int(r.Within("planned").Value*float64(n) + 0.5)
		if in < n-1 || id == "octogrange" && in < n {
			for _, row := range r.Rows {
				t.Logf("seed %d: %v", row.Seed, row.Results["planned"].Misses)
			}
			t.Errorf("%s: %d of %d recorders end in tolerance", id, in, n)
		}
		if x := r.Ratio("planned", moves, "planned", out).Value; x > 1.8 {
			t.Errorf("%s: %.2f moves per trim that was out, want 1.8 at most", id, x)
		}
		if x := r.Ratio("planned", passes, "plain", passes).Value; x > 0.6 {
			t.Errorf("%s: %.2f of the plain procedure's passes, want 0.6 at most", id, x)
		}
		for _, row := range r.Rows {
			x := row.Results["planned"]
			if len(x.Problems) > 0 {
				t.Errorf("%s, seed %d: package lineup finds the log wrong: %v", id, row.Seed, x.Problems[0])
			}
			if y := row.Results["plain"]; x.Out != y.Out {
				t.Errorf("%s, seed %d: %d and %d trims were out: not the same recorder", id, row.Seed, x.Out, y.Out)
			}
		}
		// The case matters, or there would be nothing to reckon with.
		if w := r.Within("plain").Value; w > 0.5 {
			t.Errorf("%s: %.0f %% of recorders are in tolerance without regard to the case", id, 100*w)
		}
	}
}

// TestSameAgain: a recorder is lined up the same way twice, or nothing could be compared.
func TestSameAgain(t *testing.T) {
	d, _ := machine.Builtin("hexastrand")
	var first Result
	for i := range 2 {
		m, err := trims.New(d, 9001)
		if err != nil {
			t.Fatal(err)
		}
		r, err := Planned(m, Way{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			first = r
		} else if !reflect.DeepEqual(r, first) {
			t.Errorf("first %+v, then %+v", first, r)
		}
	}
}

// TestJudge: a recorder in order is in order, and one trim that is moved puts out what it
// moves. The judge is all that the figures of a trial rest on.
func TestJudge(t *testing.T) {
	for _, id := range machine.BuiltinNames() {
		d, _ := machine.Builtin(id)
		m, err := trims.New(d, 4)
		if err != nil {
			t.Fatal(err)
		}
		truth := m.Truth()
		if len(Judge(d, truth)) == 0 {
			t.Fatalf("%s: a recorder as it came in is in order", id)
		}
		// All right, by hand.
		for i := range truth.Trims {
			truth.Trims[i].OffBy = 0
		}
		for i := range truth.Speeds {
			s := &truth.Speeds[i]
			s.SpeedPercent, s.PlayArcmin, s.RecordArcmin = 0, 0, 0
			for j := range s.Tracks {
				x := &s.Tracks[j]
				x.Play.LevelDB, x.Own.LevelDB, x.Sync.LevelDB = 0, 0, 0
				for _, f := range []trims.TrackFigures{x.Play, x.Own, x.Sync} {
					for hz := range f.ResponseDB {
						f.ResponseDB[hz] = 0
					}
				}
				x.OverbiasDB = trims.Overbias(d, s.CmS)
			}
		}
		if x := Judge(d, truth); len(x) != 0 {
			t.Errorf("%s: all right, and %v", id, x)
		}
		for what, spoil := range map[string]func(){
			"play level":                func() { truth.Speeds[0].Tracks[1].Play.LevelDB = -0.51 },
			"record level":              func() { truth.Speeds[0].Tracks[1].Own.LevelDB = 0.51 },
			"play 10000 Hz":             func() { truth.Speeds[0].Tracks[2].Play.ResponseDB[10e3] = 1.6 },
			"play azimuth":              func() { truth.Speeds[0].PlayArcmin = 2.6 },
			truth.Trims[0].Ref.String(): func() { truth.Speeds[0].SpeedPercent = 1.1; truth.Speeds[0].Tracks[0].Play.LevelDB = 1 },
		} {
			before := len(Judge(d, truth))
			spoil()
			if after := len(Judge(d, truth)); after <= before {
				t.Errorf("%s: %s is off and nothing is out", id, what)
			}
		}
	}
}

// TestTrial runs the full trial: HEADSTACK_LININGS recorders of each definition, 150
// without it, from seed 1 on. Tables go to HEADSTACK_LININGS_OUT, and each recorder to a
// file of lines beside it, with which it goes on when it is started again; the last line
// of a recorder counts. HEADSTACK_TRIAL_MACHINE limits it to one definition.
func TestTrial(t *testing.T) {
	if os.Getenv("HEADSTACK_LONG") == "" || os.Getenv("HEADSTACK_LININGS") == "" {
		t.Skip("an hour: set HEADSTACK_LONG and HEADSTACK_LININGS")
	}
	n, err := strconv.Atoi(os.Getenv("HEADSTACK_LININGS"))
	if err != nil {
		t.Fatal(err)
	}
	ids := machine.BuiltinNames()
	if id := os.Getenv("HEADSTACK_TRIAL_MACHINE"); id != "" {
		ids = []string{id}
	}
	for _, id := range ids {
		d, _ := machine.Builtin(id)
		name := cmp.Or(os.Getenv("HEADSTACK_LININGS_OUT"), filepath.Join(t.TempDir(), "lining")) + "-" + id
		have, err := kept(name + ".jsonl")
		if err != nil {
			t.Fatal(err)
		}
		tr := Trial{Def: d, Machines: n, FirstSeed: 1, Policies: Policies(), Have: have}
		if id == "octogrange" { // it shows soon enough
			tr.Policies[1].Every = 3
		}
		tr.Keep = func(r Row) error {
			if i := slices.IndexFunc(have, func(x Row) bool { return x.Seed == r.Seed }); i >= 0 && len(have[i].Results) == len(r.Results) {
				return nil
			}
			line, err := json.Marshal(r)
			if err != nil {
				return err
			}
			f, err := os.OpenFile(name+".jsonl", os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o666)
			if err != nil {
				return err
			}
			_, err = f.Write(append(line, '\n'))
			return cmp.Or(err, f.Close())
		}
		r, err := tr.Run(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		t.Log("\n" + r.Markdown())
		if err := os.WriteFile(name+".md", []byte(r.Markdown()), 0o666); err != nil {
			t.Fatal(err)
		}
		// The bar of the trial.
		if w := r.Within("planned"); w.Value < 0.95 {
			t.Errorf("%s: %.1f %% of recorders end in tolerance, want 95 %%", id, 100*w.Value)
		}
		if x := r.Ratio("planned", moves, "planned", out).Value; x > 1.6 {
			t.Errorf("%s: %.2f moves per trim that was out, want 1.6 at most", id, x)
		}
		if x := r.Ratio("planned", passes, "plain", passes).Value; x > 0.5 {
			t.Errorf("%s: %.2f of the plain procedure's passes, want 0.5 at most", id, x)
		}
	}
}

// kept reads the recorders of a file of lines; none where it is not there.
func kept(name string) ([]Row, error) {
	data, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	var out []Row
	for dec := json.NewDecoder(bytes.NewReader(data)); err == nil; {
		var r Row
		if err = dec.Decode(&r); err == nil {
			out = append(slices.DeleteFunc(out, func(x Row) bool { return x.Seed == r.Seed }), r)
		}
	}
	if err == io.EOF {
		err = nil
	}
	return out, err
}

// TestStory tells the line-up of the recorder of HEADSTACK_TRIAL_SEED, of the type
// HEADSTACK_TRIAL_MACHINE.
func TestStory(t *testing.T) {
	d, ok := machine.Builtin(os.Getenv("HEADSTACK_TRIAL_MACHINE"))
	if !ok {
		t.Skip("set HEADSTACK_TRIAL_MACHINE and HEADSTACK_TRIAL_SEED")
	}
	seed, err := strconv.ParseUint(cmp.Or(os.Getenv("HEADSTACK_TRIAL_SEED"), "1"), 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	m, err := trims.New(d, seed)
	if err != nil {
		t.Fatal(err)
	}
	r, err := Planned(m, Way{}, t.Logf)
	if err != nil {
		t.Fatal(err)
	}
	t.Log(r)
	for _, x := range r.Misses {
		t.Log(x)
	}
	if len(r.Open) > 0 {
		t.Logf("%d steps not done, as package lineup says: %s", len(r.Open), r.Open[0])
	}
}
