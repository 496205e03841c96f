package store

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"headstack/job"
)

// filled is a bench with a job, entries, a document and two files.
func filled(t *testing.T) (*Store, job.Job) {
	t.Helper()
	s := open(t, t.TempDir(), Options{})
	j := openedJob(t, s)
	for i := range 20 {
		if _, err := s.AppendEntry(t.Context(), noteIn(j, fmt.Sprintf("note %d µΩ±", i))); err != nil {
			t.Fatal(err)
		}
	}
	for _, data := range []string{"first capture", strings.Repeat("second", 100_000)} {
		if _, _, err := s.Put(t.Context(), strings.NewReader(data)); err != nil {
			t.Fatal(err)
		}
	}
	return s, j
}

func backedUp(t *testing.T, dir string) []byte {
	t.Helper()
	var b bytes.Buffer
	c, err := Backup(t.Context(), dir, &b, time.Date(2031, 3, 4, 19, 30, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Files) != 3 || c.Bytes() < 600_000 {
		t.Fatalf("it holds %+v", c)
	}
	return b.Bytes()
}

func TestRestoredIsEqual(t *testing.T) {
	s, j := filled(t)
	want, err := s.Entries(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	data := backedUp(t, s.Dir()) // while it is open
	if _, err := CheckBackup(t.Context(), bytes.NewReader(data), int64(len(data))); err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "made", "anew")
	if _, err := Restore(t.Context(), bytes.NewReader(data), int64(len(data)), dir); err != nil {
		t.Fatal(err)
	}
	v, err := Verify(t.Context(), dir)
	if err != nil || len(v.Problems) > 0 || v.Files != 2 || v.Entries != 20 {
		t.Fatalf("%+v %v", v, err)
	}
	r := open(t, dir, Options{})
	got, err := r.Entries(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if _, err := r.AppendEntry(t.Context(), noteIn(j, "goes on")); err != nil {
		t.Error(err)
	}
	if _, err := Restore(t.Context(), bytes.NewReader(data), int64(len(data)), dir); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("restored over a bench: %v", err)
	}
}

// TestBackupWhileEntriesAreMade: the copy is of one instant, whatever is written meanwhile.
func TestBackupWhileEntriesAreMade(t *testing.T) {
	s, j := filled(t)
	stop := make(chan bool)
	var w sync.WaitGroup
	w.Go(func() {
		for {
			select {
			case <-stop:
				return
			default:
				if _, err := s.AppendEntry(t.Context(), noteIn(j, "meanwhile")); err != nil {
					t.Error(err)
					return
				}
			}
		}
	})
	data := backedUp(t, s.Dir())
	close(stop)
	w.Wait()
	dir := filepath.Join(t.TempDir(), "x")
	if _, err := Restore(t.Context(), bytes.NewReader(data), int64(len(data)), dir); err != nil {
		t.Fatal(err)
	}
	got, err := open(t, dir, Options{}).Entries(t.Context(), j.ID)
	if err != nil || len(got) < 20 {
		t.Fatalf("%d entries, %v", len(got), err)
	}
	for i, e := range got {
		if e.Seq != int64(i+1) {
			t.Fatalf("entry %d has number %d", i+1, e.Seq)
		}
	}
}

// TestBadBackupsAreRefusedWhole cuts, flips and forges backups.
func TestBadBackupsAreRefusedWhole(t *testing.T) {
	s, _ := filled(t)
	good := backedUp(t, s.Dir())
	refused := func(what string, data []byte) {
		t.Helper()
		dir := filepath.Join(t.TempDir(), "x")
		_, err := Restore(t.Context(), bytes.NewReader(data), int64(len(data)), dir)
		if _, ok := errors.AsType[*BackupError](err); !ok {
			t.Errorf("%s: %v", what, err)
		}
		if left, _ := os.ReadDir(filepath.Dir(dir)); len(left) != 0 {
			t.Errorf("%s left %v behind", what, left)
		}
	}
	for _, part := range []int{0, 1, len(good) / 2, len(good) - 1} {
		refused(fmt.Sprintf("%d bytes of %d", part, len(good)), good[:part])
	}
	flips := 0
	for at := 400; at < len(good)-2000; at += len(good) / 50 {
		bad := bytes.Clone(good)
		bad[at] ^= 0x10
		if _, err := CheckBackup(t.Context(), bytes.NewReader(bad), int64(len(bad))); err == nil {
			t.Errorf("byte %d flipped is not seen", at)
		}
		flips++
	}
	if flips < 40 {
		t.Errorf("only %d flips tried", flips)
	}
	forge := func(list string, files map[string]string) []byte {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		for name, data := range files {
			w, _ := z.Create(name)
			w.Write([]byte(data)) //nolint:errcheck // memory
		}
		w, _ := z.Create(listName)
		w.Write([]byte(list)) //nolint:errcheck // memory
		z.Close()
		return b.Bytes()
	}
	refused("no list", forge("", nil))
	refused("a path that climbs out", forge(`{"format":1,"files":[{"name":"bench.db","size":1,"sha256":"x"},{"name":"captures/../../evil","size":1,"sha256":"../../evil"}]}`, map[string]string{"captures/../../evil": "x"}))
	refused("an absolute path", forge(`{"format":1,"files":[{"name":"/etc/evil","size":1,"sha256":"x"}]}`, nil))
	refused("no database", forge(`{"format":1,"files":[]}`, nil))
	refused("two databases", forge(`{"format":1,"files":[{"name":"bench.db","size":1},{"name":"bench.db","size":1}]}`, nil))
	refused("a later format", forge(`{"format":9,"files":[{"name":"bench.db"}]}`, nil))
	refused("a file larger than its list says", forge(`{"format":1,"files":[{"name":"bench.db","size":3,"sha256":"x"}]}`, map[string]string{"bench.db": strings.Repeat("0", 1<<20)}))
	refused("listed, not there", forge(`{"format":1,"files":[{"name":"bench.db","size":3,"sha256":"x"}]}`, nil))
}

func TestNoBackupOfAnAlteredFile(t *testing.T) {
	s, _ := filled(t)
	names, _ := fileNames(s.Dir())
	path := filepath.Join(s.captures(), names[0])
	if err := errors.Join(os.Chmod(path, 0o644), os.WriteFile(path, []byte("altered"), 0o644)); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	_, err := Backup(t.Context(), s.Dir(), &b, time.Now())
	if _, ok := errors.AsType[*job.AlteredError](err); !ok {
		t.Errorf("backup: %v", err)
	}
	v, err := Verify(t.Context(), s.Dir())
	if err != nil || len(v.Problems) != 1 || !strings.Contains(v.Problems[0], names[0]) {
		t.Errorf("%+v %v", v, err)
	}
}

// TestAFileThatIsGoneIsNamed: with the entry whose it is.
func TestAFileThatIsGoneIsNamed(t *testing.T) {
	s, j := filled(t)
	sha, _, err := s.Put(t.Context(), strings.NewReader("a photograph"))
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.AppendEntry(t.Context(), job.Entry{Job: j.ID, At: time.Now(), Kind: job.KindPhotograph, Photograph: &job.Photograph{File: "lid.png", SHA256: sha, Copy: sha, Bytes: 12, Type: "image/png", Width: 1, Height: 1}})
	if err != nil {
		t.Fatal(err)
	}
	if v, err := Verify(t.Context(), s.Dir()); err != nil || len(v.Problems) > 0 {
		t.Fatalf("%+v %v", v, err)
	}
	if err := os.Remove(filepath.Join(s.captures(), sha)); err != nil {
		t.Fatal(err)
	}
	v, err := Verify(t.Context(), s.Dir())
	if err != nil || len(v.Problems) != 2 || !strings.Contains(v.Problems[0], sha) || !strings.Contains(v.Problems[0], "the file of photograph 1 of "+j.ID) {
		t.Errorf("%+v %v", v, err)
	}
}

// TestDailyCopies: one a day of use, the last fourteen, and the newest whole one is named
// when the database is damaged.
func TestDailyCopies(t *testing.T) {
	dir := t.TempDir()
	now := time.Date(2031, 3, 4, 19, 30, 0, 0, time.UTC)
	at := Options{Now: func() time.Time { return now }}
	s := open(t, dir, at)
	j := openedJob(t, s)
	if _, err := s.AppendEntry(t.Context(), noteIn(j, "kept")); err != nil {
		t.Fatal(err)
	}
	copies := func() []string {
		list, _ := filepath.Glob(filepath.Join(dir, backupsName, dailyPrefix+"*"))
		return list
	}
	if n := len(copies()); n != 0 {
		t.Fatalf("%d copies of an empty bench", n)
	}
	for day := range 20 {
		now = now.AddDate(0, 0, 1)
		for range 2 {
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			s = open(t, dir, at)
			if s.CopyProblem() != nil {
				t.Fatal(s.CopyProblem())
			}
		}
		if n := len(copies()); n != min(day+1, dailyKept) {
			t.Fatalf("day %d: %d copies", day+1, n)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, databaseName)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := 4096; i < len(data); i++ {
		data[i] ^= 0x5a
	}
	list := copies()
	last := list[len(list)-1]
	if err := errors.Join(os.WriteFile(path, data, 0o644), os.Truncate(last, 5000)); err != nil { // and the newest copy is cut
		t.Fatal(err)
	}
	_, err = Open(dir, at)
	c, ok := errors.AsType[*CorruptError](err)
	if !ok || c.LastGood != list[len(list)-2] || !strings.Contains(err.Error(), c.LastGood) {
		t.Fatalf("want %s to be named: %v", list[len(list)-2], err)
	}
	v, err := Verify(t.Context(), dir)
	if err != nil || len(v.Problems) == 0 {
		t.Errorf("a damaged database passes: %+v %v", v, err)
	}
	if err := os.Rename(c.LastGood, path); err != nil {
		t.Fatal(err)
	}
	got, err := open(t, dir, at).Entries(t.Context(), j.ID)
	if err != nil || len(got) != 1 {
		t.Errorf("of the copy: %d entries, %v", len(got), err)
	}
}
