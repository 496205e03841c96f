package halfmade

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// ended is the number of a process that has run and ended.
func ended(t *testing.T) int {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^$")
	if err := cmd.Run(); err != nil {
		t.Fatal(err)
	}
	return cmd.Process.Pid
}

// TestOnlyWhatNobodyUsesIsRemoved lays half-made files and folders of this process and of one
// that ended, young and old, beside names that are nearly theirs.
func TestOnlyWhatNobodyUsesIsRemoved(t *testing.T) {
	folder, pid, now := t.TempDir(), ended(t), time.Now()
	old := now.Add(-2 * Rest)
	own, err := os.CreateTemp(folder, Pattern("backup"))
	if err != nil {
		t.Fatal(err)
	}
	_ = own.Close()
	file := func(when time.Time, part ...string) string {
		path := filepath.Join(append([]string{folder}, part...)...)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte("half"), 0o444); err != nil {
			t.Fatal(err)
		}
		for p := path; p != folder; p = filepath.Dir(p) {
			if err := os.Chtimes(p, when, when); err != nil {
				t.Fatal(err)
			}
		}
		return filepath.Join(folder, part[0])
	}
	if err := os.Chtimes(own.Name(), old, old); err != nil {
		t.Fatal(err)
	}
	name := func(kind string, n int) string { return fmt.Sprintf(".headstack-%s-%d-%d", kind, pid, n) }
	stale := []string{file(old, name("backup", 1)), file(old, name("restoring", 2), "captures", "one")}
	young := []string{file(now, name("backup", 3)), file(now, name("restoring", 4), "captures", "one")}
	others := []string{own.Name(), file(old, ".backup-1234"), file(old, ".headstack-backup-"), file(old, ".headstack-backup-x-1"),
		file(old, fmt.Sprintf(".headstack-backup-%d-1-2", pid)), file(old, fmt.Sprintf("headstack-backup-%d-1", pid))}
	// A folder whose own time is old while a file in it is young: somebody elsewhere writes it.
	growing := file(old, name("restoring", 5), "captures", "two")
	if err := os.Chtimes(filepath.Join(growing, "captures", "two"), now, now); err != nil {
		t.Fatal(err)
	}
	young = append(young, growing)

	removed, left, err := Clear(folder, now)
	if err != nil {
		t.Fatal(err)
	}
	paths := func(list []Left) (out []string) {
		for _, l := range list {
			if l.Process != pid || l.Bytes != 4 {
				t.Errorf("%+v: want process %d and 4 bytes", l, pid)
			}
			out = append(out, l.Path)
		}
		slices.Sort(out)
		return out
	}
	slices.Sort(stale)
	slices.Sort(young)
	if got := paths(removed); !slices.Equal(got, stale) {
		t.Errorf("removed %v, want %v", got, stale)
	}
	if got := paths(left); !slices.Equal(got, young) {
		t.Errorf("left %v, want %v", got, young)
	}
	for _, p := range append(young, others...) {
		if _, err := os.Lstat(p); err != nil {
			t.Errorf("%s is gone", p)
		}
	}
	for _, p := range stale {
		if _, err := os.Lstat(p); err == nil {
			t.Errorf("%s is still there", p)
		}
	}
}

// TestAFolderThatIsNotThere holds nothing; one that is a link is not followed.
func TestAFolderThatIsNotThere(t *testing.T) {
	folder := t.TempDir()
	if list, err := In(filepath.Join(folder, "none")); err != nil || list != nil {
		t.Errorf("%v, %v", list, err)
	}
	aim := filepath.Join(t.TempDir(), "dear")
	if err := os.WriteFile(aim, []byte("dear"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(aim, filepath.Join(folder, fmt.Sprintf(".headstack-backup-%d-1", ended(t)))); err != nil {
		t.Skip(err)
	}
	if list, err := In(folder); err != nil || list != nil {
		t.Errorf("a link: %v, %v", list, err)
	}
}
