package web

import (
	"fmt"
	"strings"
	"testing"

	"headstack/job"
	"headstack/trim"
)

// Every entry of a line-up is put right on its page of the record: the form holds what it says,
// the new one stands in its place, and what is refused stands in the form again.
func TestEntriesOfTheLineUpAreCorrected(t *testing.T) {
	b, id := liningStory()
	s := newStoryServer(b)
	last := func() job.Entry { v := must(b.View(t.Context(), id)); return v.Entries[len(v.Entries)-1] }
	for _, c := range []struct {
		name  string
		entry job.Entry
		shown []string // in the form
		typed []string
		right func(e job.Entry) bool
		wrong []string // refused
	}{
		{"figure", job.Entry{Figure: &job.Figure{Step: "level/VRa/3", Value: 16.5, Unit: "dB", Half: 0.2, Instrument: "meter B"}},
			[]string{`value="16.5 dB"`, `value="0.2 dB"`, `value="meter B"`}, []string{"figure", "1,65", "half", "±0.1", "instrument", "meter C"},
			func(e job.Entry) bool {
				return *e.Figure == job.Figure{Step: "level/VRa/3", Value: 1.65, Unit: "dB", Half: 0.1, Instrument: "meter C"}
			},
			[]string{"figure", "loud"}},
		{"turn", job.Entry{Turn: &job.Turn{Trim: "VRa", Key: "3", By: 300, Unit: trim.Degrees}},
			[]string{`value="300°"`, `value="clockwise" selected`}, []string{"by", "30", "way", "anticlockwise", "stopped", "1"},
			func(e job.Entry) bool {
				return *e.Turn == job.Turn{Trim: "VRa", Key: "3", By: -30, Unit: trim.Degrees, Stopped: true}
			},
			[]string{"by", "far", "way", "clockwise"}},
		{"gate", job.Entry{Gate: &job.Gate{Step: "warm"}}, []string{"it holds no longer"}, []string{"lost", "1"},
			func(e job.Entry) bool { return *e.Gate == job.Gate{Step: "warm", Lost: true} }, nil},
		{"sign-off", job.Entry{SignOff: &job.SignOff{Step: "level/VRa/5", Reason: "its meter is wom", By: "JB"}},
			[]string{`value="its meter is wom"`, `value="JB"`}, []string{"reason", "its meter is worn", "initials", "JB"},
			func(e job.Entry) bool {
				return *e.SignOff == job.SignOff{Step: "level/VRa/5", Reason: "its meter is worn", By: "JB"}
			},
			[]string{"reason", " "}},
		{"soak", job.Entry{Soak: &job.Soak{AtMinutes: 30, Measure: "level", Track: 3, Value: -2, Unit: "dB"}},
			[]string{`value="30"`, `value="-2 dB"`}, []string{"at", "40", "figure", "−0,2"},
			func(e job.Entry) bool { return e.Soak.AtMinutes == 40 && e.Soak.Value == -0.2 && e.Soak.Track == 3 },
			[]string{"at", "soon", "figure", "1"}},
	} {
		e, err := b.Record(t.Context(), id, c.entry)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		path := fmt.Sprintf("/jobs/%s/entries/%d", id, e.Seq)
		page := get(t, s.handler(), path)
		for _, want := range c.shown {
			if page.Code != 200 || !strings.Contains(page.Body.String(), want) {
				t.Errorf("%s: %d, no %s in the form", c.name, page.Code, want)
			}
		}
		if c.wrong != nil {
			if w := send(t, s, path, c.wrong...); w.Code != 422 || !strings.Contains(w.Body.String(), `value="`+c.wrong[1]+`"`) {
				t.Errorf("%s: %q gives %d", c.name, c.wrong, w.Code)
			}
		}
		if w := send(t, s, path, c.typed...); w.Code != 303 {
			t.Errorf("%s: correcting %d: %.300s", c.name, w.Code, parse(t, w.Body.String()).text)
		}
		if got := last(); got.Corrects != e.Seq || got.Kind != e.Kind || !c.right(got) {
			t.Errorf("%s: corrected to %+v, in place of %d", c.name, got.LineUpWords(), got.Corrects)
		}
	}
}
