package plot_test

import (
	"testing"

	"headstack/measure"
	"headstack/plot"
)

func TestReportOfDrawsWhatThereIs(t *testing.T) {
	if got := plot.ReportOf(measure.Report{}, nil, "", plot.Options{}); len(got) != 0 {
		t.Errorf("an empty report has %d pictures", len(got))
	}
	course := func(name, section string) measure.Trace {
		return measure.Trace{Name: name, Section: section, Track: 1, X: measure.Axis{Label: "time", Unit: "s"}, Y: measure.Axis{Label: "y", Unit: "%"},
			Points: []measure.Point{{X: 1, Y: 1, Lo: 1, Hi: 1}, {X: 2, Y: 2, Lo: 2, Hi: 2}}}
	}
	rep := measure.Report{
		Measures: []measure.Result{
			{Name: "response", Track: 1, ToneHz: 1000, Value: 1, Lo: 0, Hi: 2, Unit: "dB"},
			{Name: "crosstalk", Track: 1, TrackB: 2, ToneHz: 1000, Refused: "below -80 dB"},
		},
		Traces: []measure.Trace{course("level_time", "10 kHz, high"), course("speed", "3150 Hz"), course("level_time", "1 kHz"), {Name: "staircase", Track: 1}},
	}
	var names []string
	ids := map[string]bool{}
	for _, n := range plot.ReportOf(rep, nil, "c3-", plot.Options{}) {
		names = append(names, n.Name)
		if w, h := n.Size(); w <= 0 || h <= 0 || ids[n.Name] {
			t.Errorf("%s: %g by %g, or twice", n.Name, w, h)
		}
		ids[n.Name] = true
	}
	want := []string{"response", "speed", "level-10-kHz-high", "level-1-kHz"}
	if len(names) != len(want) {
		t.Fatalf("pictures %q, want %q", names, want)
	}
	for i := range want {
		if names[i] != want[i] {
			t.Errorf("picture %d is %q, want %q", i, names[i], want[i])
		}
	}
}
