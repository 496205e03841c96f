package machine

import _ "embed" // the starting file

//go:embed template.yaml
var templateYAML []byte

// Template returns the commented starting file that "headstack machine new"
// writes: a small complete definition that loads, with what each part is for.
// Its lint findings are hints about what is left to fill in.
func Template() []byte {
	return append([]byte(nil), templateYAML...)
}
