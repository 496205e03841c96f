package machine

import _ "embed" // the schema file

//go:generate go test -run TestSchemaIsFresh -update .

//go:embed schema/machine.schema.json
var schemaJSON []byte

// Schema returns the JSON Schema (draft 2020-12) of a definition file, for
// editors that complete and check YAML while it is written. It is made from the
// Go types and their comments. It checks names, types and closed word lists;
// references, paths and units are for [Load].
func Schema() []byte {
	return append([]byte(nil), schemaJSON...)
}
