package web

import (
	"os"
	"path/filepath"
	"testing"
)

// TestANoteIsReplacedWhole: what cannot be put in its place leaves the old there and nothing
// beside it.
func TestANoteIsReplacedWhole(t *testing.T) {
	folder := t.TempDir()
	name := filepath.Join(folder, "x.wav.json")
	for _, text := range []string{"the first", "the second, and longer"} {
		if err := replaceWhole(name, []byte(text)); err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadFile(name); err != nil || string(got) != text {
			t.Errorf("%q, %v; want %q", got, err, text)
		}
	}
	if err := os.WriteFile(name+".new", []byte("left by a kill, and longer than what comes after it"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := replaceWhole(name, []byte("short")); err != nil {
		t.Fatal(err)
	}
	if got, _ := os.ReadFile(name); string(got) != "short" {
		t.Errorf("%q", got)
	}
	taken := filepath.Join(folder, "y.wav.json") // a folder with something in it cannot be replaced
	if err := os.MkdirAll(filepath.Join(taken, "full"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := replaceWhole(taken, []byte("new")); err == nil {
		t.Error("no error")
	}
	list, err := os.ReadDir(folder)
	if err != nil || len(list) != 2 {
		t.Errorf("%v, %v; want the two notes alone", list, err)
	}
}

// TestANoteOnAFullDisk has the device that is always full in the place of the new one.
func TestANoteOnAFullDisk(t *testing.T) {
	if _, err := os.Stat("/dev/full"); err != nil {
		t.Skip(err)
	}
	name := filepath.Join(t.TempDir(), "x.wav.json")
	if err := replaceWhole(name, []byte("old")); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("/dev/full", name+".new"); err != nil {
		t.Skip(err)
	}
	if err := replaceWhole(name, []byte("new")); err == nil {
		t.Error("no error")
	}
	if got, err := os.ReadFile(name); err != nil || string(got) != "old" {
		t.Errorf("%q, %v; want the old one", got, err)
	}
}
