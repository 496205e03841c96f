package machine_test

import (
	"testing"

	"headstack/machine"
)

func TestBuiltins(t *testing.T) {
	for _, id := range machine.BuiltinNames() {
		data, _ := machine.BuiltinSource(id)
		d, err := machine.Load(id+".yaml", data)
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		if d.ID != id {
			t.Errorf("file %s has id %s", id, d.ID)
		}
	}
}
