package report_test

import (
	"bytes"
	"context"
	"encoding/xml"
	"io"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/job/memory"
	"headstack/machine"
	"headstack/measure"
	"headstack/report"
)

var noon = time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)

// fixture is a small job: a capture with a refusal, a corrected reading, a
// withdrawn check and a verdict with one suspect and one proved stage.
func fixture(t *testing.T) report.Data {
	t.Helper()
	ctx, now := t.Context(), noon
	b := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{Now: func() time.Time { now = now.Add(time.Minute); return now }})
	keep := func(e job.Entry, err error) job.Entry {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	j, err := b.OpenJob(ctx, job.NewJob{Definition: "hexastrand", Serial: "Q-0417", Owner: "Community theatre", Claim: "Track 5 <plays> dull.", Case: measure.CaseClosed})
	if err != nil {
		t.Fatal(err)
	}
	r := keep(b.RecordReading(ctx, j.ID, job.Reading{TestPoint: "TP10", Key: "3", Value: 38, Unit: "V", ToneHz: 315, Instrument: "millivoltmeter B"}, measure.CasePropped, ""))
	keep(b.Correct(ctx, j.ID, r.Seq, job.Entry{Kind: job.KindReading, Case: measure.CasePropped, Remark: "misread", Reading: &job.Reading{TestPoint: "TP10", Key: "3", Value: 38, Unit: "mV", ToneHz: 315, Instrument: "millivoltmeter B"}}))
	c := keep(b.RecordCheck(ctx, j.ID, job.Check{Function: "play", Key: "5", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomDull}, measure.CaseClosed, "by ear"))
	keep(b.Withdraw(ctx, j.ID, c.Seq, "wrong track"))
	v, err := b.View(context.WithoutCancel(ctx), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	at := v.Entries[len(v.Entries)-1].At.Add(time.Minute)
	e := job.Entry{Seq: 99, Ref: "capture 1", Job: j.ID, At: at, Kind: job.KindCapture, Case: measure.CaseClosed, Capture: &job.Capture{File: "pass.wav", SHA256: strings.Repeat("ab", 32),
		Tape: "Pendle Brook cassette", Function: "play", Tracks: []int{1, 6}, Report: measure.Report{
			Sections: []measure.SectionFound{{Name: "315 Hz", Found: true, EndS: 10, ToneHz: 315}, {Name: "63 Hz", ToneHz: 63, Reason: "the capture starts after it"}},
			Measures: []measure.Result{
				{Name: "response", Track: 6, Section: "10 kHz", ToneHz: 10000, Value: -1.234, Lo: -1.284, Hi: -1.184, Unit: "dB", Reference: "the track's level at 315 Hz", Method: "tone"},
				{Name: "response", Track: 1, Section: "10 kHz", ToneHz: 10000, Value: 0.5, Lo: 0.4, Hi: 0.6, Unit: "dB", Reference: "the track's level at 315 Hz", Method: "tone", Warnings: []string{"too few cycles"}},
				{Name: "response", Track: 1, Section: "63 Hz", ToneHz: 63, Unit: "dB", Reference: "the track's level at 315 Hz", Refused: "tone absent"},
				{Name: "azimuth", Track: 1, TrackB: 6, Value: -2.3, Lo: -2.9, Hi: -1.7, Unit: "arcmin"},
			}}}}
	v.Entries, v.Current = append(v.Entries, e), append(v.Current, e)
	return report.Data{View: v, When: noon, Program: "headstack test", Verdict: &diagnosis.Verdict{
		Sentences:    []string{"Track 5 loses treble."},
		Explanations: []diagnosis.Explanation{{P: 0.83, Faults: []diagnosis.Fault{{Part: "H-5", Mode: machine.Weak, Cause: "dirt on the face"}}}},
		Stages: []diagnosis.StageState{{Part: "H-5", Name: "head", Board: "Collar", Status: diagnosis.Suspect, P: 0.83},
			{Part: "U3-1", Name: "amplifier", Board: "Tape", Status: diagnosis.Proved, ClearedBy: []diagnosis.Because{{Ref: "reading 2", Text: "U3-1 is cleared by reading 2"}}}},
		PFaultFree: 0.02, WrongFix: 0.11}}
}

func write(t *testing.T, d report.Data) string {
	t.Helper()
	var b bytes.Buffer
	if err := report.HTML(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestReportSaysWhatItMust(t *testing.T) {
	page := write(t, fixture(t))
	for _, want := range []string{
		"Q-0417", "Track 5 &lt;plays&gt; dull.", "83\u2009%", "H-5 weak (dirt on the face)", "U3-1 is cleared by reading 2",
		"corrected by reading 2", "withdrawn by note 1", "in place of reading 1", "not measured: tone absent", "−1.234\u2009dB", "±0.050\u2009dB",
		"0 is: the track&#39;s level at 315 Hz", "too few cycles", "the capture starts after it", "millivoltmeter B", "Pendle Brook cassette", "case propped",
		"controls of the check sheet were not tried", "was not tried by itself", "Local electrical codes", "1 and 6", "<svg", "250 nWb/m",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
}

func TestReportNeedsNothingElse(t *testing.T) {
	page := write(t, fixture(t))
	for _, bad := range []string{"<script", "<link", "src=", "href=", "url(", "@import", " style=\"", " onclick"} {
		if strings.Contains(page, bad) {
			t.Errorf("the report contains %q", bad)
		}
	}
	for _, u := range regexp.MustCompile(`https?://[^"\s<]+`).FindAllString(page, -1) {
		if u != "http://www.w3.org/2000/svg" { // a name, not an address to fetch
			t.Errorf("the report names %s", u)
		}
	}
}

func TestReportIsTheSameForTheSameRecord(t *testing.T) {
	first, second := write(t, fixture(t)), write(t, fixture(t))
	if first != second {
		t.Error("two reports of the same record differ")
	}
}

func TestHashFollowsTheRecord(t *testing.T) {
	d := fixture(t)
	a, err := report.RecordHash(d.View)
	if err != nil {
		t.Fatal(err)
	}
	d.View.Entries[0].Reading.Value = 39
	b, _ := report.RecordHash(d.View)
	if a == b || len(a) != 64 {
		t.Errorf("hash %s after %s", b, a)
	}
}

func TestReportWithoutVerdictOrRecord(t *testing.T) {
	d := fixture(t)
	d.Verdict, d.NoVerdict = nil, "the evidence contradicts itself"
	d.View.Entries, d.View.Current = nil, nil
	page := write(t, d)
	for _, want := range []string{"No verdict: the evidence contradicts itself", "Nothing was recorded", "Nothing was captured", "No stage is proved good"} {
		if !strings.Contains(page, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
	if err := report.HTML(io.Discard, report.Data{}); err == nil {
		t.Error("a report of nothing was written")
	}
}

func TestTables(t *testing.T) {
	tables := report.Tables([]measure.Result{
		{Name: "noise", Track: 2, Section: "silence", Value: -46, Lo: -46.4, Hi: -45.6, Unit: "dB"},
		{Name: "response", Track: 10, ToneHz: 1000, Value: 1, Lo: 0.9, Hi: 1.1, Unit: "dB"},
		{Name: "response", Track: 2, ToneHz: 1000, Value: 2, Lo: 1.9, Hi: 2.1, Unit: "dB"},
		{Name: "response", Track: 2, ToneHz: 63, Value: 3, Lo: 2.9, Hi: 3.1, Unit: "dB"},
		{Name: "response", Track: 2, ToneHz: 1000, Value: 9, Lo: 8.9, Hi: 9.1, Unit: "dB"}, // a later one: the first stands
		{Name: "speed_error", Value: 0.1, Lo: 0, Hi: 0.2, Unit: "%"},
	})
	if len(tables) != 3 || tables[0].Name != "response" || tables[1].Name != "speed_error" || tables[2].Name != "noise" {
		t.Fatalf("tables %+v", tables)
	}
	r := tables[0]
	if got := strings.Join(r.Columns, "|"); got != "63\u2009Hz|1\u2009kHz" {
		t.Errorf("columns %q", got)
	}
	if r.Rows[0].Label != "2" || r.Rows[1].Label != "10" {
		t.Errorf("tracks are not in order: %q, %q", r.Rows[0].Label, r.Rows[1].Label)
	}
	if got := r.Rows[0].Cells[1].Text; got != "+2.00\u2009±0.10\u2009dB" {
		t.Errorf("cell %q", got)
	}
	if !r.Rows[1].Cells[0].Empty || tables[1].Rows[0].Label != "all" {
		t.Error("an empty cell, or the row of no single track, is wrong")
	}
}

func TestNoBareNotANumber(t *testing.T) {
	tables := report.Tables([]measure.Result{{Name: "level", Track: 1, ToneHz: 315, Value: math.NaN(), Unit: "dBFS"}})
	if got := tables[0].Rows[0].Cells[0].Text; !strings.HasPrefix(got, "not measured") {
		t.Errorf("a value that is no number reads %q", got)
	}
}

func TestReportParses(t *testing.T) {
	dec := xml.NewDecoder(strings.NewReader(write(t, fixture(t))))
	dec.Strict, dec.AutoClose, dec.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	for {
		if _, err := dec.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
}

func TestWideTablesAreCutForPaper(t *testing.T) {
	d := fixture(t)
	c := d.View.Current[len(d.View.Current)-1].Capture
	c.Report.Measures = nil
	for i := range 21 {
		c.Report.Measures = append(c.Report.Measures, measure.Result{Name: "response", Track: 1, ToneHz: 100 + float64(i), Value: float64(i), Lo: float64(i) - 1, Hi: float64(i) + 1, Unit: "dB", Warnings: []string{"w"}})
	}
	page := write(t, d)
	if n := strings.Count(page, "<b>Response"); n < 2 || n > 4 {
		t.Errorf("%d tables for 21 tones, want as many as a sheet needs, 2 to 4", n)
	}
	if strings.Count(page, "</sup> w</li>") != 1 || strings.Count(page, "<svg") != 1 {
		t.Error("the notes or the plot do not stand once")
	}
	for _, tone := range []string{"100\u2009Hz", "105\u2009Hz", "106\u2009Hz", "120\u2009Hz"} {
		if strings.Count(page, ">"+tone+"<") != 1 {
			t.Errorf("%s does not stand once in a heading", tone)
		}
	}
}
