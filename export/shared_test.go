package export_test

import (
	"bytes"
	"path/filepath"
	"testing"

	"headstack/export"
	"headstack/job"
	"headstack/job/jobtest"
	"headstack/store"
	"headstack/store/pgtest"
)

// A bench with everything goes from a folder to a server and back to a folder: what it holds
// has the same hash and its export the same bytes each time.
func TestABenchGoesToAServerAndBack(t *testing.T) {
	srv := pgtest.Start(t, "export of a record on PostgreSQL")
	data, s := exported(t)
	want, err := export.ContentOf(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	read := func(data []byte, into export.Bench) {
		t.Helper()
		tree, err := export.OpenZip(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			t.Fatal(err)
		}
		c, err := importTree(t.Context(), tree, into, export.ImportOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if c.Content != want {
			t.Errorf("imported %v, want %v", c.Content, want)
		}
	}
	same := func(where string, got job.Contents) []byte {
		t.Helper()
		if c, err := export.ContentOf(t.Context(), got); err != nil || c != want {
			t.Errorf("%s holds %v (%v), want %v", where, c, err, want)
		}
		again := zipOf(t, got)
		if !bytes.Equal(again, data) {
			t.Errorf("the export of %s has %d bytes and differs from the %d of the first", where, len(again), len(data))
		}
		return again
	}
	at := store.Shared{Address: srv.Database(t), Dir: t.TempDir()}
	shared, err := store.OpenShared(t.Context(), at)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { shared.Close() })
	read(data, shared)
	snap, err := store.OpenSharedSnapshot(t.Context(), at)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { snap.Close() })
	note := job.Entry{Job: "job-0002", At: jobtest.Clock, Kind: job.KindNote, Remark: "meanwhile"}
	if _, err := shared.AppendEntry(t.Context(), note); err != nil {
		t.Fatal(err)
	}
	fromServer := same("the server", snap)
	back := openStore(t, filepath.Join(t.TempDir(), "back"))
	read(fromServer, back)
	same("the folder", back)
}
