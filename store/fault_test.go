package store

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"testing/iotest"

	"headstack/job"
)

func TestFullDiskLosesNothingKept(t *testing.T) {
	s := open(t, t.TempDir(), Options{})
	j := openedJob(t, s)
	var pages int
	if err := s.write.QueryRow(`PRAGMA page_count`).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	// The write connection stays, and the limit with it.
	if err := s.write.QueryRow(`PRAGMA max_page_count = ` + itoa(pages+8)).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	kept := 0
	var err error
	for kept < 1000 {
		if _, err = s.AppendEntry(t.Context(), noteIn(j, strings.Repeat("long ", 200))); err != nil {
			break
		}
		kept++
	}
	if !errors.Is(err, ErrFull) {
		t.Fatalf("after %d entries: error %v, want ErrFull", kept, err)
	}
	for range 3 { // and stays so
		if _, err := s.AppendEntry(t.Context(), noteIn(j, strings.Repeat("long ", 2000))); !errors.Is(err, ErrFull) {
			t.Errorf("error %v, want ErrFull", err)
		}
	}
	got, err := s.Entries(t.Context(), j.ID)
	if err != nil || len(got) != kept || kept == 0 {
		t.Fatalf("%d entries (%v), %d were acknowledged", len(got), err, kept)
	}
	// Room again: the same append works.
	if err := s.write.QueryRow(`PRAGMA max_page_count = 100000`).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	e, err := s.AppendEntry(t.Context(), noteIn(j, strings.Repeat("long ", 200)))
	if err != nil || e.Seq != int64(kept+1) {
		t.Errorf("after making room: entry %d, %v; want %d", e.Seq, err, kept+1)
	}
}

func checkEmpty(t *testing.T, s *Store) {
	t.Helper()
	list, err := os.ReadDir(s.captures())
	if err != nil || len(list) != 0 {
		t.Errorf("the captures folder holds %v (%v), want nothing", list, err)
	}
}

func TestBrokenUploadsLeaveNothing(t *testing.T) {
	s := open(t, t.TempDir(), Options{})
	big := strings.NewReader(strings.Repeat("x", 1<<20))
	if _, _, err := s.Put(t.Context(), iotest.TimeoutReader(big)); !errors.Is(err, iotest.ErrTimeout) {
		t.Errorf("error %v, want %v", err, iotest.ErrTimeout)
	}
	checkEmpty(t, s)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, _, err := s.Put(ctx, big); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want %v", err, context.Canceled)
	}
	checkEmpty(t, s)
}

func TestRemainsOfAKilledUploadAreRemoved(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, Options{})
	remains := filepath.Join(s.captures(), remainsPrefix+"123")
	if err := os.WriteFile(remains, []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	checkEmpty(t, open(t, dir, Options{}))
}

func TestAnAlteredCaptureIsNamed(t *testing.T) {
	s := open(t, t.TempDir(), Options{})
	sha, _, err := s.Put(t.Context(), strings.NewReader("abc"))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(s.captures(), sha)
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte("abd"), 0o644); err != nil {
		t.Fatal(err)
	}
	_, err = s.Open(t.Context(), sha)
	got, ok := errors.AsType[*job.AlteredError](err)
	if !ok || got.Path != path || got.Want != sha || got.Got == sha {
		t.Fatalf("error %v, want AlteredError for %s", err, path)
	}
	// The original put again takes the place of the altered one.
	if _, _, err := s.Put(t.Context(), strings.NewReader("abc")); err != nil {
		t.Fatal(err)
	}
	checkFolder(t, s)
}

func TestStoppedAppendKeepsNothing(t *testing.T) {
	s := open(t, t.TempDir(), Options{})
	j := openedJob(t, s)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.AppendEntry(ctx, noteIn(j, "x")); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want %v", err, context.Canceled)
	}
	if got, err := s.Entries(t.Context(), j.ID); err != nil || len(got) != 0 {
		t.Errorf("%d entries (%v), want 0", len(got), err)
	}
}

// history is the schema's history with more steps behind it.
func history(t *testing.T, more map[string]string) fs.FS {
	t.Helper()
	out := fstest.MapFS{}
	list, err := fs.Glob(embedded, "migrations/*.sql")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range list {
		data, err := fs.ReadFile(embedded, name)
		if err != nil {
			t.Fatal(err)
		}
		out[filepath.Base(name)] = &fstest.MapFile{Data: data}
	}
	for name, text := range more {
		out[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return out
}

func TestSchemaChange(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, Options{})
	j := openedJob(t, s)
	if _, err := s.AppendEntry(t.Context(), noteIn(j, "before the change")); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(dir, backupsName)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a new bench has a backup already (%v)", err)
	}

	broken := history(t, map[string]string{"00099_x.sql": "-- +goose Up\nCREATE TABLE extra (n INTEGER) STRICT;\nSELECT no_such();\n"})
	_, err := Open(dir, Options{migrations: broken})
	if err == nil || !strings.Contains(err.Error(), filepath.Join(dir, backupsName)) {
		t.Fatalf("error %v, want one that names the backup", err)
	}
	s = open(t, dir, Options{}) // the failed change left nothing
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}

	later := history(t, map[string]string{"00099_x.sql": "-- +goose Up\nCREATE TABLE extra (n INTEGER) STRICT;\n"})
	s = open(t, dir, Options{migrations: later})
	if got, err := s.Entries(t.Context(), j.ID); err != nil || len(got) != 1 {
		t.Errorf("after the change: %d entries (%v), want 1", len(got), err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(dir, Options{}); !isType[*NewerError](err) {
		t.Errorf("error %v, want NewerError", err)
	}
	checkBackups(t, dir, j, 2)
}

// checkBackups opens each copy as a bench of its own.
func checkBackups(t *testing.T, dir string, j job.Job, want int) {
	t.Helper()
	list, err := filepath.Glob(filepath.Join(dir, backupsName, "bench-schema*-*.db"))
	if err != nil || len(list) != want {
		t.Fatalf("backups: %v (%v), want %d", list, err, want)
	}
	for _, path := range list {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		restored := t.TempDir()
		if err := os.WriteFile(filepath.Join(restored, databaseName), data, 0o644); err != nil {
			t.Fatal(err)
		}
		s := open(t, restored, Options{})
		if got, err := s.Entries(t.Context(), j.ID); err != nil || len(got) != 1 || got[0].Remark != "before the change" {
			t.Errorf("restored from %s: %+v, %v", path, got, err)
		}
	}
}
