package machine_test

import (
	"testing"

	"headstack/machine"
)

func builtin(t *testing.T, id string) *machine.Definition {
	t.Helper()
	data, ok := machine.BuiltinSource(id)
	if !ok {
		t.Fatalf("no embedded definition %s", id)
	}
	d, err := machine.Load(id+".yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestBuiltinsLintClean(t *testing.T) {
	for _, id := range machine.BuiltinNames() {
		d := builtin(t, id)
		if d.ID != id {
			t.Errorf("file %s has id %s", id, d.ID)
		}
		for _, f := range d.Lint() {
			t.Errorf("%s: %v", id, f)
		}
	}
}
