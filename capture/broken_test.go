package capture_test

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"headstack/capture"
)

var update = flag.Bool("update", false, "write testdata/broken anew")

// TestBroken opens and reads every file of testdata/broken: each gives its own
// error, with file, byte and what to do, or is read as far as it goes with its own warning.
func TestBroken(t *testing.T) {
	dir := filepath.Join("testdata", "broken")
	said := map[string]string{}
	for _, b := range brokenFiles(t) {
		path := filepath.Join(dir, b.name)
		if *update {
			if err := os.MkdirAll(dir, 0o777); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, b.file, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		t.Run(b.name, func(t *testing.T) {
			file, err := os.ReadFile(path)
			if err != nil || !bytes.Equal(file, b.file) {
				t.Fatalf("not the file that this test makes (%v): run it with -update", err)
			}
			frames, warnings, err := drain(path)
			if frames != b.frames {
				t.Errorf("%d frames came, want %d", frames, b.frames)
			}
			text := strings.Join(warnings, "\n")
			if b.kind == nil {
				if err != nil {
					t.Errorf("error %v, want warnings", err)
				}
			} else {
				checkError(t, err, path, b)
				text = strings.TrimPrefix(err.Error(), path)
			}
			if !strings.Contains(text, b.piece) {
				t.Errorf("it says %q, want %q in it", text, b.piece)
			}
			if other, ok := said[text]; ok {
				t.Errorf("it says the same as %s: %q", other, text)
			}
			said[text] = b.name
		})
	}
	if entries, err := os.ReadDir(dir); err != nil || len(entries) != len(said) || len(said) < 30 {
		t.Errorf("%d files in %s for %d cases (%v), want as many, 30 or more", len(entries), dir, len(said), err)
	}
}

// drain reads a file to its end.
func drain(path string) (frames int, warnings []string, err error) {
	r, err := capture.Open(path)
	if err != nil {
		return 0, nil, err
	}
	defer r.Close()
	got, err := readAll(r, 100)
	return len(got[0]), r.Warnings(), err
}

func checkError(t *testing.T, err error, path string, b broken) {
	t.Helper()
	e, ok := errors.AsType[*capture.Error](err)
	if !ok {
		t.Fatalf("error %v (%T), want an *Error", err, err)
	}
	if !errors.Is(err, b.kind) || e.Kind != b.kind {
		t.Errorf("kind %v, want %v", e.Kind, b.kind)
	}
	if e.File != path || e.Offset != b.at || e.What == "" || e.Want == "" || e.Hint == "" {
		t.Errorf("incomplete or elsewhere: %#v, want byte %d", e, b.at)
	}
	if prefix := fmt.Sprintf("%s: byte %d: %v: ", path, b.at, b.kind); !strings.HasPrefix(err.Error(), prefix) {
		t.Errorf("error %q, want it to start with %q", err, prefix)
	}
}
