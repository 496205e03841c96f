package store

import (
	"crypto/rand"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// smallDisk mounts a file system with room for 4 MiB, which only the superuser
// may do.
func smallDisk(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=4m"); err != nil {
		t.Skipf("a small disk cannot be mounted here: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Errorf("unmounting: %v", err)
		}
	})
	return dir
}

func TestDiskThatRunsFull(t *testing.T) {
	disk := smallDisk(t)
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
	disk := smallDisk(t)
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

type neverEnding struct{}

func (neverEnding) Read(p []byte) (int, error) { return len(p), nil }
