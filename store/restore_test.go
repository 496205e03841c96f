package store

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"headstack/job"
	"headstack/job/jobtest"
)

// importScene puts what the bench in the folder from holds into an empty one.
func importScene(ctx context.Context, from, to string, d disk) (err error) {
	opt, err := Options{Now: sceneNow, migrations: sceneHistory(), disk: d}.filled()
	if err != nil {
		return err
	}
	s, err := openSnapshot(ctx, from, opt)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	into, err := Open(to, opt)
	if err != nil {
		return err
	}
	return errors.Join(into.Restore(ctx, func(r job.Restoring) error { return putAll(ctx, s, r) }), into.Close())
}

// putAll gives all that a bench holds, without looking at it.
func putAll(ctx context.Context, s job.Contents, r job.Restoring) error {
	files, err := s.KeptFiles(ctx)
	for i := 0; err == nil && i < len(files); i++ {
		var f job.File
		if f, err = s.Open(ctx, files[i].SHA256); err == nil {
			_, err = r.File(ctx, f)
			err = errors.Join(err, f.Close())
		}
	}
	if err != nil {
		return err
	}
	hashes, err := s.DocumentHashes(ctx)
	for i := 0; err == nil && i < len(hashes); i++ {
		var data []byte
		if data, err = s.Document(ctx, hashes[i]); err == nil {
			_, err = r.Document(ctx, data)
		}
	}
	if err != nil {
		return err
	}
	listings, err := s.AllListings(ctx)
	for i := 0; err == nil && i < len(listings); i++ {
		err = r.Listing(ctx, listings[i])
	}
	if err != nil {
		return err
	}
	jobs, err := s.Summaries(ctx)
	if err != nil {
		return err
	}
	for _, j := range jobs {
		entries, err := s.Entries(ctx, j.ID)
		if err == nil {
			err = r.Job(ctx, j.Job)
		}
		for i := 0; err == nil && i < len(entries); i++ {
			err = r.Entry(ctx, entries[i])
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// checkImported wants an import that was broken off to have left an empty bench or a whole
// one, and an acknowledged one to be whole.
func checkImported(t *testing.T, from, to string, acknowledged bool) {
	t.Helper()
	if _, err := os.Stat(filepath.Join(to, databaseName)); errors.Is(err, os.ErrNotExist) && !acknowledged {
		return
	}
	read := func(dir string) (jobs []job.Summary, entries []job.Entry, files []job.KeptFile) {
		s, err := Open(dir, Options{Now: sceneNow, migrations: sceneHistory()})
		if err != nil {
			t.Errorf("after the import: %v", err)
			return nil, nil, nil
		}
		defer s.Close()
		jobs, err = s.Summaries(t.Context())
		if err == nil && len(jobs) > 0 {
			entries, err = s.Entries(t.Context(), jobs[0].ID)
		}
		if err == nil {
			files, err = s.KeptFiles(t.Context())
		}
		if err != nil {
			t.Error(err)
		}
		return jobs, entries, files
	}
	jobs, entries, files := read(to)
	if len(jobs) == 0 && !acknowledged {
		return
	}
	wantJobs, wantEntries, wantFiles := read(from)
	if diff := cmp.Diff(wantJobs, jobs) + cmp.Diff(wantEntries, entries) + cmp.Diff(wantFiles, files); diff != "" {
		t.Errorf("half an import has the look of a whole one (-bench +imported):\n%s", diff)
	}
}

func TestARestoredRecordIsTheSame(t *testing.T) {
	from := open(t, t.TempDir(), Options{})
	j := openedJob(t, from)
	for i, e := range jobtest.Samples(j.ID) {
		if e.At = jobtest.Clock; i%3 == 1 {
			e.At = e.At.AddDate(0, -1, 0) // the clock was set back
		}
		if _, err := from.AppendEntry(t.Context(), e); err != nil {
			t.Fatal(err)
		}
	}
	if err := from.AppendListing(t.Context(), job.Listing{Kind: job.TapeDocument, ID: "fen", Name: "Fen 12", SHA256: j.DefinitionSHA, Added: jobtest.Clock}); err != nil {
		t.Fatal(err)
	}
	if _, _, err := from.Put(t.Context(), strings.NewReader("a capture")); err != nil {
		t.Fatal(err)
	}
	to := open(t, t.TempDir(), Options{})
	if err := to.Restore(t.Context(), func(r job.Restoring) error { return putAll(t.Context(), from, r) }); err != nil {
		t.Fatal(err)
	}
	for what, get := range map[string]func(s *Store) (any, error){
		"jobs":      func(s *Store) (any, error) { return s.Summaries(t.Context()) },
		"entries":   func(s *Store) (any, error) { return s.Entries(t.Context(), j.ID) },
		"documents": func(s *Store) (any, error) { return s.DocumentHashes(t.Context()) },
		"listings":  func(s *Store) (any, error) { return s.AllListings(t.Context()) },
		"files":     func(s *Store) (any, error) { return s.KeptFiles(t.Context()) },
	} {
		want, err := get(from)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := get(to); err != nil || !cmp.Equal(want, got) {
			t.Errorf("%s (%v):\n%s", what, err, cmp.Diff(want, got))
		}
	}
}

// TestARefusedRestoreLeavesNothing: what was put before the refusal is not kept, files neither,
// and what was there stays.
func TestARefusedRestoreLeavesNothing(t *testing.T) {
	s := open(t, t.TempDir(), Options{})
	before, _, err := s.Put(t.Context(), strings.NewReader("there before"))
	if err != nil {
		t.Fatal(err)
	}
	whole := job.Entry{Job: "job-0001", Seq: 1, Ref: "note 1", At: jobtest.Clock, Kind: job.KindNote}
	for name, spoil := range map[string]func(e *job.Entry) error{
		"the caller gives up":    func(*job.Entry) error { return errors.New("enough") },
		"of no job":              func(e *job.Entry) error { e.Job = "job-0007"; return nil },
		"without a number":       func(e *job.Entry) error { e.Seq = 0; return nil },
		"of another number":      func(e *job.Entry) error { e.Ref = "check 1"; return nil },
		"that corrects nothing":  func(e *job.Entry) error { e.Seq, e.Corrects = 2, 1; return nil },
		"that corrects itself":   func(e *job.Entry) error { e.Corrects = 1; return nil },
		"of no kind":             func(e *job.Entry) error { e.Kind = "guess"; return nil },
		"without a time":         func(e *job.Entry) error { e.At = e.At.AddDate(-5000, 0, 0); return nil },
		"that withdraws nothing": func(e *job.Entry) error { e.Withdraw = true; return nil },
	} {
		err := s.Restore(t.Context(), func(r job.Restoring) error {
			for _, text := range []string{"a capture", "there before"} {
				if _, err := r.File(t.Context(), strings.NewReader(text)); err != nil {
					t.Fatal(err)
				}
			}
			sha, err := r.Document(t.Context(), []byte("id: x\n"))
			if err == nil {
				err = r.Job(t.Context(), job.Job{ID: "job-0001", DefinitionSHA: sha, Opened: jobtest.Clock})
			}
			if err != nil {
				t.Fatal(err)
			}
			e := whole
			if err := spoil(&e); err != nil {
				return err
			}
			return r.Entry(t.Context(), e)
		})
		if err == nil {
			t.Errorf("%s: no error", name)
		}
		jobs, err := s.Summaries(t.Context())
		hashes, herr := s.DocumentHashes(t.Context())
		if err != nil || herr != nil || len(jobs)+len(hashes) > 0 {
			t.Errorf("%s: %d jobs and %d documents are there after it (%v, %v)", name, len(jobs), len(hashes), err, herr)
		}
		if files, err := s.KeptFiles(t.Context()); err != nil || len(files) != 1 || files[0].SHA256 != before {
			t.Errorf("%s: files %v after it (%v), want the one that was there", name, files, err)
		}
	}
}
