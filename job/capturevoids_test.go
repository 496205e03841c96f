package job

import (
	"strings"
	"testing"

	"headstack/measure"
)

// TestWithoutVoids: what a void touches is replaced by the figure beside it or refused, its
// own section and what is held against it; nothing else changes.
func TestWithoutVoids(t *testing.T) {
	at := `the same track in section "reference", stated levels allowed for`
	rep := measure.Report{
		Sections: []measure.SectionFound{{Name: "reference", Found: true, StartS: 2, EndS: 10}, {Name: "1 kHz", Found: true, StartS: 10.5, EndS: 15}, {Name: "lost"}},
		Measures: []measure.Result{
			{Name: "level", Track: 3, Section: "reference", ToneHz: 315, Value: -12.07, Lo: -12.08, Hi: -12.06, Unit: "dBFS"},
			{Name: "dropouts", Track: 3, Section: "reference", ToneHz: 315, Value: 6, Unit: "per minute"},
			{Name: "level", Track: 3, Section: "1 kHz", ToneHz: 1000, Value: -32, Lo: -32.1, Hi: -31.9, Unit: "dBFS"},
			{Name: "response", Track: 3, Section: "1 kHz", ToneHz: 1000, Value: 0.07, Unit: "dB", Reference: at},
			{Name: "response", Track: 4, Section: "1 kHz", ToneHz: 1000, Value: 0.07, Unit: "dB", Reference: at},
			{Name: "azimuth_line", Value: 1.5, Unit: "arcmin"},
			{Name: "level", Track: 4, Section: "reference", Refused: "tone absent"},
		},
		Traces: []measure.Trace{{Name: "level_time", Section: "reference"}, {Name: "level_time", Section: "1 kHz"}},
	}
	withoutVoids(&rep, []Void{{6.5, 6.8, "2646 frames are missing"}}, []measure.Result{
		{Name: "level", Track: 3, Section: "reference", ToneHz: 315, Value: -12, Lo: -12.01, Hi: -11.99, Unit: "dBFS"},
		{Name: "response", Track: 3, Section: "1 kHz", ToneHz: 1000, Value: 0, Lo: -0.01, Hi: 0.01, Unit: "dB"},
	})
	m := rep.Measures
	for i, c := range []struct {
		value         float64
		refused, says string
	}{
		{-12, "", "of the stretch beside it"}, {6, "6.50 to 6.80 s", ""}, {-32, "", ""}, {0, "", "section reference"}, {0.07, "section reference", ""}, {1.5, "", "frames are missing"}, {0, "tone absent", ""},
	} {
		warned := strings.Join(m[i].Warnings, " ")
		if m[i].Value != c.value || !strings.Contains(m[i].Refused, c.refused) || (c.refused == "") != (m[i].Refused == "") || !strings.Contains(warned, c.says) || (c.says == "") != (warned == "") {
			t.Errorf("%s of track %d, section %q: %g, refused %q, warned %q", m[i].Name, m[i].Track, m[i].Section, m[i].Value, m[i].Refused, warned)
		}
	}
	if s := rep.Sections; !s[0].Partial || !strings.Contains(s[0].Reason, "slip") || s[1].Partial || len(rep.Traces[0].Warnings) != 1 || len(rep.Traces[1].Warnings) != 0 {
		t.Errorf("sections %+v, traces %+v", s, rep.Traces)
	}
	for _, bad := range [][]Void{{{-1, 2, ""}}, {{3, 2, ""}}, make([]Void, maxVoids+1)} {
		if checkVoids(bad) == nil {
			t.Errorf("%d voids, the first %+v, were taken", len(bad), bad[0])
		}
	}
}
