package report_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"headstack/job"
	"headstack/measure"
	"headstack/report"
)

// recording is a hand-made report of a record programme's replay: tracks 1 and 2 swapped,
// track 3 reversed, crosstalk at two tones.
func recording() measure.Report {
	db := func(name string, track, trackB int, section string, hz, v float64) measure.Result {
		return measure.Result{Name: name, Track: track, TrackB: trackB, Section: section, ToneHz: hz, Value: v, Lo: v - 0.1, Hi: v + 0.1, Unit: "dB", Reference: "the track's own level"}
	}
	rep := measure.Report{Measures: []measure.Result{
		db("noise_a", 1, 0, "silence", 0, -58), db("response", 1, 0, "comb", 1000, 0.2),
		db("crosstalk", 1, 2, "track 1 alone", 10000, -41.26), db("crosstalk", 1, 2, "track 1 alone", 1000, -62.3), db("crosstalk", 2, 1, "track 2 alone", 1000, -60),
		{Name: "crosstalk", Track: 2, TrackB: 3, Section: "track 2 alone", ToneHz: 1000, Unit: "dB", Refused: "no crosstalk found: below -87.1 dB (95 %), which is the noise"},
		{Name: "crosstalk", Track: 1, TrackB: 3, Section: "track 1 alone", ToneHz: 1000, Unit: "dB", Refused: "no crosstalk found: below -92.4 dB (95 %), which is the noise"},
		{Name: "crosstalk", Track: 3, TrackB: 1, Section: "track 3 alone", ToneHz: 1000, Unit: "dB", Refused: "track 3 is silent where it should carry the tone"},
		db("harmonic_3", 1, 0, "level step -2 dB", 315, -50), db("harmonic_3", 1, 0, "level step +2 dB", 315, -44), db("harmonic_3", 1, 0, "level step +10 dB", 315, -30),
		db("own_measure", 1, 0, "", 0, 1),
	}}
	for track, heard := range []int{2, 1, 3} {
		id := measure.Result{Name: "identity", Track: track + 1, Section: "identity", Value: float64(heard), Lo: float64(heard), Hi: float64(heard), Unit: "track"}
		if heard != track+1 {
			id.Warnings = []string{"this channel carries another track"}
		}
		pol := measure.Result{Name: "polarity", Track: track + 1, Section: "identity", Value: 1, Lo: 1, Hi: 1}
		if track == 2 {
			pol.Value, pol.Lo, pol.Hi, pol.Warnings = -1, -1, -1, []string{"polarity reversed"}
		}
		rep.Measures = append(rep.Measures, id, pol)
	}
	course := func(name, section string, track int, warnings ...string) measure.Trace {
		return measure.Trace{Name: name, Section: section, Track: track, X: measure.Axis{Label: "time", Unit: "s"}, Y: measure.Axis{Label: "deviation", Unit: "%"}, Warnings: warnings,
			Points: []measure.Point{{X: 1, Y: 0.1, Lo: 0.1, Hi: 0.1}, {X: 2, Y: -0.1, Lo: -0.1, Hi: -0.1}}}
	}
	rep.Traces = []measure.Trace{course("speed", "speed tone", 0, "the tone was lost for 0.4 s"), course("level_time", "level step -2 dB", 1), course("level_time", "level step +2 dB", 1)}
	return rep
}

