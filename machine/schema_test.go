package machine_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"testing"

	"github.com/goccy/go-yaml"
	generator "github.com/invopop/jsonschema"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"headstack/machine"
)

var update = flag.Bool("update", false, "write the schema file anew")

const schemaFile = "schema/machine.schema.json"

// generate makes the schema from the Go types; the comments of machine.go become
// its descriptions.
func generate(t *testing.T) []byte {
	t.Helper()
	r := &generator.Reflector{FieldNameTag: "json"}
	if err := r.AddGoComments("headstack/machine", ".", generator.WithFullComment()); err != nil {
		t.Fatal(err)
	}
	s := r.Reflect(&machine.Definition{})
	chances(s, "shows", machine.Conditions())
	chances(s, "cured_by", machine.Cures())
	s.ID = "https://headstack.invalid/schema/machine-1.json"
	s.Title = "Recorder definition, format 1"
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(s); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// chances says of a field of a fault mode that it holds probabilities by one of words:
// there is no tag for the names of a map.
func chances(s *generator.Schema, field string, words []string) {
	p, _ := s.Definitions["FaultMode"].Properties.Get(field)
	p.PropertyNames = &generator.Schema{}
	for _, w := range words {
		p.PropertyNames.Enum = append(p.PropertyNames.Enum, w)
	}
	p.AdditionalProperties = &generator.Schema{Type: "number", Minimum: "0", Maximum: "1"}
}

func TestSchemaIsFresh(t *testing.T) {
	want := generate(t)
	if *update {
		if err := os.WriteFile(schemaFile, want, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(machine.Schema(), want) {
		t.Errorf("%s is older than the types; run go generate ./machine", schemaFile)
	}
}

// compiled is the published schema as an independent library reads it.
func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(machine.Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("machine.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("machine.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// asJSON turns YAML into the values that the schema library expects.
func asJSON(t *testing.T, data []byte) any {
	t.Helper()
	text, err := yaml.YAMLToJSON(data)
	if err != nil {
		t.Fatal(err)
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestDefinitionsFitTheSchema(t *testing.T) {
	s := compiled(t)
	for _, id := range machine.BuiltinNames() {
		data, _ := machine.BuiltinSource(id)
		if err := s.Validate(asJSON(t, data)); err != nil {
			t.Errorf("%s: %v", id, err)
		}
	}
	if err := s.Validate(asJSON(t, machine.Template())); err != nil {
		t.Errorf("template: %v", err)
	}
}

// TestSchemaRefuses makes sure that the schema test above can fail.
func TestSchemaRefuses(t *testing.T) {
	s := compiled(t)
	data, _ := machine.BuiltinSource("hexastrand")
	fault := `kind: head, faults: [{mode: intermittent, cause: "joint", weight: 1, shows: {pressed: 0.9}}],`
	data = bytes.Replace(data, []byte("kind: head,"), []byte(fault), 1)
	if err := s.Validate(asJSON(t, data)); err != nil {
		t.Fatalf("before it is broken: %v", err)
	}
	for name, change := range map[string][2]string{
		"unknown field": {"make: Quernmoor", "maker: Quernmoor"},
		"wrong type":    {"count: 6", "count: six"},
		"word list":     {"kind: cassette", "kind: casette"},
		"condition":     {"shows: {pressed: 0.9}", "shows: {presed: 0.9}"},
		"chance":        {"shows: {pressed: 0.9}", "shows: {pressed: 90}"},
	} {
		broken := bytes.Replace(data, []byte(change[0]), []byte(change[1]), 1)
		if bytes.Equal(broken, data) {
			t.Fatalf("%s: the definition no longer holds %q", name, change[0])
		}
		if s.Validate(asJSON(t, broken)) == nil {
			t.Errorf("%s: the schema accepts %q", name, change[1])
		}
	}
}
