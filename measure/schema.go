package measure

import _ "embed"

// Schema is the JSON Schema (draft 2020-12) of a [Report] as JSON.
//
//go:embed schema/report.schema.json
var Schema []byte
