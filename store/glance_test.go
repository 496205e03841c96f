package store

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"headstack/job"
	"headstack/job/jobtest"
)

// TestAGlanceFindsWhatIsGoneOrCut: without reading a byte; Verify, which reads, names each too,
// and that whose size is right and whose bytes are not.
func TestAGlanceFindsWhatIsGoneOrCut(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, Options{})
	j := openedJob(t, s)
	var sha []string
	for i, text := range []string{"the whole", "gone", "cut off", "altered"} {
		h, n := put(t, s, text)
		sha = append(sha, h)
		e := job.Entry{Job: j.ID, At: jobtest.Clock, Kind: job.KindCapture, Capture: &job.Capture{File: "x.wav", SHA256: h, Bytes: n, Tape: "x", Function: "play", Tracks: []int{1}}}
		if _, err := s.AppendEntry(t.Context(), e); err != nil {
			t.Fatalf("%d: %v", i, err)
		}
	}
	path := func(i int) string { return filepath.Join(dir, capturesName, sha[i]) }
	rewrite := func(i int, text string) {
		if err := errors.Join(os.Chmod(path(i), 0o644), os.WriteFile(path(i), []byte(text), 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	if n, bad, err := GlanceAll(t.Context(), dir); n != 4 || len(bad) > 0 || err != nil {
		t.Fatalf("all whole: %d, %v, %v", n, bad, err)
	}
	if err := os.Remove(path(1)); err != nil {
		t.Fatal(err)
	}
	rewrite(2, "cut")
	rewrite(3, "ALTERED")
	n, bad, err := GlanceAll(t.Context(), dir)
	if n != 4 || len(bad) != 2 || err != nil {
		t.Fatalf("%d, %v, %v; want two of four", n, bad, err)
	}
	for i, want := range []job.KeptFileError{{Path: path(1), Want: 4, Have: -1}, {Path: path(2), Want: 7, Have: 3}} {
		e, ok := errors.AsType[*job.KeptFileError](bad[i].Err)
		if !ok || *e != want || bad[i].By != []string{"capture 2 of ", "capture 3 of "}[i]+j.ID {
			t.Errorf("%s: %v, want %+v", bad[i].By, bad[i].Err, want)
		}
	}
	v, err := Verify(t.Context(), dir)
	if err != nil || len(v.Problems) != 3 {
		t.Errorf("verify: %v, %v; want three", v.Problems, err)
	}

	// What reading found is remembered until the file changes again.
	if err := s.Glance(sha[3], 7); err != nil {
		t.Errorf("before it was read: %v", err)
	}
	_, err = s.Open(t.Context(), sha[3])
	if _, ok := errors.AsType[*job.AlteredError](err); !ok {
		t.Fatal(err)
	}
	if _, ok := errors.AsType[*job.AlteredError](s.Glance(sha[3], 7)); !ok {
		t.Error("what was read is not remembered")
	}
	rewrite(3, "altered")
	later := jobtest.Clock
	if err := os.Chtimes(path(3), later, later); err != nil {
		t.Fatal(err)
	}
	if err := s.Glance(sha[3], 7); err != nil {
		t.Errorf("put back: %v", err)
	}
}

func put(t *testing.T, s *Store, text string) (string, int64) {
	t.Helper()
	sha, n, err := s.Put(t.Context(), strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return sha, n
}