// TestChaptersHoldEveryMeasureInOrder: each measure of the contract has its chapter, and
// reading chapter after chapter is reading the common order.
func TestChaptersHoldEveryMeasureInOrder(t *testing.T) {
	var rep measure.Report
	var want []string
	for _, h := range slices.Backward(measure.Headings()) {
		rep.Measures = append(rep.Measures, measure.Result{Name: h.Name, Track: 1, Refused: "not asked"})
	}
	for _, h := range measure.Headings() {
		want = append(want, h.Name)
	}
	var got []string
	for _, c := range report.Chapters(rep, nil, "") {
		if c.ID == "other" {
			t.Errorf("measures without a chapter: %+v", c.Tables)
		}
		for _, table := range c.Tables {
			got = append(got, table.Measures...)
			for i, name := range table.Measures {
				title := measure.HeadingOf(name).Title
				if len(table.Measures) > 1 && table.Columns[i] != title || len(table.Measures) == 1 && table.Title != title && !table.Matrix {
					t.Errorf("%s is titled %q in %q", name, table.Title, table.Columns)
				}
			}
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("order\n%q, want\n%q", got, want)
	}
}

func TestIdentityComesFirstWithItsDoubts(t *testing.T) {
	cs := report.Chapters(recording(), nil, "x-")
	first := cs[0]
	if want := []string{"Track 1: this channel carries another track", "Track 2: this channel carries another track", "Track 3: polarity reversed"}; first.ID != "identity" || !slices.Equal(first.Doubts, want) {
		t.Errorf("first chapter %q with %q", first.ID, first.Doubts)
	}
	var cells []string
	for _, table := range first.Tables {
		for _, row := range table.Rows {
			for _, c := range row.Cells {
				cells = append(cells, c.Value+strings.Join(c.Notes, ""))
			}
		}
	}
	if got := strings.Join(cells, ", "); got != "track 2a, upright, track 1a, upright, track 3, reversedb" {
		t.Errorf("cells %q", got)
	}
	if notes := first.Tables[0].Notes; len(notes) != 2 || notes[0].Text != "this channel carries another track" || notes[1].Text != "polarity reversed" {
		t.Errorf("notes %+v", notes)
	}
	for _, c := range cs {
		if c.ID == "speed" && !slices.Equal(c.Doubts, []string{"Speed of speed tone: the tone was lost for 0.4 s"}) {
			t.Errorf("warnings of courses: %q", c.Doubts)
		}
	}
	if cs[len(cs)-1].ID != "other" || cs[len(cs)-1].Tables[0].Title != "Own measure" {
		t.Errorf("a measure of no chapter is in %q", cs[len(cs)-1].ID)
	}
}

// TestPicturesHaveIdsOfTheirOwn: section names may differ in a sign only.
func TestPicturesHaveIdsOfTheirOwn(t *testing.T) {
	seen := map[string]bool{}
	over := 0
	for _, c := range report.Chapters(recording(), nil, "x-") {
		for _, p := range c.Pictures {
			over += map[bool]int{true: 1}[p.Over]
			if p.Over && p.Of != []string{"", "level step -2 dB", "level step +2 dB"}[over] {
				t.Errorf("picture %d is of %q", over, p.Of)
			}
			for _, part := range strings.Split(string(p.SVG), ` id="`)[1:] {
				id, _, _ := strings.Cut(part, `"`)
				if seen[id] || !strings.HasPrefix(id, "x-") {
					t.Errorf("id %q stands twice, or has no prefix", id)
				}
				if seen[id] = true; !strings.HasPrefix(id, p.ID) {
					t.Errorf("id %q in the picture %q", id, p.ID)
				}
			}
		}
	}
	if over != 2 {
		t.Errorf("%d levels against time, want 2", over)
	}
}

func TestCrosstalkIsAMatrix(t *testing.T) {
	tables := slices.DeleteFunc(report.Tables(recording().Measures), func(x report.Table) bool { return x.Name != "crosstalk" })
	if len(tables) != 2 || tables[0].Title != "Crosstalk at 1\u2009kHz" || tables[1].Title != "Crosstalk at 10\u2009kHz" {
		t.Fatalf("tables %+v", tables)
	}
	x := tables[0]
	if got := strings.Join(x.Columns, "|"); got != "into 1|into 2|into 3" || len(x.Rows) != 3 {
		t.Errorf("columns %q, %d rows", got, len(x.Rows))
	}
	var got []string
	for _, r := range x.Rows {
		for _, c := range r.Cells {
			s := c.Text
			if c.Value != "" {
				s = c.Value + " " + c.Spread
			}
			got = append(got, s+strings.Join(c.Notes, ""))
		}
	}
	want := "itself|−62.30 ±0.10|below −92.4a|−60.00 ±0.10|itself|below −87.1a|not measuredb|–|itself"
	if s := strings.Join(got, "|"); s != want {
		t.Errorf("cells %q\nwant  %q", s, want)
	}
	if len(x.Notes) != 2 || !strings.Contains(x.Notes[0].Text, "which is the noise") || !strings.Contains(x.Notes[1].Text, "track 3 is silent") {
		t.Errorf("notes %+v", x.Notes)
	}
}

func TestLevelStepsStayInTheirOrder(t *testing.T) {
	for _, x := range report.Tables(recording().Measures) {
		if x.Name == "harmonic_3" {
			if got := strings.Join(x.Columns, "|"); got != "level step -2 dB, 315\u2009Hz|level step +2 dB, 315\u2009Hz|level step +10 dB, 315\u2009Hz" {
				t.Errorf("columns %q", got)
			}
		}
	}
}

func TestRefusedEverywhereIsOneLine(t *testing.T) {
	var rep measure.Report
	for b := 2; b <= 4; b++ {
		rep.Measures = append(rep.Measures, measure.Result{Name: "azimuth", Track: 1, TrackB: b, Refused: "the places are not known"}, measure.Result{Name: "delay", Track: 1, TrackB: b, Refused: "tone absent"})
	}
	rep.Measures[1].Refused, rep.Measures[1].Value = "", 1
	c := report.Chapters(rep, nil, "")[0]
	if len(c.Tables) != 1 || c.Tables[0].Name != "delay" || !slices.Equal(c.Nothing, []string{"Azimuth: not measured at any of 3 places: the places are not known"}) {
		t.Errorf("%+v, %q", c.Tables, c.Nothing)
	}
}

func TestZeroIsSaidOnce(t *testing.T) {
	for ref, want := range map[string]string{"": "", "full-scale sine": "0 is: full-scale sine", "0: independent, 1: together": "0: independent, 1: together", "track 3: its level": "0 is: track 3: its level"} {
		if got := (report.Table{Reference: ref}).Zero(); got != want {
			t.Errorf("%q: %q, want %q", ref, got, want)
		}
	}
}

func TestLongRefusalsAreLettered(t *testing.T) {
	long := "output still rises at the last step of +6 dB: at least 2.0 dB"
	x := report.Tables([]measure.Result{{Name: "sol", Track: 1, ToneHz: 10000, Refused: long}, {Name: "sol", Track: 2, ToneHz: 10000, Refused: "tone absent"}})[0]
	a, b := x.Rows[0].Cells[0], x.Rows[1].Cells[0]
	if a.Text != "not measured" || len(a.Notes) != 1 || b.Text != "not measured: tone absent" || len(b.Notes) != 0 {
		t.Errorf("cells %+v and %+v", a, b)
	}
	if len(x.Notes) != 1 || !strings.Contains(x.Notes[0].Text, long) {
		t.Errorf("notes %+v", x.Notes)
	}
}

// withRecording adds the replay of a programme, through a looped-back interface.
func withRecording(d report.Data, interfaceSHA string) report.Data {
	e := job.Entry{Seq: 100, Ref: "capture 2", Job: d.View.Job.ID, At: noon, Kind: job.KindCapture, Case: measure.CaseClosed, Capture: &job.Capture{File: "own.wav",
		Programme: "3 tracks, two passes", ProgrammeSHA: strings.Repeat("cd", 32), Interface: "bench box", InterfaceSHA: interfaceSHA, Function: "record-play", WhileRecording: true, Report: recording()}}
	d.View.Entries, d.View.Current = append(d.View.Entries, e), append(d.View.Current, e)
	return d
}

func TestReportSaysHowARecordingWasMeasured(t *testing.T) {
	sha := strings.Repeat("ef", 32)
	d := withRecording(fixture(t), sha)
	d.LoopedBack = map[string]time.Time{sha: time.Date(2031, 4, 2, 9, 0, 0, 0, time.UTC)}
	page := write(t, d)
	for _, want := range []string{"Record programme: 3 tracks, two passes, captured while it was recorded", "bench box, looped back on 2 April 2031; its response is taken off",
		"none named; its own response is in the figures", "Which track, which way round", "▲ Track 3: polarity reversed", "below −92.4", "Crosstalk at 10\u2009kHz", "taken while it was recorded", "plot-crosstalk"} {
		if !strings.Contains(page, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
	for _, bad := range []string{"Level against time", `id="found2-level-`} {
		if strings.Contains(page, bad) {
			t.Errorf("the report has %q, which belongs on the capture's page", bad)
		}
	}
}

// TestRefusalsAreToldOnce: a reason with other figures at each place is one line.
func TestRefusalsAreToldOnce(t *testing.T) {
	d := withRecording(fixture(t), "")
	page := write(t, d)
	if n := strings.Count(page, "capture 2: Crosstalk,"); n != 2 {
		t.Errorf("%d lines on crosstalk that was not measured, want 2: no crosstalk, and a silent track", n)
	}
}

// TestAReportStaysSmall: a browser and a mail must take it.
func TestAReportStaysSmall(t *testing.T) {
	d := withRecording(fixture(t), "")
	rep := &d.View.Current[len(d.View.Current)-1].Capture.Report
	rep.Measures = nil
	for track := 1; track <= 24; track++ {
		for other := 1; other <= 24; other++ {
			if other != track {
				rep.Measures = append(rep.Measures, measure.Result{Name: "crosstalk", Track: track, TrackB: other, ToneHz: 1000, Value: -60, Lo: -61, Hi: -59, Unit: "dB"})
			}
			for tone := range 12 {
				if other > track {
					rep.Measures = append(rep.Measures, measure.Result{Name: "delay", Track: track, TrackB: other, ToneHz: 1000 * float64(tone+1), Value: 1, Lo: 0, Hi: 2, Unit: "us"})
				}
			}
		}
	}
	if page := write(t, d); len(page) > 1<<20 || strings.Count(page, "<b>Delay between tracks") != 0 {
		t.Errorf("%d bytes for 24 tracks, or every delay of every pair", len(page))
	}
}
