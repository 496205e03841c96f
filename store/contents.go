package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"headstack/halfmade"
	"headstack/job"
)

var (
	_ job.Contents = (*Store)(nil)
	_ job.Contents = (*Snapshot)(nil)
	_ job.Record   = (*Snapshot)(nil)
	_ job.Files    = (*Snapshot)(nil)
)

// DocumentHashes lists the documents; see job.Contents.
func (s *Store) DocumentHashes(ctx context.Context) ([]string, error) {
	const what = "the list of documents"
	rows, err := s.read.QueryContext(ctx, `SELECT sha256 FROM documents ORDER BY sha256`)
	if err != nil {
		return nil, s.reading(err, what)
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var sha string
		if err := rows.Scan(&sha); err != nil {
			return nil, s.reading(err, what)
		}
		out = append(out, sha)
	}
	return out, s.reading(rows.Err(), what)
}

// AllListings lists the listings of all kinds; see job.Contents.
func (s *Store) AllListings(ctx context.Context) ([]job.Listing, error) {
	const what = "the listings"
	rows, err := s.read.QueryContext(ctx, `SELECT kind, id, name, sha256, added FROM listings ORDER BY n`)
	if err != nil {
		return nil, s.reading(err, what)
	}
	defer rows.Close()
	var out []job.Listing
	for rows.Next() {
		var l job.Listing
		var added string
		err := rows.Scan(&l.Kind, &l.ID, &l.Name, &l.SHA256, &added)
		if err == nil {
			l.Added, err = parseTime(added)
		}
		if err != nil {
			return nil, s.reading(err, what)
		}
		out = append(out, l)
	}
	return out, s.reading(rows.Err(), what)
}

// KeptFiles lists the files; see job.Contents.
func (s *Store) KeptFiles(context.Context) ([]job.KeptFile, error) {
	names, err := fileNames(s.dir)
	if err != nil {
		return nil, fmt.Errorf("listing the captures: %w", err)
	}
	out := make([]job.KeptFile, len(names))
	for i, n := range names {
		st, err := os.Stat(filepath.Join(s.dir, capturesName, n))
		if err != nil {
			return nil, fmt.Errorf("listing the captures: %w", err)
		}
		out[i] = job.KeptFile{SHA256: n, Bytes: st.Size()}
	}
	return out, nil
}

// Snapshot is a bench as of one instant, to be read; others may have the bench open and
// append to it. What is appended to a snapshot is an error.
type Snapshot struct {
	*Store // over the copy of the database
	kept   *Store
	files  []job.KeptFile
	copied string // the folder of the copy, "" for a record on a server
}

// OpenSnapshot reads the bench in the folder dir as it stands now. Its database is copied
// into a temporary folder, its files are read where they are. Close it when done. Errors as
// of [Open], save that the bench may be in use and must be there.
func OpenSnapshot(ctx context.Context, dir string) (*Snapshot, error) {
	opt, err := Options{}.filled()
	if err != nil {
		return nil, err
	}
	return openSnapshot(ctx, dir, opt)
}

func openSnapshot(ctx context.Context, dir string, opt Options) (_ *Snapshot, err error) {
	dir, err = filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("reading the bench: %w", err)
	}
	s := &Snapshot{kept: &Store{dir: dir, disk: opt.disk}}
	defer func() {
		if err != nil {
			err = fmt.Errorf("reading the bench in %s: %w", dir, errors.Join(explain(err, filepath.Join(dir, databaseName)), s.Close()))
		}
	}()
	err = opt.disk.do(stepSnapshotMake, func() (err error) { s.copied, err = os.MkdirTemp("", halfmade.Pattern("snapshot")); return err })
	if err != nil {
		return nil, err
	}
	// The database first: entries name only files that are there already.
	path := filepath.Join(s.copied, databaseName)
	if err := copyDatabase(ctx, filepath.Join(dir, databaseName), path, opt.disk); err != nil {
		return nil, err
	}
	s.Store = &Store{dir: s.copied, disk: opt.disk}
	db, err := openWriter(path, opt)
	if err != nil {
		return nil, err
	}
	// A bench of an older program is read as this one would have it: the copy is changed.
	if err := errors.Join(migrate(db, s.copied, opt), db.Close()); err != nil {
		return nil, err
	}
	if s.read, err = openReaders(path, opt); err != nil {
		return nil, err
	}
	s.write = s.read // which take nothing
	s.files, err = s.kept.KeptFiles(ctx)
	return s, err
}

// Dir is the folder of the bench that was read.
func (s *Snapshot) Dir() string { return s.kept.dir }

// Place names where the record is that was read.
func (s *Snapshot) Place() string { return s.kept.Place() }

// KeptFiles lists the files; see job.Contents.
func (s *Snapshot) KeptFiles(context.Context) ([]job.KeptFile, error) { return s.files, nil }

// Open opens a file of the bench; see job.Files.
func (s *Snapshot) Open(ctx context.Context, sha string) (job.File, error) {
	return s.kept.Open(ctx, sha)
}

// Put is an error: a snapshot is read.
func (s *Snapshot) Put(context.Context, io.Reader) (string, int64, error) {
	return "", 0, errors.New("a snapshot of a bench takes no files")
}

// Close lets go of the copy.
func (s *Snapshot) Close() error {
	var err error
	if s.Store != nil {
		err = s.Store.Close()
		s.Store = nil
	}
	if s.copied != "" {
		s.kept.disk.discard(stepSnapshotClear, s.copied)
	}
	return err
}
