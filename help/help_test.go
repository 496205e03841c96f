package help_test

import (
	"strings"
	"testing"

	"headstack/help"
	"headstack/machine"
	"headstack/measure"
)

// Every measure that a page can show, and every standard caution, is explained.
func TestNothingIsLeftUnexplained(t *testing.T) {
	var names []string
	for _, h := range measure.Headings() {
		names = append(names, h.Name)
	}
	for _, c := range machine.StandardCautions() {
		names = append(names, "caution: "+c)
	}
	for _, n := range names {
		if _, ok := help.Of(n); !ok {
			t.Errorf("%s is not explained", n)
		}
	}
	if len(names) < 50 {
		t.Errorf("only %d measures and cautions were asked for", len(names))
	}
}

// Each entry is whole, stands once, and leads from nothing that does not exist.
func TestEntriesAreWhole(t *testing.T) {
	ids, of := map[string]bool{}, map[string]bool{}
	known := map[string]bool{}
	for _, h := range measure.Headings() {
		known[h.Name] = true
	}
	for _, c := range machine.StandardCautions() {
		known["caution: "+c] = true
	}
	for _, e := range help.Entries() {
		if e.ID == "" || e.Title == "" || e.Text == "" || e.Source == "" || len(e.Of) == 0 || ids[e.ID] {
			t.Errorf("%q is not whole, or stands twice: %+v", e.ID, e)
		}
		ids[e.ID] = true
		measured := false
		for _, n := range e.Of {
			measured = measured || !strings.HasPrefix(n, "caution: ")
			if of[n] || !known[n] && !strings.HasPrefix(n, "test: ") {
				t.Errorf("%s: %q leads here twice or from nowhere", e.ID, n)
			}
			of[n] = true
		}
		if measured && e.Formula == "" {
			t.Errorf("%s has no formula", e.ID)
		}
		if got, ok := help.ByID(e.ID); !ok || got.Title != e.Title {
			t.Errorf("%s is not found by its id", e.ID)
		}
		if strings.ContainsAny(e.Text, "!") || len(e.Text) > 600 {
			t.Errorf("%s: the text is long or shouts", e.ID)
		}
	}
	if _, ok := help.ByID("nothing"); ok {
		t.Error("found what is not there")
	}
}
