package web

import (
	"fmt"
	"strings"
	"testing"

	"headstack/lineup"
)

// What the line-up has beside its name are the steps that are due, not all trims that the
// recorder has.
func TestLineUpCountsStepsDue(t *testing.T) {
	b, id := liningStory()
	s := newStoryServer(b)
	l, v, err := b.LineUp(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	due := 0
	for _, x := range l.Status.Steps {
		if x.State == lineup.StateDue || x.State == lineup.StateStale {
			due++
		}
	}
	if due == 0 || due >= len(v.Def.Trims)*v.Def.Tracks.Count {
		t.Fatalf("%d steps due in the story", due)
	}
	page := parse(t, get(t, s.handler(), "/jobs/"+id+"/record").Body.String()).text
	if want := fmt.Sprintf("%d %s", due, word(due, "step due", "steps due")); !strings.Contains(strings.Join(strings.Fields(page), " "), want) {
		t.Errorf("the steps of the job do not say %q", want)
	}
	// Unknown is no count.
	for _, st := range stepsOf(v, nil, nil, "") {
		if st.Name == "line up" && (!st.Dark || st.Done) {
			t.Errorf("without a line-up: %+v", st)
		}
	}
}
