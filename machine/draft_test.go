package machine_test

import (
	"reflect"
	"strings"
	"testing"

	"headstack/machine"
)

func draft(t *testing.T, text []byte) *machine.Draft {
	t.Helper()
	d, err := machine.ParseDraft("draft.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// changedLines counts the lines of a that b lacks and the other way round.
func changedLines(a, b []byte) (lost, new int) {
	n := map[string]int{}
	for l := range strings.Lines(string(a)) {
		n[l]++
	}
	for l := range strings.Lines(string(b)) {
		n[l]--
	}
	for _, k := range n {
		lost, new = lost+max(0, k), new+max(0, -k)
	}
	return lost, new
}

// TestDraftTouchesItsLinesOnly changes each list of the definitions that come with
// the program and of the starting file, and counts the lines that differ.
func TestDraftTouchesItsLinesOnly(t *testing.T) {
	texts := map[string][]byte{"template": machine.Template()}
	for _, id := range machine.BuiltinNames() {
		texts[id], _ = machine.BuiltinSource(id)
	}
	for name, text := range texts {
		d := draft(t, text)
		for _, list := range []string{"speeds", "heads", "boards", "connectors", "stages", "functions", "test_points", "trims", "controls", "openings"} {
			items := d.Items(list)
			if len(items) == 0 {
				t.Fatalf("%s has no %s", name, list)
			}
			last := len(items) - 1
			words := "id"
			if list == "speeds" {
				words = "tolerance_percent"
			}
			value := machine.Value(machine.Text("other-word"))
			if list == "speeds" {
				value = machine.Plain("2.25")
			}
			next, err := d.Put(list, last, items[last].With(words, value))
			if err != nil {
				t.Fatalf("%s %s: %v", name, list, err)
			}
			if lost, new := changedLines(text, next.Text()); lost != 1 || new != 1 {
				t.Errorf("%s %s: a word changed, and %d lines went and %d came", name, list, lost, new)
			}
			back, err := next.Put(list, last, items[last])
			if err != nil {
				t.Fatal(err)
			}
			if string(back.Text()) != string(text) && list != "speeds" {
				if lost, new := changedLines(text, back.Text()); lost > 1 || new > 1 {
					t.Errorf("%s %s: changed back, %d lines differ", name, list, lost)
				}
			}
			longer, err := d.Put(list, last+1, items[last])
			if err != nil {
				t.Fatalf("%s %s: %v", name, list, err)
			}
			if lost, _ := changedLines(text, longer.Text()); lost != 0 || len(longer.Items(list)) != last+2 {
				t.Errorf("%s %s: an item came, %d lines went", name, list, lost)
			}
			shorter, err := longer.Remove(list, last+1)
			if err != nil || string(shorter.Text()) != string(text) {
				t.Errorf("%s %s: an item came and went, and the text is another (%v)", name, list, err)
			}
			if last == 0 {
				continue
			}
			moved, err := d.Move(list, last, -1)
			if err != nil {
				t.Fatalf("%s %s: %v", name, list, err)
			}
			if lost, new := changedLines(text, moved.Text()); lost+new != 0 || !reflect.DeepEqual(moved.Items(list)[last-1], items[last]) {
				t.Errorf("%s %s: moved, and %d lines went and %d came", name, list, lost, new)
			}
		}
	}
}

// TestDraftKeepsComments changes the shape of an item with a comment inside.
func TestDraftKeepsComments(t *testing.T) {
	d := draft(t, []byte("machine: 1\n# of stages\nstages:\n  # first\n  - id: A # here\n    name: \"a: b\"\n  # second\n  - {id: B, name: +5}\n# of functions\nfunctions: []\n"))
	next, err := d.Put("stages", 0, d.Items("stages")[0].With("each", machine.Text("track")))
	if err != nil {
		t.Fatal(err)
	}
	want := "machine: 1\n# of stages\nstages:\n  # first\n  # here\n  - {id: A, name: \"a: b\", each: track}\n  # second\n  - {id: B, name: +5}\n# of functions\nfunctions: []\n"
	if string(next.Text()) != want {
		t.Errorf("%s", next.Text())
	}
	next, err = next.Put("functions", 0, machine.Fields{{Key: "id", Value: machine.Text("yes")}, {Key: "through", Value: machine.List{machine.Text("@play"), machine.Text("1")}}})
	if err != nil || !strings.HasSuffix(string(next.Text()), "functions:\n  - {id: \"yes\", through: [\"@play\", \"1\"]}\n") {
		t.Errorf("%v\n%s", err, next.Text())
	}
	if _, err := machine.ParseDraft("x", []byte("a: [")); err == nil || !strings.Contains(err.Error(), "x:1:") {
		t.Errorf("an open bracket: %v", err)
	}
	if _, err := d.Put("stages", 7, nil); err == nil {
		t.Error("an item beyond the end was put")
	}
}

// TestUsualFaultsWrittenOut holds that a kind's faults, written into a definition,
// load to what they were.
func TestUsualFaultsWrittenOut(t *testing.T) {
	for _, kind := range machine.Kinds() {
		_, modes := machine.UsualFaults(kind)
		for _, f := range machine.Families() {
			m, err := machine.Family(f, "a cause: "+f, "a cure", 7)
			if err != nil {
				t.Fatal(err)
			}
			modes = append(modes, m)
		}
		list := machine.List{}
		for _, m := range modes {
			list = append(list, m.Fields())
		}
		d := draft(t, machine.Template())
		d, err := d.Put("stages", 0, d.Items("stages")[0].With("faults", list))
		if err != nil {
			t.Fatalf("%s: %v", kind, err)
		}
		def, err := machine.Load("draft.yaml", d.Text())
		if err != nil {
			t.Fatalf("%s: %v", kind, err)
		}
		if !reflect.DeepEqual(def.Stages[0].Faults, modes) {
			t.Errorf("%s: %+v became %+v", kind, modes, def.Stages[0].Faults)
		}
	}
	if _, err := machine.Family("dul", "", "", 0); err == nil || !strings.Contains(err.Error(), "dull") {
		t.Errorf("dul: %v", err)
	}
}

func TestSketch(t *testing.T) {
	d := machine.Sketch([]byte("machine: 1\ntracks: {count: 4}\nstages:\n  - {id: H, part: \"H-{track}\", each: track}\nfunctions:\n  - {id: play, each: track, through: [H, X]}\n"))
	if d == nil || len(d.ReplicaKeys("track")) != 4 || d.Stages[0].ID != "H" {
		t.Fatalf("%+v", d)
	}
	if _, err := d.Path("play", "1"); err == nil {
		t.Error("a path over an undefined stage resolved")
	}
	if d := machine.Sketch([]byte("tracks: {count: 2000000000}")); len(d.ReplicaKeys("track")) != 0 {
		t.Error("two thousand million tracks")
	}
	if machine.Sketch([]byte("a: [")) != nil {
		t.Error("a sketch of what is no YAML")
	}
}

// TestDraftFieldsInOrder adds fields at the top in the order of need and finds them in
// the order of the format.
func TestDraftFieldsInOrder(t *testing.T) {
	d := draft(t, []byte("machine: 1\n# what turns\nheads: []\n"))
	for _, f := range []string{"stages", "name", "id"} {
		var err error
		if d, err = d.Set(f, machine.Text("x")); err != nil {
			t.Fatal(err)
		}
	}
	if want := "machine: 1\nid: x\nname: x\n# what turns\nheads: []\nstages: x\n"; string(d.Text()) != want {
		t.Errorf("%s", d.Text())
	}
}
