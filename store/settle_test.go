package store

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"headstack/store/pgtest"
)

const sameCapture = "the same capture"

// failing is a disk whose folder cannot be synced after a file got its name; meanwhile runs then.
func failing(meanwhile func()) disk {
	return disk{before: func(at step, _ func()) error {
		if at == stepFileSettle {
			meanwhile()
			return errDiskFull
		}
		return nil
	}}
}

func mustPut(t *testing.T, s *Store) string {
	t.Helper()
	sha, _, err := s.Put(t.Context(), strings.NewReader(sameCapture))
	if err != nil {
		t.Fatal(err)
	}
	return sha
}

func mustHave(t *testing.T, s *Store, sha string) {
	t.Helper()
	f, err := s.Open(t.Context(), sha)
	if err != nil {
		t.Fatalf("an acknowledged capture is gone: %v", err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

// What another program acknowledged stays when this one's folder fails, whichever of them gave
// the file its name.
func TestAFailedSyncLeavesWhatAnotherAcknowledged(t *testing.T) {
	opt := Shared{Address: pgtest.Start(t, sharedChecks).Database(t), Dir: t.TempDir()}
	one, other := openAt(t, opt), openAt(t, opt)
	var sha string
	one.disk = failing(func() { sha = mustPut(t, other) }) // finds the name that one has just made
	if _, _, err := one.Put(t.Context(), strings.NewReader(sameCapture)); !errors.Is(err, ErrFull) {
		t.Fatalf("error %v, want that the disk is full", err)
	}
	mustHave(t, other, sha)
	if again := mustPut(t, one); again != sha { // found, and the folder can be synced now
		t.Errorf("kept as %s, want %s", again, sha)
	}
}

// In a bench of its own nothing of a refused capture stays, what was there before does, and two
// of the same at once are both kept or refused as they were told.
func TestAFailedSyncTakesBackOnlyItsOwnName(t *testing.T) {
	s := open(t, t.TempDir(), Options{})
	s.disk = failing(func() {})
	if _, _, err := s.Put(t.Context(), strings.NewReader(sameCapture)); !errors.Is(err, ErrFull) {
		t.Fatalf("error %v, want that the disk is full", err)
	}
	if files, err := s.KeptFiles(t.Context()); err != nil || len(files) != 0 {
		t.Errorf("files %v (%v) after a refusal, want none", files, err)
	}
	s.disk = disk{}
	sha := mustPut(t, s)
	path := filepath.Join(s.Dir(), capturesName, sha)
	if err := errors.Join(os.Chmod(path, 0o644), os.WriteFile(path, []byte("altered"), 0o644)); err != nil {
		t.Fatal(err)
	}
	s.disk = failing(func() {})
	if _, _, err := s.Put(t.Context(), strings.NewReader(sameCapture)); !errors.Is(err, ErrFull) {
		t.Fatalf("error %v, want that the disk is full", err)
	}
	mustHave(t, s, sha) // put right, though not acknowledged: the name was there

	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	var once sync.Once
	var wg sync.WaitGroup
	var second error
	s.disk = disk{before: func(at step, _ func()) (err error) {
		if at == stepFileSettle {
			once.Do(func() { // the first alone fails, while the second comes
				wg.Go(func() { _, _, second = s.Put(t.Context(), strings.NewReader(sameCapture)) })
				time.Sleep(50 * time.Millisecond) // it gets as far as it can
				err = errDiskFull
			})
		}
		return err
	}}
	if _, _, err := s.Put(t.Context(), strings.NewReader(sameCapture)); !errors.Is(err, ErrFull) {
		t.Fatalf("error %v, want that the disk is full", err)
	}
	wg.Wait()
	if second != nil {
		t.Fatal(second)
	}
	mustHave(t, s, sha)
}
