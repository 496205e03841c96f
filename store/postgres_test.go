package store

import (
	"testing"

	"headstack/job"
	"headstack/job/jobtest"
	"headstack/store/pgtest"
)

const sharedChecks = "the record on PostgreSQL"

// openShared opens a bench on an empty database.
func openShared(t testing.TB) *Store {
	t.Helper()
	return openAt(t, Shared{Address: pgtest.Start(t, sharedChecks).Database(t), Dir: t.TempDir()})
}

func openAt(t testing.TB, opt Shared) *Store {
	t.Helper()
	s, err := OpenShared(t.Context(), opt)
	if err != nil {
		t.Fatalf("OpenShared: %v", err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return s
}

func TestSharedRecord(t *testing.T) {
	jobtest.Record(t, func(t *testing.T) job.Record { return openShared(t) })
}

func TestSharedFiles(t *testing.T) {
	jobtest.Files(t, func(t *testing.T) job.Files { return openShared(t) })
}
