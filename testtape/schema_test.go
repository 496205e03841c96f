package testtape

import (
	"encoding/json"
	"slices"

	"github.com/invopop/jsonschema"
)

// generateSchema makes the JSON Schema from the Go types. The file in schema/
// is its output; a test keeps the two equal, and `go test -update` in this
// package writes it anew.
func generateSchema() ([]byte, error) {
	r := jsonschema.Reflector{ExpandedStruct: true, Anonymous: true}
	s := r.Reflect(&Tape{})
	s.ID = "urn:headstack:testtape:1"
	s.Title = "headstack test-tape description"
	b, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return nil, err
	}
	return append(b, '\n'), nil
}

// JSONSchemaExtend says what struct tags cannot: silence needs no level, and
// tones have a range with 0 outside it.
func (Section) JSONSchemaExtend(s *jsonschema.Schema) {
	optional(s, "level_db")
	if tone, ok := s.Properties.Get("tone_hz"); ok {
		tone.AnyOf = []*jsonschema.Schema{{Const: 0}, {Minimum: json.Number("10"), Maximum: json.Number("24000")}}
	}
}

// JSONSchemaExtend lets a per-track tape leave out the fringing flag.
func (Tape) JSONSchemaExtend(s *jsonschema.Schema) {
	optional(s, "fringing_compensated")
	layout := jsonschema.NewProperties()
	layout.Set("track_layout", &jsonschema.Schema{Const: string(FullWidth)})
	s.If = &jsonschema.Schema{Properties: layout}
	s.Then = &jsonschema.Schema{Required: []string{"fringing_compensated"}}
}

func optional(s *jsonschema.Schema, key string) {
	s.Required = slices.DeleteFunc(s.Required, func(k string) bool { return k == key })
}
