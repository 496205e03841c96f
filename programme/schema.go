package programme

import _ "embed"

//go:embed schema/programme.schema.json
var schema []byte

// Schema returns the JSON Schema (draft 2020-12) of a programme file, for editors.
// [Load] checks more: what each kind of part must carry, rounds, clipping.
func Schema() []byte { return append([]byte(nil), schema...) }
