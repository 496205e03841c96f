package export_test

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"headstack/export"
	"headstack/job"
	"headstack/job/jobtest"
)

func TestABenchComesBackAsItWas(t *testing.T) {
	data, s := exported(t)
	want, err := export.ContentOf(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	if want.Jobs != 2 || want.Entries < 20 || want.Files < 6 || want.Listings < 2 {
		t.Fatalf("the fixture holds too little: %v", want)
	}
	tree, err := export.OpenZip(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	anew := openStore(t, filepath.Join(t.TempDir(), "anew"))
	c, err := importTree(t.Context(), tree, anew, export.ImportOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if c.Content != want || len(c.Unknown) > 0 || len(c.Lost) > 0 {
		t.Errorf("imported %+v, want %+v and nothing unknown or lost", c, want)
	}
	if again := zipOf(t, anew); !bytes.Equal(again, data) {
		t.Errorf("the export of the imported bench has %d bytes and differs from the %d of the first", len(again), len(data))
	}
	// The record goes on from there: numbers follow on.
	e, err := anew.AppendEntry(t.Context(), job.Entry{Job: "job-0002", At: jobtest.Clock, Kind: job.KindNote, Remark: "after"})
	if err != nil || e.Seq != int64(want.Entries)+1 {
		t.Errorf("the next entry is %d (%v), want %d", e.Seq, err, want.Entries+1)
	}
}

func TestTheFolderIsTheZipUnpacked(t *testing.T) {
	data, s := exported(t)
	dir := filepath.Join(t.TempDir(), "out", "bench")
	w, err := export.ToFolder(t.Context(), s, dir, export.Options{Report: page})
	if err != nil {
		t.Fatal(err)
	}
	list := unzip(t, data)
	if w.Exported != len(list) {
		t.Errorf("%d files in the folder, %d in the zip", w.Exported, len(list))
	}
	for _, m := range list {
		got, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(m.name)))
		if err != nil || !bytes.Equal(got, m.data) {
			t.Errorf("%s differs from the one in the zip (%v)", m.name, err)
		}
	}
	if _, err := export.ToFolder(t.Context(), s, dir, export.Options{}); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("a folder with something in it: error %v", err)
	}
	tree, err := export.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer tree.Close()
	if _, err := importTree(t.Context(), tree, openStore(t, filepath.Join(t.TempDir(), "b")), export.ImportOptions{}); err != nil {
		t.Error(err)
	}
	if sha, err := exec.LookPath("sha256sum"); err == nil { // GNU coreutils
		cmd := exec.Command(sha, "-c", "--strict", "--quiet", "SHA256SUMS")
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("sha256sum -c: %v\n%s", err, out)
		}
	}
}

func TestASnapshotIsOneInstant(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "bench")
	s := openStore(t, dir)
	everything(t, s)
	before, err := export.ContentOf(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	snap := snapshot(t, dir) // while the bench is open
	if _, err := s.AppendEntry(t.Context(), job.Entry{Job: "job-0001", At: jobtest.Clock, Kind: job.KindNote, Remark: "meanwhile"}); err != nil {
		t.Fatal(err)
	}
	if _, _, err := s.Put(t.Context(), strings.NewReader("meanwhile")); err != nil {
		t.Fatal(err)
	}
	if got, err := export.ContentOf(t.Context(), snap); err != nil || got != before {
		t.Errorf("the snapshot holds %v (%v), want %v", got, err, before)
	}
	if _, err := snap.AppendEntry(t.Context(), job.Entry{Job: "job-0001", At: jobtest.Clock, Kind: job.KindNote}); err == nil {
		t.Error("a snapshot took an entry")
	}
	if _, _, err := snap.Put(t.Context(), strings.NewReader("x")); err == nil {
		t.Error("a snapshot took a file")
	}
}

func TestOnlyAnEmptyBenchTakesAnExport(t *testing.T) {
	data, s := exported(t)
	before, _ := export.ContentOf(t.Context(), s)
	tree, err := export.OpenZip(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	_, err = importTree(t.Context(), tree, s, export.ImportOptions{})
	full, ok := errors.AsType[*job.NotEmptyError](err)
	if !ok || full.Jobs != 2 || full.Hint() == "" {
		t.Errorf("error %v, want that the bench has two jobs and what to do", err)
	}
	if after, err := export.ContentOf(t.Context(), s); err != nil || after != before {
		t.Errorf("the bench holds %v (%v), before %v", after, err, before)
	}
	// A file of something else: what comes out would not be the bench that was exported.
	stray := openStore(t, filepath.Join(t.TempDir(), "stray"))
	if _, _, err := stray.Put(t.Context(), strings.NewReader("of another export")); err != nil {
		t.Fatal(err)
	}
	_, err = importTree(t.Context(), tree, stray, export.ImportOptions{})
	if _, ok := errors.AsType[*export.StrayError](err); !ok {
		t.Errorf("error %v, want that a file is in the way", err)
	}
	if files, _ := stray.KeptFiles(t.Context()); len(files) != 1 {
		t.Errorf("%d files after the refusal, want the one that was there", len(files))
	}
}
