package export_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
	"headstack/unit"
)

// csvTable is a table as encoding/csv reads it: rows by heading.
func csvTable(t *testing.T, list []member, name string) []map[string]string {
	t.Helper()
	i := at(list, "tables/"+name+".csv")
	if i < 0 {
		t.Fatalf("no table %s", name)
	}
	all, err := csv.NewReader(bytes.NewReader(list[i].data)).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	var out []map[string]string
	for _, cells := range all[1:] {
		row := map[string]string{}
		for c, h := range all[0] {
			if _, twice := row[h]; twice {
				t.Fatalf("%s has the heading %q twice", name, h)
			}
			row[h] = strings.TrimPrefix(cells[c], "'") // of a text that could be a formula
		}
		out = append(out, row)
	}
	return out
}

func float(t *testing.T, s string) float64 {
	t.Helper()
	if s == "" {
		return 0
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func entriesOf(t *testing.T, s job.Contents) []job.Entry {
	t.Helper()
	var out []job.Entry
	for _, id := range []string{"job-0001", "job-0002"} {
		list, err := s.Entries(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, list...)
	}
	return out
}

// back makes of a row what every kind of entry has.
func back(t *testing.T, kind job.Kind, row map[string]string) job.Entry {
	t.Helper()
	when := func(s string) time.Time {
		if s == "" {
			return time.Time{}
		}
		v, err := time.Parse(time.RFC3339Nano, s)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	return job.Entry{Seq: int64(float(t, row["entry"])), Ref: row["ref"], Job: row["job"], At: when(row["at (UTC)"]), Clock: when(row["clock (UTC)"]),
		Kind: kind, Corrects: int64(float(t, row["corrects (entry)"])), Withdraw: strings.HasPrefix(row["stands"], "takes back"),
		Case: measure.CaseState(row["case"]), Remark: row["remark"], Minutes: unit.Minutes(float(t, row["took (min)"]))}
}

// TestTablesSayWhatTheRecordSays makes entries of the tables again: whoever has only a
// spreadsheet program loses nothing of these kinds.
func TestTablesSayWhatTheRecordSays(t *testing.T) {
	data, s := exported(t)
	list, entries := unzip(t, data), entriesOf(t, s)
	for kind, c := range map[job.Kind]struct {
		table string
		fill  func(e *job.Entry, row map[string]string)
	}{
		job.KindCheck: {"checks", func(e *job.Entry, row map[string]string) {
			e.Check = &job.Check{Item: row["control"], Function: row["function"], Key: row["track or key"], Outcome: diagnosis.Outcome(row["outcome"]),
				Symptom: diagnosis.Symptom(row["symptom"]), Provoked: diagnosis.Provocation(row["provoked"]), Fault: int(float(t, row["fault no."]))}
		}},
		job.KindReading: {"readings", func(e *job.Entry, row map[string]string) {
			e.Reading = &job.Reading{TestPoint: row["test point"], Key: row["track or key"], Value: float(t, row["value (in unit)"]), Unit: row["unit"], ToneHz: float(t, row["tone (Hz)"]),
				Instrument: row["instrument"], Session: row["session"], Setting: row["setting"], Provoked: diagnosis.Provocation(row["provoked"])}
		}},
		job.KindNote: {"notes", func(*job.Entry, map[string]string) {}},
		job.KindWork: {"works", func(e *job.Entry, row map[string]string) {
			e.Work = &job.Work{Kind: diagnosis.WorkKind(row["work"]), Stage: row["stage"], Key: row["track or key"], With: row["exchanged with"], Back: row["exchanged back"] == "yes"}
		}},
		job.KindOpening: {"openings", func(e *job.Entry, row map[string]string) {
			e.Opening = &job.Opening{Opening: row["opening"], Closed: row["put back"] == "yes"}
		}},
		job.KindFigure: {"figures", func(e *job.Entry, row map[string]string) {
			e.Figure = &job.Figure{Step: row["step"], Value: float(t, row["value (in unit)"]), Half: float(t, row["half width of the 95 % interval (in unit)"]), Unit: row["unit"], Instrument: row["instrument"]}
		}},
		job.KindSignOff: {"sign-offs", func(e *job.Entry, row map[string]string) {
			e.SignOff = &job.SignOff{Step: row["step"], Reason: row["reason"], By: row["by"]}
		}},
		job.KindSoak: {"soaks", func(e *job.Entry, row map[string]string) {
			e.Soak = &job.Soak{AtMinutes: float(t, row["since the soak began (min)"]), Measure: row["measure"], Track: int(float(t, row["track"])),
				Value: float(t, row["value (in unit)"]), Unit: row["unit"], Half: float(t, row["half width of the 95 % interval (in unit)"])}
		}},
		job.KindPhotograph: {"photographs", func(e *job.Entry, row map[string]string) {
			e.Photograph = &job.Photograph{File: row["file"], SHA256: row["SHA-256"], Bytes: int64(float(t, row["bytes"])), Opening: row["opening"], Caption: row["caption"],
				Width: int(float(t, row["width as shown (px)"])), Height: int(float(t, row["height as shown (px)"])), Copy: row["SHA-256 as shown"]}
		}},
	} {
		var want, got []job.Entry
		for _, e := range entries {
			if e.Kind == kind {
				if e.Photograph != nil {
					e.Photograph.Type = "" // the name of the file says it
				}
				want = append(want, e)
			}
		}
		for _, row := range csvTable(t, list, c.table) {
			e := back(t, kind, row)
			c.fill(&e, row)
			got = append(got, e)
		}
		if len(want) == 0 {
			t.Errorf("the fixture has no %s", kind)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("table %s (-record +table):\n%s", c.table, diff)
		}
	}
}

func TestMeasuredFiguresHaveTheirIntervals(t *testing.T) {
	data, s := exported(t)
	var want, got []string
	for _, e := range entriesOf(t, s) {
		if e.Capture == nil {
			continue
		}
		for _, m := range e.Capture.Report.Measures {
			want = append(want, fmt.Sprint(e.Job, e.Seq, m.Name, m.Track, m.TrackB, m.Section, m.ToneHz, m.Value, m.Lo, m.Hi, m.Unit, m.Reference, m.Refused))
		}
	}
	for _, row := range csvTable(t, unzip(t, data), "measured") {
		if (row["not measured because"] != "") != (row["value (in unit)"] == "") {
			t.Errorf("a figure that is neither refused nor there, or both: %v", row)
		}
		n := func(s string) float64 { return float(t, row[s]) }
		got = append(got, fmt.Sprint(row["job"], row["entry"], row["measure"], n("track"), n("second track"), row["section"], n("tone (Hz)"), n("value (in unit)"),
			n("low end of the 95 % interval (in unit)"), n("high end of the 95 % interval (in unit)"), row["unit"], row["what 0 is"], row["not measured because"]))
	}
	if len(want) < 4 {
		t.Fatalf("the fixture has only %d figures", len(want))
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-record +table):\n%s", diff)
	}
}

// TestEveryKindHasATable holds the tables against the record: no entry is left out, and what
// stands is what counts.
func TestEveryKindHasATable(t *testing.T) {
	data, s := exported(t)
	list := unzip(t, data)
	rows := map[string]string{} // what the tables say stands, by entry
	for _, m := range list {
		if name, ok := strings.CutPrefix(m.name, "tables/"); ok && !slices.Contains([]string{"jobs.csv", "files.csv", "documents.csv"}, name) {
			for _, row := range csvTable(t, list, strings.TrimSuffix(name, ".csv")) {
				rows[row["entry"]] = row["stands"]
			}
		}
	}
	entries := entriesOf(t, s)
	current := map[int64]bool{}
	kinds := map[job.Kind]bool{}
	for _, id := range []string{"job-0001", "job-0002"} {
		own, err := s.Entries(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range job.Current(own) {
			current[e.Seq] = true
		}
	}
	for _, e := range entries {
		kinds[e.Kind] = true
		if got := rows[strconv.FormatInt(e.Seq, 10)]; got == "" || (got == "yes") != current[e.Seq] {
			t.Errorf("%s of %s: the tables say %q of whether it stands, the record %v", e.Ref, e.Job, got, current[e.Seq])
		}
	}
	if len(kinds) != 15 {
		t.Errorf("the fixture has %d kinds of entry, want all 15", len(kinds))
	}
}

// TestJSONIsTheRecord reads the job documents as any program would.
func TestJSONIsTheRecord(t *testing.T) {
	data, s := exported(t)
	list := unzip(t, data)
	var got []job.Entry
	for _, id := range []string{"job-0001", "job-0002"} {
		var d struct {
			Job     job.Job     `json:"job"`
			Entries []job.Entry `json:"entries"`
		}
		if err := json.Unmarshal(list[at(list, "jobs/"+id+".json")].data, &d); err != nil {
			t.Fatal(err)
		}
		if want, _ := s.Job(t.Context(), id); !cmp.Equal(want, d.Job) {
			t.Errorf("job %+v, want %+v", d.Job, want)
		}
		got = append(got, d.Entries...)
	}
	if diff := cmp.Diff(entriesOf(t, s), got); diff != "" {
		t.Errorf("(-record +JSON):\n%s", diff)
	}
}

// TestTheIndexLeadsToEverything: every file but the sums is reached by a link, and none leads
// to nothing.
func TestTheIndexLeadsToEverything(t *testing.T) {
	data, _ := exported(t)
	list := unzip(t, data)
	page := string(list[at(list, "index.html")].data)
	linked := map[string]bool{}
	for _, part := range strings.Split(page, `href="`)[1:] {
		name, _, _ := strings.Cut(part, `"`)
		linked[name] = true
		if at(list, name) < 0 {
			t.Errorf("a link to %s, which is not there", name)
		}
	}
	listed := map[string]bool{}
	for _, row := range csvTable(t, list, "documents") {
		listed[row["file"]] = row["kind"] != ""
	}
	empty := 0
	for _, m := range list {
		isTable := strings.HasPrefix(m.name, "tables/") && bytes.Count(m.data, []byte("\n")) < 2
		onlyKept := strings.HasPrefix(m.name, "documents/") && !listed[m.name]
		if !linked[m.name] && !slices.Contains([]string{"index.html", "bench.json", "listings.json", "SHA256SUMS"}, m.name) && !isTable && !onlyKept {
			t.Errorf("no link to %s", m.name)
		}
		if isTable {
			empty++
		}
	}
	if empty > 3 {
		t.Errorf("%d tables of the fixture are empty", empty)
	}
	if strings.Contains(page, "<script") || strings.Contains(page, "http") {
		t.Error("the index runs something or leads out of the export")
	}
}
