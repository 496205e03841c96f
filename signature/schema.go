package signature

import _ "embed"

// Schema is the JSON Schema (draft 2020-12) of an [Explanation] as JSON.
//
//go:embed schema/explanation.schema.json
var Schema []byte
