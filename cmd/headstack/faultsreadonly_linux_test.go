package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// readOnly makes a folder one that cannot be written: for the superuser, whom modes do not
// bind, by a mount that lies over it.
func readOnly(t *testing.T, dir string) {
	t.Helper()
	if os.Geteuid() != 0 {
		if err := os.Chmod(dir, 0o555); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = os.Chmod(dir, 0o755) })
		return
	}
	err := syscall.Mount(dir, dir, "", syscall.MS_BIND, "")
	if err == nil {
		t.Cleanup(func() {
			if err := syscall.Unmount(dir, 0); err != nil {
				t.Errorf("unmounting: %v", err)
			}
		})
		err = syscall.Mount("", dir, "", syscall.MS_BIND|syscall.MS_REMOUNT|syscall.MS_RDONLY, "")
	}
	if err != nil {
		if !errors.Is(err, syscall.EPERM) && !errors.Is(err, syscall.EACCES) && os.Getenv("HEADSTACK_NEED_TOOLS") == "1" {
			t.Fatalf("mounting a folder read-only: %v", err)
		}
		t.Skipf("a folder cannot be mounted read-only here (%v): what one does is not tried", err)
	}
}

// TestAFolderThatCannotBeWritten: what would write says so before anything is typed, doctor
// says what to do, and what only reads still reads, so that the bench can be taken to another
// disk.
func TestAFolderThatCannotBeWritten(t *testing.T) {
	bench := benchWithJob(t)
	before, err := os.ReadFile(filepath.Join(bench, "bench.db"))
	if err != nil {
		t.Fatal(err)
	}
	readOnly(t, bench)
	for _, args := range [][]string{{"note", "job-0001", "second"}, {"serve", "--port", "0"}} {
		call(t, bench, args...).want(t, exitError, "the folder cannot be written to", bench)
	}
	call(t, bench, "doctor", "--port", "0").want(t, exitNotInOrder, "✕ folder: ", "give this user the right to write in "+bench)
	call(t, bench, "verify").want(t, exitDone, "1 entries", "all as it was kept")
	root := t.TempDir()
	zip, anew := filepath.Join(root, "b.zip"), filepath.Join(root, "anew")
	call(t, bench, "backup", zip).want(t, exitDone)
	call(t, anew, "restore", zip).want(t, exitDone)
	call(t, anew, "note", "job-0001", "on another disk").want(t, exitDone)
	call(t, anew, "verify").want(t, exitDone, "2 entries")
	call(t, bench, "backup", filepath.Join(bench, "b.zip")).want(t, exitError, "no backup was made; the bench is as it was")
	if after, err := os.ReadFile(filepath.Join(bench, "bench.db")); err != nil || string(after) != string(before) {
		t.Errorf("the record was changed (%v)", err)
	}
	if list, _ := filepath.Glob(filepath.Join(root, ".headstack-*")); len(list) > 0 {
		t.Errorf("left: %s", strings.Join(list, ", "))
	}
}

// TestALogThatCannotBeRead: after a kill the last entries are in the log; in a folder that
// cannot be written they are not passed over: it is said what to do to read them.
func TestALogThatCannotBeRead(t *testing.T) {
	bench := benchWithJob(t)
	if err := os.WriteFile(filepath.Join(bench, "bench.db-wal"), []byte("entries"), 0o644); err != nil {
		t.Fatal(err)
	}
	readOnly(t, bench)
	const says = "copy the whole folder to a disk that can be written and look there"
	call(t, bench, "backup", filepath.Join(t.TempDir(), "b.zip")).want(t, exitError, says)
	call(t, bench, "verify").want(t, exitNotInOrder, says)
}
