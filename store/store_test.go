package store

import (
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"go.uber.org/goleak"

	"headstack/job"
	"headstack/job/jobtest"
	"headstack/store/pgtest"
)

// children are what a copy of the test binary does instead of tests, by the variable of the
// environment that gives it its order; it returns the exit code.
var children = map[string]func(order string) int{childEnv: appendUntilKilled, stepEnv: playUntilKilled}

func TestMain(m *testing.M) {
	for env, run := range children {
		if order := os.Getenv(env); order != "" {
			os.Exit(run(order))
		}
	}
	goleak.VerifyTestMain(pgtest.Main{M: m})
}

// open opens a bench for one test.
func open(t testing.TB, dir string, opt Options) *Store {
	t.Helper()
	s, err := Open(dir, opt)
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return s
}

func TestRecord(t *testing.T) {
	jobtest.Record(t, func(t *testing.T) job.Record { return open(t, t.TempDir(), Options{}) })
}

func TestFiles(t *testing.T) {
	jobtest.Files(t, func(t *testing.T) job.Files { return open(t, t.TempDir(), Options{}) })
}

// openedJob is a job to append to.
func openedJob(t testing.TB, s *Store) job.Job {
	t.Helper()
	sha, err := s.PutDocument(t.Context(), []byte("id: chalk-four\n"))
	if err != nil {
		t.Fatal(err)
	}
	j, err := s.AppendJob(t.Context(), job.Job{Definition: "chalk-four", DefinitionSHA: sha, Opened: jobtest.Clock})
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func noteIn(j job.Job, text string) job.Entry {
	return job.Entry{Job: j.ID, At: jobtest.Clock, Kind: job.KindNote, Remark: text}
}

func TestWhatIsKeptIsThereAfterReopening(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a folder with spaces #1 100%? ü")
	s := open(t, dir, Options{})
	j := openedJob(t, s)
	var want []job.Entry
	for _, e := range jobtest.Samples(j.ID) {
		e.At = jobtest.Clock
		e, err := s.AppendEntry(t.Context(), e)
		if err != nil {
			t.Fatal(err)
		}
		want = append(want, e)
	}
	sha, _, err := s.Put(t.Context(), strings.NewReader("abc"))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}

	again := open(t, dir, Options{})
	got, err := again.Entries(t.Context(), j.ID)
	if err != nil || len(got) != len(want) {
		t.Fatalf("%d entries (%v), want %d", len(got), err, len(want))
	}
	if f, err := again.Open(t.Context(), sha); err != nil {
		t.Errorf("the capture: %v", err)
	} else {
		_ = f.Close()
	}
	// A number is never given twice, also not after reopening.
	if e, err := again.AppendEntry(t.Context(), noteIn(j, "x")); err != nil || e.Seq != int64(len(want)+1) || e.Ref != "note 2" {
		t.Errorf("next entry is %d, %s (%v)", e.Seq, e.Ref, err)
	}
}

func TestNothingKeptCanBeChanged(t *testing.T) {
	s := open(t, t.TempDir(), Options{})
	j := openedJob(t, s)
	first, err := s.AppendEntry(t.Context(), noteIn(j, "first"))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.AppendListing(t.Context(), job.Listing{Kind: job.TapeDocument, SHA256: j.DefinitionSHA, Added: jobtest.Clock}); err != nil {
		t.Fatal(err)
	}
	back := noteIn(j, "mistaken")
	back.Corrects, back.Withdraw = first.Seq, true
	if _, err := s.AppendEntry(t.Context(), back); err != nil {
		t.Fatal(err)
	}
	const row = `(seq, job, kind, n, at, withdraw, case_state, remark, payload, corrects)`
	for _, q := range []string{
		`UPDATE entries SET remark = 'other'`,
		`DELETE FROM entries`,
		`REPLACE INTO entries ` + row + ` VALUES (1, 'job-0001', 'note', 1, 'x', 0, '', '', '{}', NULL)`,
		`UPDATE jobs SET claim = 'other'`,
		`DELETE FROM jobs`,
		`UPDATE documents SET data = x'00'`,
		`DELETE FROM documents`,
		`UPDATE listings SET name = 'other'`,
		`DELETE FROM listings`,
		// The rules of corrections hold without package job, too.
		`INSERT INTO entries ` + row + ` VALUES (9, 'job-0001', 'note', 9, 'x', 0, '', '', '{}', 1)`,  // corrected twice
		`INSERT INTO entries ` + row + ` VALUES (9, 'job-0001', 'note', 9, 'x', 0, '', '', '{}', 2)`,  // a withdrawal
		`INSERT INTO entries ` + row + ` VALUES (9, 'job-0001', 'note', 9, 'x', 0, '', '', '{}', 12)`, // not there
		`INSERT INTO entries ` + row + ` VALUES (9, 'job-0009', 'note', 9, 'x', 0, '', '', '{}', NULL)`,
		`INSERT INTO entries ` + row + ` VALUES (9, 'job-0001', 'note', 1, 'x', 0, '', '', '{}', NULL)`,
		`INSERT INTO entries ` + row + ` VALUES (9, 'job-0001', 'song', 9, 'x', 0, '', '', '{}', NULL)`,
		`INSERT INTO entries ` + row + ` VALUES (9, 'job-0001', 'note', 9, 'x', 1, '', '', '{}', NULL)`,
		`INSERT INTO entries ` + row + ` VALUES (9, 'job-0001', 'note', 9, 'x', 0, '', '', '{', NULL)`,
	} {
		if _, err := s.write.Exec(q); err == nil {
			t.Errorf("done: %s", q)
		}
	}
	if _, err := s.read.Exec(`INSERT INTO documents VALUES (?, x'00')`, strings.Repeat("0", 64)); err == nil {
		t.Error("a reading connection wrote")
	}
	if got, err := s.Entries(t.Context(), j.ID); err != nil || len(got) != 2 || got[0].Remark != "first" {
		t.Errorf("entries afterwards: %+v, %v", got, err)
	}
}

