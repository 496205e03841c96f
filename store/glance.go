package store

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"headstack/job"
)

var _ job.Glancer = (*Store)(nil)

// altered are the files whose bytes were found to be others, until they change again.
type altered struct {
	mu    sync.Mutex
	found map[string]alteredFile // by hash
}

type alteredFile struct {
	size    int64
	changed time.Time
	err     error
}

// note keeps what reading a file found; nil where it was whole.
func (a *altered) note(sha string, i os.FileInfo, err error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if err == nil {
		delete(a.found, sha)
		return
	}
	if a.found == nil {
		a.found = map[string]alteredFile{}
	}
	a.found[sha] = alteredFile{i.Size(), i.ModTime(), err}
}

func (a *altered) of(sha string, i os.FileInfo) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if f, ok := a.found[sha]; ok && f.size == i.Size() && f.changed.Equal(i.ModTime()) {
		return f.err
	}
	return nil
}

// Glance looks at a kept file without reading it; see [job.Glancer].
func (s *Store) Glance(sha string, size int64) error {
	i, err := glance(s.dir, sha, size)
	if err != nil {
		return err
	}
	return s.altered.of(sha, i)
}

func glance(dir, sha string, size int64) (os.FileInfo, error) {
	path := filepath.Join(dir, capturesName, sha)
	i, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, &job.KeptFileError{Path: path, Want: size, Have: -1}
	case err != nil:
		return nil, err
	case i.Size() != size:
		return nil, &job.KeptFileError{Path: path, Want: size, Have: i.Size()}
	}
	return i, nil
}

// Glanced is a file that entries name and that does not look as it was kept.
type Glanced struct {
	By  string // "capture 1 of job-0001"
	Err error  // a [job.KeptFileError], or of the file system
}

// GlanceAll looks at the files that the entries of the bench in the folder dir name, without
// reading them; [Verify] reads them. n is how many there are. The bench may be in use.
func GlanceAll(ctx context.Context, dir string) (n int, bad []Glanced, err error) {
	path := filepath.Join(dir, databaseName)
	db, err := openReading(ctx, path, []pragma{{"busy_timeout", "5000", "5000"}, {"query_only", "ON", "1"}})
	if err != nil {
		return 0, nil, err
	}
	defer db.Close()
	if _, err := checkOwn(ctx, db, path); err != nil {
		return 0, nil, explain(err, path)
	}
	var v Verified
	if err := v.names(ctx, db); err != nil {
		return 0, nil, explain(err, path)
	}
	seen := map[string]bool{}
	for _, f := range v.named {
		if seen[f.sha] {
			continue
		}
		seen[f.sha] = true
		size := f.bytes
		if size < 0 { // the copy of a photograph, whose size no entry has
			if i, err := os.Stat(filepath.Join(dir, capturesName, f.sha)); err == nil && i.Size() > 0 {
				size = i.Size()
			}
		}
		if _, err := glance(dir, f.sha, size); err != nil {
			bad = append(bad, Glanced{f.by, err})
		}
	}
	return len(seen), bad, nil
}
