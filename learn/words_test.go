package learn_test

import (
	"strings"
	"testing"

	"headstack/learn"
)

func TestWords(t *testing.T) {
	d := hexastrand(t)
	c := learn.Count(d, learn.Closed{Faults: []learn.Fault{{Stage: "C31", Key: "a", Cause: "open", Proven: true, Work: "repair"}},
		Minutes: learn.Minutes{Repairs: map[string]map[string]learn.Log{"coupling-capacitor": {"open": learn.LogOf(30)}}, Down: map[string]learn.Log{"lid": learn.LogOf(9)}}})
	l := learn.Learn(d, c)
	var lines []string
	for _, x := range l.Largest(5) {
		lines = append(lines, strings.ReplaceAll(x.Text(d), "\u2009", " "))
	}
	text := strings.Join(lines, "\n")
	for _, want := range []string{
		`One C31 encoder coupling capacitor is faulty on an untouched machine with 3.3 % (95 %: 0.21 % to 10 %), not 1 %: 1 of 2 were at fault.`,
		`Of the faults of C31 encoder coupling capacitor, "open" is 32 %`,
		`Curing "open" at C11 coupling capacitor and its like takes 17 min (`,
		`Opening lid takes `,
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if strings.Contains(text, "dried out") {
		t.Errorf("causes that only made room:\n%s", text)
	}
	if got := c.FamilyText("coupling-capacitor"); !strings.HasPrefix(got, "coupling-capacitor: 1 of ") || !strings.HasSuffix(got, " expected") {
		t.Error(got)
	}
	if got := c.FamilyText("pot"); got != "" && !strings.HasPrefix(got, "pot: none of ") {
		t.Error(got)
	}
}
