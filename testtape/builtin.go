package testtape

import (
	"embed"
	"fmt"
	"path"
	"strings"
)

//go:embed tapes/*.yaml
var tapes embed.FS

//go:embed starting.yaml
var starting []byte

//go:embed schema/testtape.schema.json
var schema []byte

// New returns a commented starting file for a tape of one's own. It loads as
// it stands.
func New() []byte { return append([]byte(nil), starting...) }

// Schema returns the JSON Schema (draft 2020-12) of a test-tape description,
// for editors. Load checks more: names that repeat, the reference section.
func Schema() []byte { return append([]byte(nil), schema...) }

// BuiltinNames lists the tapes that come with the program, sorted.
func BuiltinNames() []string {
	entries, err := tapes.ReadDir("tapes")
	if err != nil {
		panic("testtape: embedded tapes: " + err.Error())
	}
	var names []string
	for _, e := range entries {
		names = append(names, strings.TrimSuffix(e.Name(), ".yaml"))
	}
	return names
}

// Builtin returns a tape that comes with the program. The error names those
// that there are.
func Builtin(name string) (*Tape, error) {
	data, err := BuiltinSource(name)
	if err != nil {
		return nil, err
	}
	return Load(name+".yaml", data)
}

// BuiltinSource returns the YAML of a tape that comes with the program.
func BuiltinSource(name string) ([]byte, error) {
	data, err := tapes.ReadFile(path.Join("tapes", name+".yaml"))
	if err != nil {
		return nil, fmt.Errorf("no test tape %q is built in; there are %s", name, strings.Join(BuiltinNames(), ", "))
	}
	return data, nil
}
