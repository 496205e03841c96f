package testtape

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/google/go-cmp/cmp"
	jsonschema "github.com/santhosh-tekuri/jsonschema/v6"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write generated files anew")

func compileSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("testtape.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("testtape.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func toJSONValue(t *testing.T, data []byte) any {
	t.Helper()
	j, err := yaml.YAMLToJSON(data)
	if err != nil {
		t.Fatal(err)
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(j))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestSchemaIsFresh(t *testing.T) {
	want, err := generateSchema()
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile("schema/testtape.schema.json", want, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if diff := cmp.Diff(string(want), string(Schema())); diff != "" {
		t.Errorf("schema/testtape.schema.json is stale, run go test -update (-want +got):\n%s", diff)
	}
}

// Each file that we publish loads, and meets the published schema.
func TestPublishedTapes(t *testing.T) {
	schema := compileSchema(t)
	files := map[string][]byte{"starting file": New()}
	for _, n := range BuiltinNames() {
		src, err := BuiltinSource(n)
		if err != nil {
			t.Fatal(err)
		}
		files[n] = src
	}
	if len(files) < 3 {
		t.Fatalf("only %d published tapes", len(files))
	}
	for n, src := range files {
		t.Run(n, func(t *testing.T) {
			if _, err := Load(n, src); err != nil {
				t.Error(err)
			}
			if err := schema.Validate(toJSONValue(t, src)); err != nil {
				t.Error(err)
			}
		})
	}
}

// What the schema says and what Load says must agree on simple mistakes.
func TestSchemaRefuses(t *testing.T) {
	schema := compileSchema(t)
	for _, c := range []struct{ old, new string }{
		{"testtape: 1", "testtape: 2"},
		{"speed_cm_s: 9.525", "speed_cm_s: -9.525"},
		{"low: 3180", "low: -1"},
		{"track_layout: full-width", "track_layout: half"},
		{"seconds: 30", "seconds: 0"},
		{"tone_hz: 10000", "tone_hz: 5"},
		{"fringing_compensated: false", ""},
		{"convention: short-circuit", "konvention: short-circuit"},
	} {
		src := bytes.Replace(New(), []byte(c.old), []byte(c.new), 1)
		if bytes.Equal(src, New()) {
			t.Fatalf("%q is not in the starting file", c.old)
		}
		if err := schema.Validate(toJSONValue(t, src)); err == nil {
			t.Errorf("%s: the schema accepts it", c.new)
		}
		if _, err := Load("x", src); err == nil {
			t.Errorf("%s: Load accepts it", c.new)
		}
	}
}

// Each broken tape says in its first lines which error it must give:
//
//	# at: 5:13
//	# says: a piece of the message
func TestBrokenTapes(t *testing.T) {
	files, err := filepath.Glob("testdata/broken/*.yaml")
	if err != nil || len(files) < 12 {
		t.Fatalf("%d broken tapes, %v", len(files), err)
	}
	seen := map[string]string{}
	for _, f := range files {
		t.Run(filepath.Base(f), func(t *testing.T) {
			src, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			var at, says string
			for _, l := range strings.Split(string(src), "\n") {
				if v, ok := strings.CutPrefix(l, "# at: "); ok {
					at = v
				}
				if v, ok := strings.CutPrefix(l, "# says: "); ok {
					says = v
				}
			}
			if at == "" || says == "" {
				t.Fatal("the file does not say what it expects")
			}
			_, err = Load(filepath.Base(f), src)
			e, ok := errors.AsType[*Error](err)
			if !ok {
				t.Fatalf("got %v, want an *Error", err)
			}
			if e.Want == "" {
				t.Errorf("%v: does not say what would be right", e)
			}
			if want := filepath.Base(f) + ":" + at + ": "; !strings.HasPrefix(e.Error(), want) || !strings.Contains(e.Error(), says) {
				t.Errorf("got  %v\nwant %s... %s ...", e, want, says)
			}
			if other, twice := seen[e.Problem]; twice {
				t.Errorf("same problem as %s: %s", other, e.Problem)
			}
			seen[e.Problem] = f
		})
	}
}

// Several wrong values are told at once.
func TestLoadTellsAll(t *testing.T) {
	src := strings.NewReplacer("speed_cm_s: 9.525", "speed_cm_s: 0", "seconds: 20", "seconds: -1", "name: silence", "name: 1 kHz").Replace(string(New()))
	_, err := Load("x.yaml", []byte(src))
	joined, ok := err.(interface{ Unwrap() []error })
	if !ok || len(joined.Unwrap()) != 3 {
		t.Fatalf("got %v, want 3 errors", err)
	}
}

func drawTape(t *rapid.T) *Tape {
	f := func(lo, hi float64, label string) float64 { return rapid.Float64Range(lo, hi).Draw(t, label) }
	name := rapid.StringMatching(`[A-Za-z0-9 "'\\:#,{}\[\]&*!|>%@µ-]{0,20}[a-z0-9]`)
	tape := &Tape{
		Format: 1, Name: name.Draw(t, "name"), SpeedCmS: f(1, 160, "speed"),
		Reference:           Reference{FluxivityNWbM: f(10, 2000, "flux"), ToneHz: f(10, 24000, "ref"), Convention: name.Draw(t, "convention")},
		EqualisationUs:      Equalisation{High: f(1, 1000, "high")},
		TrackLayout:         rapid.SampledFrom([]Layout{FullWidth, PerTrack}).Draw(t, "layout"),
		FringingCompensated: rapid.Bool().Draw(t, "fringing"),
	}
	if rapid.Bool().Draw(t, "has low") {
		tape.EqualisationUs.Low = f(1001, 20000, "low")
	}
	names := rapid.SliceOfNDistinct(name, 1, 8, rapid.ID[string]).Draw(t, "sections")
	for i, n := range names {
		s := Section{Name: n, ToneHz: f(10, 24000, "tone"), LevelDB: f(-100, 20, "level"), Seconds: f(1e-6, 3600, "seconds")}
		if i == 0 {
			s.ToneHz = tape.Reference.ToneHz
		} else if rapid.Bool().Draw(t, "silent") {
			s.ToneHz = 0
		}
		tape.Sections = append(tape.Sections, s)
	}
	return tape
}

func TestWriteThenLoad(t *testing.T) {
	schema := compileSchema(t)
	rapid.Check(t, func(rt *rapid.T) {
		tape := drawTape(rt)
		var b bytes.Buffer
		if err := tape.Write(&b); err != nil {
			rt.Fatal(err)
		}
		got, err := Load("x.yaml", b.Bytes())
		if err != nil {
			rt.Fatalf("%v\n%s", err, b.Bytes())
		}
		if diff := cmp.Diff(tape, got); diff != "" {
			rt.Fatalf("-written +read:\n%s", diff)
		}
		j, err := json.Marshal(tape)
		if err != nil {
			rt.Fatal(err)
		}
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(j))
		if err != nil {
			rt.Fatal(err)
		}
		if err := schema.Validate(v); err != nil {
			rt.Fatal(err)
		}
	})
}

func TestReferenceSection(t *testing.T) {
	tape := &Tape{Reference: Reference{ToneHz: 1000}, Sections: []Section{
		{ToneHz: 0}, {ToneHz: 1000, LevelDB: -20}, {ToneHz: 1000, LevelDB: 0}, {ToneHz: 1000, LevelDB: 0}, {ToneHz: 10000},
	}}
	if i, ok := tape.ReferenceSection(); i != 2 || !ok {
		t.Errorf("got %d %v, want 2 true", i, ok)
	}
	tape.Reference.ToneHz = 400
	if _, ok := tape.ReferenceSection(); ok {
		t.Error("found a reference section at 400 Hz in a tape without that tone")
	}
}

// Files made to be slow are refused by their shape, before the YAML library, whose
// time grows with the square of some of these counts, sees them. A file that slips
// through would hold the test up until its own time limit.
func TestFilesMadeToBeSlowAreRefused(t *testing.T) {
	for name, src := range map[string]string{
		"commas": "[" + strings.Repeat("1,", 30000), "anchors": strings.Repeat("&a ", 20000), "directives": strings.Repeat("%", 60000),
		"few commas": "[" + strings.Repeat("1,", 3999), "dashes": strings.Repeat("- ", 30000), "brackets": strings.Repeat("[", 60000),
		"comments": strings.Repeat("#\n", 30000), "keys": strings.Repeat("a: b\n", 12000), "lists": strings.Repeat("- a\n", 15000),
		"too long": strings.Repeat("#", maxFileBytes+1),
	} {
		if _, err := Load(name, []byte(src)); err == nil {
			t.Errorf("%s: loaded", name)
		}
	}
}

func FuzzLoad(f *testing.F) {
	f.Add(New())
	files, _ := filepath.Glob("testdata/broken/*.yaml")
	for _, n := range files {
		src, err := os.ReadFile(n)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(src)
	}
	for _, n := range BuiltinNames() {
		src, _ := BuiltinSource(n)
		f.Add(src)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		tape, err := Load("fuzz.yaml", data)
		if err != nil {
			if _, ok := errors.AsType[*Error](err); !ok {
				t.Fatalf("error without a place: %v", err)
			}
			return
		}
		var b bytes.Buffer
		if err := tape.Write(&b); err != nil {
			t.Fatalf("loaded but not writable: %v", err)
		}
		again, err := Load("again.yaml", b.Bytes())
		if err != nil {
			t.Fatalf("%v\n%s", err, b.Bytes())
		}
		if diff := cmp.Diff(tape, again); diff != "" {
			t.Fatal(diff)
		}
	})
}
