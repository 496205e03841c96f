package machine_test

import (
	"os"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"headstack/machine"
)

func TestACloneIsChangedAlone(t *testing.T) {
	d, _ := machine.Builtin("hexastrand")
	fresh, _ := machine.Builtin("hexastrand")
	c := d.Clone()
	alike := cmpopts.IgnoreUnexported(machine.Definition{})
	if diff := cmp.Diff(d, c, alike); diff != "" {
		t.Fatalf("a clone differs (-want +got):\n%s", diff)
	}
	for i := range c.Stages {
		c.Stages[i].Prior = 0.123
		for k := range c.Stages[i].Faults {
			c.Stages[i].Faults[k].Weight = 77
		}
	}
	c.Functions[0].CheckMinutes, c.TestPoints[0].Minutes, c.Openings[0].DownMin = 99, 99, 99
	if diff := cmp.Diff(fresh, d, alike); diff != "" {
		t.Errorf("changing the clone changed the original:\n%s", diff)
	}
	// What is looked up by id is the clone's own.
	for i := range c.Stages {
		if s, ok := c.Stage(c.Stages[i].ID); !ok || s != &c.Stages[i] {
			t.Fatalf("stage %s is looked up elsewhere", c.Stages[i].ID)
		}
	}
	path, err := c.Path(c.Functions[0].ID, c.ReplicaKeys(c.Functions[0].Each)[0])
	if err != nil || path[0].Stage.Prior != 0.123 {
		t.Errorf("a path goes through %+v (%v), not through the clone's stages", path[0].Stage, err)
	}
}

func TestPriorWeight(t *testing.T) {
	d, _ := machine.Builtin("hexastrand")
	if got := d.Weight(); got != machine.DefaultPriorWeight {
		t.Errorf("without prior_weight it is %g", got)
	}
	small, err := os.ReadFile("testdata/small.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for text, ok := range map[string]bool{"1": true, "7.5": true, "10000": true, "0.5": false, "-3": false, "10001": false, ".nan": false} {
		yaml := append([]byte("prior_weight: "+text+"\n"), small...)
		d, err := machine.Load("x.yaml", yaml)
		if (err == nil) != ok {
			t.Errorf("prior_weight %s: %v", text, err)
		}
		if text == "7.5" && err == nil && d.Weight() != 7.5 {
			t.Errorf("prior_weight 7.5 became %g", d.Weight())
		}
	}
}
