package store

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"headstack/job"
)

func init() { children[limitEnv] = keepTooMuch }

// smallDisk mounts a file system of a size, which only the superuser
// may do.
func smallDisk(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size); err != nil {
		if !errors.Is(err, syscall.EPERM) && !errors.Is(err, syscall.EACCES) && os.Getenv("HEADSTACK_NEED_TOOLS") == "1" {
			t.Fatalf("mounting a small disk: %v", err)
		}
		t.Skipf("a small disk cannot be mounted here (%v): what a full disk does is not tried", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Errorf("unmounting: %v", err)
		}
	})
	return dir
}

func TestDiskThatRunsFull(t *testing.T) {
	disk := smallDisk(t, "4m")
	dir := filepath.Join(disk, "bench")
	s := open(t, dir, Options{})
	j := openedJob(t, s)
	ballast := filepath.Join(disk, "ballast")
	if err := os.WriteFile(ballast, make([]byte, 1<<20), 0o644); err != nil {
		t.Fatal(err)
	}

	var kept int
	var err error
	for kept < 5000 && err == nil {
		if _, err = s.AppendEntry(t.Context(), noteIn(j, strings.Repeat("long ", 400))); err == nil {
			kept++
		}
	}
	if !errors.Is(err, ErrFull) {
		t.Fatalf("after %d entries: error %v, want ErrFull", kept, err)
	}
	if _, _, err := s.Put(t.Context(), io.LimitReader(rand.Reader, 2<<20)); !errors.Is(err, ErrFull) {
		t.Errorf("a capture: error %v, want ErrFull", err)
	}
	checkEmpty(t, s)
	if got, err := s.Entries(t.Context(), j.ID); err != nil || len(got) != kept {
		t.Errorf("while full: %d entries (%v), want %d", len(got), err, kept)
	}

	// Room is made while the program runs.
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	if e, err := s.AppendEntry(t.Context(), noteIn(j, "after")); err != nil || e.Seq != int64(kept+1) {
		t.Errorf("after making room: entry %d, %v; want %d", e.Seq, err, kept+1)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if got, err := open(t, dir, Options{}).Entries(t.Context(), j.ID); err != nil || len(got) != kept+1 {
		t.Errorf("after reopening: %d entries (%v), want %d", len(got), err, kept+1)
	}
}

// Opening needs a little room for the write-ahead log; without it the reason is
// given, and nothing is lost.
func TestOpeningOnAFullDisk(t *testing.T) {
	disk := smallDisk(t, "4m")
	dir := filepath.Join(disk, "bench")
	s := open(t, dir, Options{})
	j := openedJob(t, s)
	if _, err := s.AppendEntry(t.Context(), noteIn(j, "before")); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	f, err := os.Create(filepath.Join(disk, "ballast"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := io.Copy(f, neverEnding{}); !errors.Is(err, syscall.ENOSPC) {
		t.Fatalf("filling the disk: %v", err)
	}
	if s, err := Open(dir, Options{}); err != nil {
		if !errors.Is(err, ErrFull) {
			t.Errorf("opening: %v, want ErrFull", err)
		}
	} else {
		if got, err := s.Entries(t.Context(), j.ID); err != nil || len(got) != 1 {
			t.Errorf("%d entries (%v), want 1", len(got), err)
		}
		if err := s.Close(); err != nil {
			t.Errorf("closing: %v", err)
		}
	}
	if err := os.Remove(f.Name()); err != nil {
		t.Fatal(err)
	}
	_ = f.Close()
	if got, err := open(t, dir, Options{}).Entries(t.Context(), j.ID); err != nil || len(got) != 1 {
		t.Errorf("with room again: %d entries (%v), want 1", len(got), err)
	}
}

// mixed is everything that a bench is given, step by step: each either is kept or says that
// the disk is full and what to do.
type mixed struct {
	t       *testing.T
	s       *Store
	job     job.Job
	entries map[int64]string // remarks
	files   []string
	docs    []string
	backups []string
	n       int
}

// give tries everything once and returns how many steps the disk was too full for.
func (m *mixed) give(disk string) (refused int) {
	m.t.Helper()
	m.n++
	judge := func(what string, err error) bool {
		if err == nil {
			return true
		}
		refused++
		if !errors.Is(err, ErrFull) || !strings.Contains(err.Error(), "the disk is full") || !strings.Contains(err.Error(), "make room and repeat it") {
			m.t.Errorf("%s: error %v, want one that says that the disk is full and what to do", what, err)
		}
		return false
	}
	e, err := m.s.AppendEntry(m.t.Context(), noteIn(m.job, fmt.Sprint(m.n, strings.Repeat(" long", 400))))
	if judge("an entry", err) {
		m.entries[e.Seq] = e.Remark
	}
	sha, _, err := m.s.Put(m.t.Context(), strings.NewReader(strings.Repeat(fmt.Sprint(m.n, " sound "), 4000)))
	if judge("a capture", err) {
		m.files = append(m.files, sha)
	}
	sha, err = m.s.PutDocument(m.t.Context(), []byte(strings.Repeat(fmt.Sprint(m.n, " words\n"), 100)))
	if judge("a document", err) {
		m.docs = append(m.docs, sha)
	}
	path := filepath.Join(disk, fmt.Sprintf("backup-%d.zip", m.n))
	if _, err = BackupFile(m.t.Context(), m.s.Dir(), path, time.Now()); judge("a backup", err) {
		m.backups = append(m.backups, path)
	} else if _, err := os.Stat(path); err == nil {
		m.t.Error("a backup that failed has its name")
	}
	return refused
}

// check wants all that was acknowledged.
func (m *mixed) check() {
	t := m.t
	t.Helper()
	got, err := m.s.Entries(t.Context(), m.job.ID)
	if err != nil || len(got) != len(m.entries) {
		t.Fatalf("%d entries (%v), acknowledged were %d", len(got), err, len(m.entries))
	}
	for _, e := range got {
		if m.entries[e.Seq] != e.Remark {
			t.Errorf("entry %d is another", e.Seq)
		}
	}
	for _, sha := range m.files {
		if f, err := m.s.Open(t.Context(), sha); err != nil {
			t.Error(err)
		} else {
			_ = f.Close()
		}
	}
	for _, sha := range m.docs {
		if _, err := m.s.Document(t.Context(), sha); err != nil {
			t.Error(err)
		}
	}
	for _, path := range m.backups {
		data, err := os.ReadFile(path)
		if err == nil {
			_, err = CheckBackup(t.Context(), bytes.NewReader(data), int64(len(data)))
		}
		if err != nil {
			t.Errorf("%s: %v", path, err)
		}
	}
	checkFolder(t, m.s)
}

// fill takes all room of a disk but so many bytes.
func fill(t *testing.T, disk string, leave int64) (ballast string) {
	t.Helper()
	var st syscall.Statfs_t
	if err := syscall.Statfs(disk, &st); err != nil {
		t.Fatal(err)
	}
	ballast = filepath.Join(disk, "ballast")
	if n := int64(st.Bavail)*st.Bsize - leave; n > 0 {
		if err := os.WriteFile(ballast, make([]byte, n), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return ballast
}

// TestEveryWorkOnADiskThatRunsFull: with each page of room from none to some hundred, what
// does not fit says so, all that was acknowledged stays, and with room the same open bench
// goes on.
func TestEveryWorkOnADiskThatRunsFull(t *testing.T) {
	disk := smallDisk(t, "16m")
	t.Setenv("TMPDIR", disk) // backups copy the database there first
	s := open(t, filepath.Join(disk, "bench"), Options{})
	m := &mixed{t: t, s: s, job: openedJob(t, s), entries: map[int64]string{}}
	if m.give(disk) != 0 {
		t.Fatal("an empty disk is full")
	}
	refused := 0
	for pages := int64(0); pages < 120; pages += 1 + pages/12 {
		ballast := fill(t, disk, pages*usualPage)
		refused += m.give(disk)
		m.check()
		if err := os.Remove(ballast); err != nil && !errors.Is(err, os.ErrNotExist) {
			t.Fatal(err)
		}
		if m.give(disk) != 0 {
			t.Errorf("with room again after %d pages, something is refused", pages)
		}
		for _, path := range m.backups { // or they fill the disk
			if err := os.Remove(path); err != nil {
				t.Fatal(err)
			}
		}
		m.backups = nil
		if _, err := s.write.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`); err != nil { // so that the log must grow again
			t.Fatal(err)
		}
		if t.Failed() {
			t.Fatalf("with room for %d pages", pages)
		}
	}
	m.check()
	t.Logf("%d steps were refused, %d entries, %d captures and %d documents acknowledged and kept", refused, len(m.entries), len(m.files), len(m.docs))
	if refused < 30 {
		t.Errorf("only %d steps were refused: the disk was not full", refused)
	}
	if list, err := filepath.Glob(filepath.Join(disk, ".headstack-*")); err != nil || len(list) > 0 {
		t.Errorf("backups that failed left %v, %v", list, err)
	}
}

// limitEnv gives a copy of the test binary a folder, to keep what no file may have the size of.
const limitEnv = "HEADSTACK_STORE_TEST_LIMIT"

// TestALimitOnTheSizeOfFiles: an account may have one (RLIMIT_FSIZE), as has a disk whose format ends at
// 4 GB. A process cannot raise its own again, so another one has it.
func TestALimitOnTheSizeOfFiles(t *testing.T) {
	dir := t.TempDir()
	cmd := exec.Command(os.Args[0], "-test.run=^$")
	cmd.Env = append(os.Environ(), limitEnv+"="+dir)
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	var kept int
	if _, err := fmt.Sscanf(string(out), "kept %d", &kept); err != nil || kept < 10 {
		t.Fatalf("it says %q", out)
	}
	s := open(t, dir, Options{})
	if got, err := s.Entries(t.Context(), "job-0001"); err != nil || len(got) != kept {
		t.Errorf("%d entries (%v), acknowledged were %d", len(got), err, kept)
	}
	checkEmpty(t, s)
}

// keepTooMuch is the child of TestALimitOnTheSizeOfFiles.
func keepTooMuch(dir string) int {
	fail := func(format string, args ...any) int { fmt.Printf(format+"\n", args...); return 1 }
	ctx := context.Background()
	s, err := Open(dir, Options{})
	if err != nil {
		return fail("%v", err)
	}
	sha, err := s.PutDocument(ctx, []byte("id: x\n"))
	if err != nil {
		return fail("%v", err)
	}
	if _, err := s.AppendJob(ctx, job.Job{DefinitionSHA: sha, Opened: time.Now()}); err != nil {
		return fail("%v", err)
	}
	limit := syscall.Rlimit{Cur: 1 << 20, Max: 1 << 20}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
		return fail("%v", err)
	}
	_, _, err = s.Put(ctx, io.LimitReader(neverEnding{}, 2<<20))
	if !errors.Is(err, ErrTooLarge) || !strings.Contains(err.Error(), "raise it") {
		return fail("a capture: %v", err)
	}
	kept := 0
	for err = nil; err == nil && kept < 5000; {
		if _, err = s.AppendEntry(ctx, job.Entry{Job: "job-0001", At: time.Now(), Kind: job.KindNote, Remark: strings.Repeat("long ", 400)}); err == nil {
			kept++
		}
	}
	if _, ok := errors.AsType[*DiskError](err); !ok {
		return fail("after %d entries: %v", kept, err)
	}
	if got, err := s.Entries(ctx, "job-0001"); err != nil || len(got) != kept {
		return fail("%d entries (%v), acknowledged were %d", len(got), err, kept)
	}
	fmt.Println("kept", kept)
	return 0
}

type neverEnding struct{}

func (neverEnding) Read(p []byte) (int, error) { return len(p), nil }