func TestASecondProgramIsRefused(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, Options{})
	_, err := Open(dir, Options{})
	in, ok := errors.AsType[*InUseError](err)
	if !ok {
		t.Fatalf("error %v, want InUseError", err)
	}
	if !strings.Contains(in.Holder, "process ") {
		t.Errorf("the error does not say who: %q", in.Error())
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := open(t, dir, Options{}).Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(dir, holderName)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the holder's note stays after closing (%v)", err)
	}
}

func TestStaleHolderNoteDoesNotBlock(t *testing.T) {
	dir := t.TempDir()
	for _, text := range []string{`{"pid":1,"host":"x","since":"2031-01-01T00:00:00Z"}`, "", "{"} {
		if err := os.WriteFile(filepath.Join(dir, holderName), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		if err := open(t, dir, Options{}).Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func TestALockFileWithSomethingInIt(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, lockName)
	if err := os.WriteFile(path, []byte(strings.Repeat("not a lock ", 100)), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(dir, Options{}); err == nil || !strings.Contains(err.Error(), path) || !strings.Contains(err.Error(), "remove it") {
		t.Errorf("error %v, want one that names %s and says what to do", err, path)
	}
}

func TestDatabasesThatAreRefused(t *testing.T) {
	// whole makes a bench with some entries and returns its database as bytes.
	whole := func(t *testing.T, dir string) []byte {
		s := open(t, dir, Options{})
		j := openedJob(t, s)
		for range 40 {
			if _, err := s.AppendEntry(t.Context(), noteIn(j, strings.Repeat("long ", 100))); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(filepath.Join(dir, databaseName))
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	isCorrupt := func(err error) bool { _, ok := errors.AsType[*CorruptError](err); return ok }
	for _, c := range []struct {
		name  string
		spoil func(data []byte) []byte
		want  func(error) bool
	}{
		{"text", func([]byte) []byte { return []byte("the quick brown fox jumps over the lazy dog") }, isCorrupt},
		{"cut inside the header", func(d []byte) []byte { return d[:50] }, isCorrupt},
		{"cut in the middle", func(d []byte) []byte { return d[:len(d)/2] }, isCorrupt},
		{"a page of zeros", func(d []byte) []byte { clear(d[3*4096 : 4*4096]); return d }, isCorrupt},
		{"flipped bytes in a page header", func(d []byte) []byte { d[5*4096+3] ^= 0xff; return d }, isCorrupt},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, databaseName)
			spoiled := c.spoil(whole(t, dir))
			if err := os.WriteFile(path, spoiled, 0o644); err != nil {
				t.Fatal(err)
			}
			_, err := Open(dir, Options{})
			if !c.want(err) {
				t.Fatalf("error %v", err)
			}
			if !strings.Contains(err.Error(), path) {
				t.Errorf("the error does not name the file: %v", err)
			}
			if got, _ := os.ReadFile(path); string(got) != string(spoiled) {
				t.Error("the damaged file was changed")
			}
		})
	}
	t.Run("the database of something else", func(t *testing.T) {
		dir := t.TempDir()
		db, err := sql.Open("sqlite", dsn(filepath.Join(dir, databaseName), nil))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Exec(`CREATE TABLE songs (title TEXT)`); err != nil {
			t.Fatal(err)
		}
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(dir, Options{}); !isType[*ForeignError](err) {
			t.Fatalf("error %v, want ForeignError", err)
		}
	})
}

func isType[E error](err error) bool {
	_, ok := errors.AsType[E](err)
	return ok
}

func TestPragmasThatDoNotTake(t *testing.T) {
	s := open(t, t.TempDir(), Options{})
	conn, err := s.write.Conn(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := conn.ExecContext(t.Context(), `PRAGMA synchronous = NORMAL`); err != nil {
		t.Fatal(err)
	}
	err = checkPragmas(t.Context(), conn, pragmas(Options{BusyTimeout: 5e9}.BusyTimeout))
	if err == nil || !strings.Contains(err.Error(), "synchronous") {
		t.Errorf("error %v, want one that names synchronous", err)
	}
}

func TestFoldersThatCannotBeUsed(t *testing.T) {
	t.Run("a file where the folder should be", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "bench")
		if err := os.WriteFile(path, nil, 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(path, Options{}); err == nil || !strings.Contains(err.Error(), path) {
			t.Errorf("error %v, want one that names %s", err, path)
		}
	})
	t.Run("read-only", func(t *testing.T) {
		if os.Geteuid() == 0 {
			t.Skip("the superuser may write to a read-only folder")
		}
		dir := t.TempDir()
		open(t, dir, Options{}).Close()
		if err := os.Chmod(dir, 0o555); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = os.Chmod(dir, 0o755) })
		if _, err := Open(dir, Options{}); !errors.Is(err, os.ErrPermission) {
			t.Errorf("error %v, want %v", err, os.ErrPermission)
		}
	})
}
