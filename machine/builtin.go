package machine

import (
	"embed"
	"fmt"
	"slices"
	"strings"
	"sync"
)

//go:embed definitions/*.yaml
var definitions embed.FS

// BuiltinNames are the ids of the invented recorders that come with the
// program, sorted.
func BuiltinNames() []string {
	entries, err := definitions.ReadDir("definitions")
	if err != nil {
		panic("machine: embedded definitions: " + err.Error())
	}
	var out []string
	for _, e := range entries {
		out = append(out, strings.TrimSuffix(e.Name(), ".yaml"))
	}
	slices.Sort(out)
	return out
}

// BuiltinSource returns the YAML text of an invented recorder.
func BuiltinSource(id string) ([]byte, bool) {
	data, err := definitions.ReadFile("definitions/" + id + ".yaml")
	return data, err == nil
}

var builtins = sync.OnceValue(func() map[string]*Definition {
	m := map[string]*Definition{}
	for _, id := range BuiltinNames() {
		data, _ := BuiltinSource(id)
		d, err := Load(id+".yaml", data)
		if err != nil {
			panic(fmt.Sprintf("machine: embedded definition: %v", err))
		}
		m[id] = d
	}
	return m
})

// Builtin returns one of the invented recorders. The definition is shared: treat
// it as read-only; load [BuiltinSource] for a copy to alter.
func Builtin(id string) (*Definition, bool) {
	d, ok := builtins()[id]
	return d, ok
}
