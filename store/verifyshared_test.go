package store

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"headstack/job"
	"headstack/job/jobtest"
	"headstack/store/pgtest"
)

func verified(t *testing.T, opt Shared) Verified {
	t.Helper()
	s := openInstant(t, opt)
	v, err := VerifyShared(t.Context(), s)
	if err := errors.Join(err, s.Close()); err != nil { // what is open holds up a change of the tables
		t.Fatal(err)
	}
	return v
}

// Each way in which a record on a server and its files can be spoiled is named.
func TestVerifySharedNamesWhatIsWrong(t *testing.T) {
	srv := pgtest.Start(t, sharedChecks)
	opt := Shared{Address: srv.Database(t), Dir: t.TempDir()}
	s := openAt(t, opt)
	j := openedJob(t, s)
	for _, e := range jobtest.Samples(j.ID) {
		e.At = jobtest.Clock
		for _, sha := range filesOf(&e) {
			var err error
			if *sha, _, err = s.Put(t.Context(), strings.NewReader("file of "+string(e.Kind)+*sha)); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := s.AppendEntry(t.Context(), e); err != nil {
			t.Fatal(err)
		}
	}
	whole := verified(t, opt)
	if len(whole.Problems)+len(whole.Notes) > 0 || whole.Entries < 10 || whole.Files < 3 || whole.Documents == 0 || whole.Bytes == 0 {
		t.Fatalf("a whole record: %+v", whole)
	}
	name := pgtest.Name(opt.Address)
	path := func(n int) string { return filepath.Join(opt.Dir, capturesName, whole.named[n].sha) }
	srv.SQL(t, name, `ALTER TABLE entries DISABLE TRIGGER entries_keep_update; ALTER TABLE entries DISABLE TRIGGER entries_keep_delete;
		ALTER TABLE documents DISABLE TRIGGER USER; DROP TRIGGER jobs_keep_truncate ON jobs;
		UPDATE entries SET payload = '{"v":1,"unheard":2}' WHERE seq = 3;
		UPDATE entries SET at = 'yesterday' WHERE seq = 1;
		UPDATE documents SET data = data || '\x20'::bytea;`)
	err := errors.Join(os.Remove(path(0)), os.Chmod(path(1), 0o644), os.WriteFile(path(1), []byte("altered"), 0o644))
	if err != nil {
		t.Fatal(err)
	}
	got := verified(t, opt)
	said := strings.Join(got.Problems, "\n")
	for _, want := range []string{"entry 3: ", "unheard", "entry 1: ", "table documents", path(0) + " is gone: the file of ", path(1),
		"trigger entries_keep_update is gone or off", "entries_keep_delete", "documents_keep_truncate", "jobs_keep_truncate"} {
		if !strings.Contains(said, want) {
			t.Errorf("nothing is said of %q:\n%s", want, said)
		}
	}
	if len(got.Problems) != 11 {
		t.Errorf("%d problems, want 11:\n%s", len(got.Problems), said)
	}
	if _, err := VerifyShared(t.Context(), snapshotOfFolder(t)); err == nil {
		t.Error("a bench in a folder was taken for a record on a server")
	}
}

func snapshotOfFolder(t *testing.T) *Snapshot {
	t.Helper()
	dir := t.TempDir()
	if err := open(t, dir, Options{}).Close(); err != nil {
		t.Fatal(err)
	}
	s, err := OpenSnapshot(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// filesOf are the places in an entry that name a file.
func filesOf(e *job.Entry) []*string {
	switch {
	case e.Capture != nil:
		return []*string{&e.Capture.SHA256}
	case e.Photograph != nil:
		return []*string{&e.Photograph.SHA256, &e.Photograph.Copy}
	}
	return nil
}

// A number without an entry is noted: it may be of an import, or removed.
func TestVerifySharedNotesGaps(t *testing.T) {
	srv := pgtest.Start(t, sharedChecks)
	opt := Shared{Address: srv.Database(t), Dir: t.TempDir()}
	s := openAt(t, opt)
	j := openedJob(t, s)
	for range 3 {
		if _, err := s.AppendEntry(t.Context(), noteIn(j, "x")); err != nil {
			t.Fatal(err)
		}
	}
	srv.SQL(t, pgtest.Name(opt.Address), `ALTER TABLE entries DISABLE TRIGGER USER; DELETE FROM entries WHERE seq = 2; ALTER TABLE entries ENABLE TRIGGER USER`)
	if v := verified(t, opt); len(v.Problems) > 0 || len(v.Notes) != 1 || !strings.Contains(v.Notes[0], "1 numbers of entries below 3") {
		t.Errorf("%+v, want a note of a gap", v)
	}
}

func TestAServerSaysHowItKeepsARecord(t *testing.T) {
	srv := pgtest.Start(t, sharedChecks)
	opt := Shared{Address: srv.Database(t), Dir: t.TempDir()}
	empty, err := LookAtServer(t.Context(), opt)
	if err != nil || empty.Schema != 0 || empty.Known == 0 || len(empty.Problems) > 0 {
		t.Errorf("an empty database: %+v, %v", empty, err)
	}
	if err := openAt(t, opt).Close(); err != nil {
		t.Fatal(err)
	}
	got, err := LookAtServer(t.Context(), opt)
	if err != nil || got.Schema != got.Known || len(got.Problems) > 0 || got.Bytes == 0 || got.Connections == 0 || got.Most != 60 ||
		got.Version == "" || got.Encrypted || got.Travel <= 0 || max(got.Clock, -got.Clock) > got.Travel {
		t.Errorf("a bench: %+v, %v; its clock is this machine's", got, err)
	}
	name := pgtest.Name(opt.Address)
	srv.SQL(t, name, `INSERT INTO goose_db_version (version_id, is_applied) VALUES (9000, true)`)
	newer, err := LookAtServer(t.Context(), opt)
	if err != nil || len(newer.Problems) != 1 || newer.Problems[0].Todo != "use the newer headstack" {
		t.Errorf("a newer one: %+v, %v", newer, err)
	}
	srv.SQL(t, name, `DELETE FROM goose_db_version WHERE version_id >= (SELECT max(version_id) FROM goose_db_version WHERE version_id < 9000)`)
	older, err := LookAtServer(t.Context(), opt)
	if err != nil || len(older.Problems) != 1 || !strings.Contains(older.Problems[0].Todo, "pg_dump") {
		t.Errorf("an older one: %+v, %v", older, err)
	}
	opt.Address = strings.Replace(opt.Address, "/"+name, "/nowhere", 1)
	if _, err := LookAtServer(t.Context(), opt); err == nil || !strings.Contains(err.Error(), "nowhere") {
		t.Errorf("no such database: error %v", err)
	}
}
