// Package help holds what each measure, test and caution of the pages means: a few lines,
// the formula and the source. It is data in one file, so that every way in says the same.
package help

import (
	_ "embed" // the texts
	"fmt"
	"sync"

	"github.com/goccy/go-yaml"
)

// Entry explains one thing, or several that are read alike.
type Entry struct {
	ID      string   `yaml:"id"`
	Title   string   `yaml:"title"`
	Of      []string `yaml:"of"` // names that lead here: a measure, "caution: NAME" or "test: NAME"
	Text    string   `yaml:"text"`
	Formula string   `yaml:"formula"` // empty where there is none
	Source  string   `yaml:"source"`
}

//go:embed help.yaml
var source []byte

// load reads the texts once. They are part of the program: a slip in them is found by the
// package's own test and ends it here.
var load = sync.OnceValue(func() (list []Entry) {
	if err := yaml.UnmarshalWithOptions(source, &list, yaml.Strict()); err != nil {
		panic(fmt.Sprintf("help: %v", err))
	}
	return list
})

var index = sync.OnceValues(func() (ids, names map[string]*Entry) {
	ids, names = map[string]*Entry{}, map[string]*Entry{}
	list := load()
	for i := range list {
		ids[list[i].ID] = &list[i]
		for _, n := range list[i].Of {
			names[n] = &list[i]
		}
	}
	return ids, names
})

// Entries lists all, in the order of the file: measures, tests, cautions.
func Entries() []Entry { return append([]Entry(nil), load()...) }

// ByID is the entry with an id.
func ByID(id string) (Entry, bool) {
	ids, _ := index()
	return found(ids[id])
}

// Of is the entry of a measure, by its name in the JSON contract, of a standard caution by
// "caution: " and its name, or of a test by "test: " and its name.
func Of(name string) (Entry, bool) {
	_, names := index()
	return found(names[name])
}

func found(e *Entry) (Entry, bool) {
	if e == nil {
		return Entry{}, false
	}
	return *e, true
}
