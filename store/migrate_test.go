package store

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/go-cmp/cmp"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/job/jobtest"
)

// schema1 is the first released schema alone.
func schema1(t *testing.T) fs.FS {
	t.Helper()
	const name = "00001_record.sql"
	data, err := fs.ReadFile(embedded, "migrations/"+name)
	if err != nil {
		t.Fatal(err)
	}
	return fstest.MapFS{name: {Data: data}}
}

// fillSchema1 appends what the first released program could: every kind of entry, a
// correction of a correction, a withdrawal, a clock that was set back, two jobs. It is
// plain SQL, for today's code writes today's schema. It returns what must come back.
func fillSchema1(t *testing.T, s *Store) (jobs [2]job.Job, want [2][]job.Entry) {
	t.Helper()
	jobs = [2]job.Job{schema1Job(t, s, 1), schema1Job(t, s, 2)}
	numbers := map[string]int64{}
	put := func(k int, e job.Entry) {
		t.Helper()
		e.Job, e.Seq = jobs[k].ID, int64(len(want[0])+len(want[1])+1)
		e.At = jobtest.Clock.Add(time.Duration(e.Seq) * time.Minute)
		numbers[e.Job+string(e.Kind)]++
		n := numbers[e.Job+string(e.Kind)]
		e.Ref = job.EntryRef(e.Kind, n)
		text, err := encodePayload(e)
		if err != nil {
			t.Fatal(err)
		}
		var corrects any
		if e.Corrects != 0 {
			corrects = e.Corrects
		}
		_, err = s.write.Exec(`INSERT INTO entries (seq, job, kind, n, at, clock, corrects, withdraw, case_state, remark, payload)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, e.Seq, e.Job, string(e.Kind), n, formatTime(e.At), formatClock(e.Clock),
			corrects, e.Withdraw, string(e.Case), e.Remark, text)
		if err != nil {
			t.Fatalf("entry %d: %v", e.Seq, err)
		}
		want[k] = append(want[k], e)
	}
	for _, e := range jobtest.Samples("") {
		if first := []job.Kind{job.KindCheck, job.KindReading, job.KindCapture, job.KindNote}; !slices.Contains(first, e.Kind) {
			continue
		}
		e.Minutes = 0
		if e.Check != nil {
			e.Check.Provoked = ""
		}
		if e.Reading != nil {
			e.Reading.Provoked = ""
		}
		e.Clock = jobtest.Clock.Add(-time.Hour)
		put(0, e)
		put(1, e)
	}
	check := job.Entry{Kind: job.KindCheck, Check: &job.Check{Item: "fader/3", Outcome: diagnosis.Works}}
	check.Corrects = 1
	put(0, check)
	check.Corrects = want[0][len(want[0])-1].Seq
	put(0, check)
	put(0, job.Entry{Kind: job.KindNote, Corrects: 3, Withdraw: true, Remark: "mistaken"})
	for range 300 { // over several pages
		put(1, job.Entry{Kind: job.KindNote, Remark: strings.Repeat("long ", 100)})
	}
	return jobs, want
}

// schema1Job is openedJob in plain SQL.
func schema1Job(t *testing.T, s *Store, n int64) job.Job {
	t.Helper()
	sha, err := s.PutDocument(t.Context(), []byte("id: chalk-four\n"))
	if err != nil {
		t.Fatal(err)
	}
	j := job.Job{ID: job.JobID(n), Definition: "chalk-four", DefinitionSHA: sha, Opened: jobtest.Clock}
	_, err = s.write.Exec(`INSERT INTO jobs (n, id, definition, definition_sha, name, serial, owner, claim, case_state, opened)
		VALUES (?, ?, ?, ?, '', '', '', '', '', ?)`, n, j.ID, j.Definition, sha, formatTime(j.Opened))
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func TestABenchOfTheFirstSchemaOpens(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, Options{migrations: schema1(t)})
	jobs, want := fillSchema1(t, s)
	if err := s.AppendListing(t.Context(), job.Listing{Kind: job.TapeDocument, ID: "x", SHA256: jobs[0].DefinitionSHA, Added: jobtest.Clock}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}

	s = open(t, dir, Options{})
	for k, j := range jobs {
		if got, err := s.Job(t.Context(), j.ID); err != nil || !cmp.Equal(got, j) {
			t.Errorf("job: %+v, %v; want %+v", got, err, j)
		}
		got, err := s.Entries(t.Context(), j.ID)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want[k], got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", j.ID, diff)
		}
	}
	if got, err := s.Listings(t.Context(), job.TapeDocument); err != nil || len(got) != 1 {
		t.Errorf("%d listings (%v), want 1", len(got), err)
	}
	checkRules(t, s, jobs[0], want[0])
	// The copy that was kept before is a bench of the first schema, whole.
	list, err := filepath.Glob(filepath.Join(dir, backupsName, "bench-schema1-*.db"))
	if err != nil || len(list) != 1 {
		t.Fatalf("backups: %v (%v), want 1", list, err)
	}
	data, err := os.ReadFile(list[0])
	if err != nil {
		t.Fatal(err)
	}
	restored := t.TempDir()
	if err := os.WriteFile(filepath.Join(restored, databaseName), data, 0o644); err != nil {
		t.Fatal(err)
	}
	if got, err := open(t, restored, Options{}).Entries(t.Context(), jobs[1].ID); err != nil || len(got) != len(want[1]) {
		t.Errorf("from the copy: %d entries (%v), want %d", len(got), err, len(want[1]))
	}
}

// checkRules tries on a changed bench what the schema must still refuse and now allows.
func checkRules(t *testing.T, s *Store, j job.Job, had []job.Entry) {
	t.Helper()
	var triggers []string
	rows, err := s.read.Query(`SELECT name FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = 'entries' ORDER BY name`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		triggers = append(triggers, name)
	}
	if want := []string{"entries_keep_delete", "entries_keep_update", "entries_no_correction_of_withdrawal"}; !slices.Equal(triggers, want) {
		t.Errorf("triggers %q, want %q", triggers, want)
	}
	withdrawal := had[len(had)-1]
	const insert = `INSERT INTO entries (seq, job, kind, n, at, withdraw, case_state, remark, payload, corrects) VALUES `
	for _, q := range []string{
		`UPDATE entries SET remark = 'other'`,
		`UPDATE entries SET minutes = 5`,
		`DELETE FROM entries`,
		insert + `(9999, 'job-0001', 'song', 1, 'x', 0, '', '', '{}', NULL)`,
		insert + `(9999, 'job-0009', 'note', 1, 'x', 0, '', '', '{}', NULL)`,    // no such job
		insert + `(9999, 'job-0001', 'check', 9, 'x', 0, '', '', '{}', 1)`,      // corrected already
		insert + `(9999, 'job-0001', 'note', 9, 'x', 0, '', '', '{}', 4)`,       // of the other job
		insert + `(9999, 'job-0001', 'note', 9, 'x', 0, '', '', '{}', 9998)`,    // not there
		insert + `(9999, 'job-0001', 'note', 1, 'x', 0, '', '', '{}', NULL)`,    // number taken
		insert + `(9999, 'job-0001', 'reading', 9, 'x', 1, '', '', '{}', NULL)`, // withdraws nothing
		insert + `(9999, 'job-0001', 'note', 9, 'x', 0, '', '', '{}', ` + itoa(int(withdrawal.Seq)) + `)`,
	} {
		if _, err := s.write.Exec(q); err == nil {
			t.Errorf("done: %s", q)
		}
	}
	var problems int
	if err := s.read.QueryRow(`SELECT count(*) FROM pragma_foreign_key_check`).Scan(&problems); err != nil || problems != 0 {
		t.Errorf("%d rows refer to what is not there (%v)", problems, err)
	}
	e := job.Entry{Job: j.ID, At: jobtest.Clock, Kind: job.KindWork, Minutes: 12, Work: &job.Work{Kind: diagnosis.WorkRepair, Stage: "C31", Key: "a"}}
	got, err := s.AppendEntry(t.Context(), e)
	if err != nil || got.Ref != "work 1" {
		t.Errorf("a work: %+v, %v", got, err)
	}
	e = job.Entry{Job: j.ID, At: jobtest.Clock, Kind: job.KindTurn, Turn: &job.Turn{Trim: "VRa", Key: "3", By: 30, Unit: "°"}}
	if got, err := s.AppendEntry(t.Context(), e); err != nil || got.Ref != "turn 1" {
		t.Errorf("a turn: %+v, %v", got, err)
	}
}

// A schema change that is stopped on its way leaves the bench as it was.
func TestASchemaChangeThatFailsLeavesTheFirstSchema(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, Options{migrations: schema1(t)})
	jobs, want := fillSchema1(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	second, err := fs.ReadFile(embedded, "migrations/00002_works.sql")
	if err != nil {
		t.Fatal(err)
	}
	// After each statement in turn, before the rest. A trigger's own ; is inside
	// StatementBegin and End, so that the pieces are cut at these.
	text := string(second)
	for at := strings.Index(text, "-- +goose Up"); ; {
		i := strings.Index(text[at:], ";\n")
		if i < 0 || strings.Contains(text[:at], "StatementBegin") {
			break
		}
		at += i + 2
		cut := schema1(t).(fstest.MapFS)
		cut["00002_works.sql"] = &fstest.MapFile{Data: []byte(text[:at] + "SELECT no_such();\n")}
		if _, err := Open(dir, Options{migrations: cut}); err == nil || errors.Is(err, fs.ErrNotExist) {
			t.Fatalf("cut at %d: error %v", at, err)
		}
	}
	s = open(t, dir, Options{})
	if got, err := s.Entries(t.Context(), jobs[0].ID); err != nil || !cmp.Equal(got, want[0]) {
		t.Errorf("afterwards: %d entries (%v), want %d", len(got), err, len(want[0]))
	}
}
