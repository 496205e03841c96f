package programme

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/google/go-cmp/cmp"
	gen "github.com/invopop/jsonschema"
	jsonschema "github.com/santhosh-tekuri/jsonschema/v6"
)

var update = flag.Bool("update", false, "write generated files anew")

// generateSchema makes the JSON Schema from the Go types. The file in schema/ is its
// output; a test keeps the two equal, and `go test -update` in this package writes it
// anew.
func generateSchema() ([]byte, error) {
	r := gen.Reflector{ExpandedStruct: true, Anonymous: true}
	s := r.Reflect(&Programme{})
	s.ID = "urn:headstack:programme:1"
	s.Title = "headstack record programme"
	b, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return nil, err
	}
	return append(b, '\n'), nil
}

// JSONSchemaExtend lists the kinds.
func (Part) JSONSchemaExtend(s *gen.Schema) {
	kind, _ := s.Properties.Get("kind")
	for _, k := range Kinds() {
		kind.Enum = append(kind.Enum, string(k))
	}
}

func TestSchemaIsFresh(t *testing.T) {
	want, err := generateSchema()
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile("schema/programme.schema.json", want, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if diff := cmp.Diff(string(want), string(Schema())); diff != "" {
		t.Errorf("schema/programme.schema.json is stale, run go test -update (-want +got):\n%s", diff)
	}
}

func compileSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("programme.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("programme.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func meets(t *testing.T, s *jsonschema.Schema, data []byte) error {
	t.Helper()
	j, err := yaml.YAMLToJSON(data)
	if err != nil {
		t.Fatal(err)
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(j))
	if err != nil {
		t.Fatal(err)
	}
	return s.Validate(v)
}

// What the schema says and what Load says must agree: on every standard programme, and
// on simple mistakes.
func TestSchemaAgrees(t *testing.T) {
	schema := compileSchema(t)
	good, err := standard(t, Options{Tracks: 3, SpeedCmS: 9.525, Kinds: Kinds(), TracksPerRound: 2}).Encode()
	if err != nil {
		t.Fatal(err)
	}
	if err := meets(t, schema, good); err != nil {
		t.Error(err)
	}
	for _, c := range []struct{ old, new string }{
		{"programme: 1", "programme: 2"},
		{"tracks: 3", "tracks: 33"},
		{"speed_cm_s: 9.525", "speed_cm_s: 0.1"},
		{"kind: comb", "kind: combs"},
		{"seconds: 12", "seconds: -12"},
		{"reference_dbfs: -12", "reference_dbfs: 3"},
		{"hz: 6300", "hz: 63000"},
		{"level_db: -20", "level: -20"},
		{"reference_hz: 315", ""},
	} {
		bad := bytes.Replace(good, []byte(c.old), []byte(c.new), 1)
		if bytes.Equal(bad, good) {
			t.Fatalf("%q is not in the programme", c.old)
		}
		if meets(t, schema, bad) == nil {
			t.Errorf("%s: the schema accepts it", c.new)
		}
		if _, err := Load("x", bad); err == nil {
			t.Errorf("%s: Load accepts it", c.new)
		}
	}
}
