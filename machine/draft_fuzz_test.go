package machine_test

import (
	"bytes"
	"strings"
	"testing"

	"headstack/machine"
)

// FuzzDraft changes one word of a draft that somebody typed: it stands there afterwards, the
// draft can be read again, and changed back it says what it said. A draft that cannot be read
// is refused in words.
func FuzzDraft(f *testing.F) {
	f.Add(machine.Template(), "stages", 0, "name", "other: word # not a comment")
	f.Add([]byte("machine: 1\nstages: []\ntrims:\n  - id: a # first\n    name: b\n"), "trims", 0, "name", "'\"\\\n\t")
	f.Add([]byte("{machine: 1, stages: [{id: a}]}"), "stages", 1, "id", "")
	f.Add([]byte("a: &x [*x]\n"), "a", -1, "id", "\x00")
	f.Fuzz(func(t *testing.T, text []byte, list string, i int, key, value string) {
		d, err := machine.ParseDraft("fuzz.yaml", text)
		if err != nil {
			if !strings.Contains(err.Error(), "fuzz.yaml") {
				t.Fatalf("the error does not name the file: %v", err)
			}
			return
		}
		machine.Sketch(text) // of what stands, as far as it goes
		items := d.Items(list)
		if i < 0 || i >= len(items) {
			return
		}
		before := items[i]
		next, err := d.Put(list, i, before.With(key, machine.Text(value)))
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an error without words")
			}
			return
		}
		if _, err := machine.ParseDraft("again.yaml", next.Text()); err != nil {
			t.Fatalf("what was written cannot be read: %v\n%s", err, next.Text())
		}
		if same, err := machine.ParseDraft("same.yaml", d.Text()); err != nil || !bytes.Equal(d.Text(), same.Text()) {
			t.Fatalf("a draft read again is another one (%v)", err)
		}
		if back, err := next.Put(list, i, before); err == nil && len(back.Items(list)) != len(items) {
			t.Fatalf("%d items, then %d", len(items), len(back.Items(list)))
		}
	})
}
