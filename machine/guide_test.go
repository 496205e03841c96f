package machine_test

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"headstack/machine"
)

// TestGuide keeps the guide for technicians in step with the code: its lists of
// words are complete and its example loads.
func TestGuide(t *testing.T) {
	data, err := os.ReadFile("../doc/WRITING-A-DEFINITION.md")
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	words := func(heading string) []string {
		_, rest, ok := strings.Cut(text, heading)
		if !ok {
			t.Fatalf("no %q", heading)
		}
		para, _, _ := strings.Cut(strings.TrimSpace(rest), ".")
		return strings.Split(strings.Join(strings.Fields(para), " "), ", ")
	}
	if got := words("## Kinds of stage"); !slices.Equal(got, machine.Kinds()) {
		t.Errorf("kinds: %q\nwant  %q", got, machine.Kinds())
	}
	if got := words("## Measures a trim can set"); !slices.Equal(got, machine.Measures()) {
		t.Errorf("measures: %q\nwant     %q", got, machine.Measures())
	}
	for _, name := range regexp.MustCompile("`([a-z-]+)`[,;]").FindAllStringSubmatch(part(text, "9. **Cautions**", "a sentence is taken"), -1) {
		if _, ok := machine.StandardCaution(name[1]); !ok {
			t.Errorf("no standard caution %s", name[1])
		}
	}
	example := part(text, "```yaml\nstages:", "```\n\nIf TP10-3")
	small, err := os.ReadFile("testdata/small.yaml")
	if err != nil {
		t.Fatal(err)
	}
	head, _, _ := strings.Cut(string(small), "stages:")
	head = strings.NewReplacer("MAIN", "Tape", "LID", "Collar").Replace(head)
	example = strings.TrimPrefix(example, "```yaml\n") + "trims: []\ncontrols: []\nopenings:\n  - {id: lid, name: lid, from: closed, down_minutes: 1, up_minutes: 1, case: open}\n"
	if _, err := machine.Load("guide.yaml", []byte(head+example)); err != nil {
		t.Errorf("the example: %v", err)
	}
}

// part is the text from one phrase up to another.
func part(text, from, to string) string {
	i := strings.Index(text, from)
	if i < 0 {
		return ""
	}
	j := strings.Index(text[i:], to)
	if j < 0 {
		return ""
	}
	return text[i : i+j]
}
