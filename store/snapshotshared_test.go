package store

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"headstack/job"
	"headstack/store/pgtest"
)

func openInstant(t *testing.T, opt Shared) *Snapshot {
	t.Helper()
	s, err := OpenSharedSnapshot(t.Context(), opt)
	if err != nil {
		t.Fatalf("OpenSharedSnapshot: %v", err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return s
}

// A snapshot of a record on a server shows one instant, on as many connections as read it, also
// after one of them was lost or answered with an error; it takes nothing and holds up nobody.
func TestASharedSnapshotIsOneInstant(t *testing.T) {
	srv := pgtest.Start(t, sharedChecks)
	opt := Shared{Address: srv.Database(t), Dir: t.TempDir()}
	s := openAt(t, opt)
	j := openedJob(t, s)
	var want []job.Entry
	for i := range 20 {
		e, err := s.AppendEntry(t.Context(), noteIn(j, fmt.Sprint(i)))
		if err != nil {
			t.Fatal(err)
		}
		want = append(want, e)
	}
	if _, _, err := s.Put(t.Context(), strings.NewReader("a capture")); err != nil {
		t.Fatal(err)
	}
	snap := openInstant(t, opt)
	later := func(text string) {
		t.Helper()
		if _, err := s.AppendEntry(t.Context(), noteIn(j, text)); err != nil {
			t.Fatal(err)
		}
	}
	look := func(what string) {
		t.Helper()
		got, err := snap.Entries(t.Context(), j.ID)
		if err != nil {
			t.Errorf("%s: %v", what, err)
		} else if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s: (-then +now)\n%s", what, diff)
		}
	}
	later("meanwhile")
	if _, _, err := s.Put(t.Context(), strings.NewReader("meanwhile")); err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() { look("eight at once") })
	}
	wg.Wait()
	const held = `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND state = 'idle in transaction'`
	const cut = `SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity WHERE datname = current_database() AND state = 'idle in transaction'
		AND pid <> (SELECT min(pid) FROM pg_stat_activity WHERE datname = current_database() AND state = 'idle in transaction')`
	name := pgtest.Name(opt.Address)
	if n := srv.SQL(t, name, held); n == "0" || n == "1" {
		t.Errorf("%s connections hold the instant, want that of the snapshot and those that read", n)
	}
	if _, err := snap.read.ExecContext(t.Context(), `SELECT 1/0`); err == nil {
		t.Fatal("no error")
	}
	look("after an error")
	srv.SQL(t, name, cut)
	for range readers { // each that was cut says so once
		if _, err := snap.Entries(t.Context(), j.ID); err == nil {
			break
		}
	}
	look("after a cut")
	later("later still")
	look("in the end")
	if files, err := snap.KeptFiles(t.Context()); err != nil || len(files) != 1 {
		t.Errorf("files %v (%v), want the one", files, err)
	}
	if _, err := snap.AppendEntry(t.Context(), noteIn(j, "x")); err == nil || !strings.Contains(err.Error(), "takes nothing") {
		t.Errorf("an entry: error %v", err)
	}
	if err := snap.Restore(t.Context(), func(job.Restoring) error { t.Error("asked for a record"); return nil }); err == nil {
		t.Error("it took a record")
	}
	if _, _, err := snap.Put(t.Context(), strings.NewReader("x")); err == nil {
		t.Error("it took a file")
	}
	if _, err := snap.read.ExecContext(t.Context(), `CREATE TABLE x (n INT)`); err == nil {
		t.Error("it made a table")
	}
	if err := snap.Close(); err != nil {
		t.Fatal(err)
	}
	if n := srv.SQL(t, name, held); n != "0" {
		t.Errorf("%s connections are left in a transaction", n)
	}
}

// What is no bench of this program's schema is named, and stays as it was.
func TestASharedSnapshotChangesNothing(t *testing.T) {
	srv := pgtest.Start(t, sharedChecks)
	for what, at := range map[string]struct{ sql, want string }{
		"empty":   {"SELECT 1", "no bench in it yet"},
		"another": {"CREATE TABLE other (n INT)", "not one of a bench"},
		"older":   {"DELETE FROM goose_db_version WHERE version_id = (SELECT max(version_id) FROM goose_db_version)", "of an earlier program"},
		"newer":   {"INSERT INTO goose_db_version (version_id, is_applied) VALUES (9000, true)", "use the newer headstack"},
	} {
		opt := Shared{Address: srv.Database(t), Dir: t.TempDir()}
		if what == "older" || what == "newer" {
			s, err := OpenShared(t.Context(), opt)
			if err != nil {
				t.Fatal(err)
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
		}
		name := pgtest.Name(opt.Address)
		srv.SQL(t, name, at.sql)
		const all = `SELECT (SELECT count(*) FROM pg_class), (SELECT string_agg(relname, ',' ORDER BY oid) FROM pg_class WHERE relnamespace = 'public'::regnamespace)`
		before := srv.SQL(t, name, all)
		s, err := OpenSharedSnapshot(context.Background(), opt)
		if err == nil {
			s.Close()
		}
		if err == nil || !strings.Contains(err.Error(), at.want) {
			t.Errorf("%s: error %v, want %q", what, err, at.want)
		}
		if after := srv.SQL(t, name, all); after != before {
			t.Errorf("%s: %q became %q", what, before, after)
		}
	}
}
