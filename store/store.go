package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"headstack/job"
)

//go:embed migrations/*.sql
var embedded embed.FS

// The names inside the folder of a bench.
const (
	databaseName = "bench.db"
	lockName     = "bench.lock"
	holderName   = "bench.holder"
	capturesName = "captures"
	backupsName  = "backups"
)

// readers is the number of connections that read at once; a bench has a browser
// and a phone or two.
const readers = 4

// Store is an open bench folder. It is safe for concurrent use.
type Store struct {
	dir   string
	lock  *folderLock
	write *sql.DB // one connection
	read  *sql.DB
	disk  disk
	base  base // nil: the file in the folder

	settling sync.Mutex // held while a kept file gets its name

	copyProblem error
	altered     altered // files; see glance.go
}

var (
	_ job.Record = (*Store)(nil)
	_ job.Files  = (*Store)(nil)
)

// Options change how a bench is opened; the zero value is for use.
type Options struct {
	// BusyTimeout is how long a statement waits for another connection's lock;
	// 0 is 5 s.
	BusyTimeout time.Duration
	// Now names backups; nil is time.Now.
	Now func() time.Time

	// In tests:
	migrations fs.FS // instead of the embedded ones
	disk       disk
}

// filled is opt with what is usual where nothing was said.
func (opt Options) filled() (Options, error) {
	if opt.BusyTimeout <= 0 {
		opt.BusyTimeout = 5 * time.Second
	}
	if opt.Now == nil {
		opt.Now = time.Now
	}
	var err error
	if opt.migrations == nil {
		opt.migrations, err = fs.Sub(embedded, "migrations")
	}
	return opt, err
}

// Open opens the bench in the folder dir and makes it if it is not there. Close
// it when done. Errors: [InUseError], [CorruptError], [NewerError],
// [ForeignError], [ErrFull] and those of the file system; after an error nothing
// is open.
func Open(dir string, opt Options) (*Store, error) {
	opt, err := opt.filled()
	if err != nil {
		return nil, err
	}
	dir, err = filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("opening the bench: %w", err)
	}
	s := &Store{dir: dir, disk: opt.disk}
	if err := s.open(opt); err != nil {
		err = explain(err, filepath.Join(dir, databaseName))
		if c, ok := errors.AsType[*CorruptError](err); ok {
			c.LastGood = lastGood(dir)
		}
		return nil, fmt.Errorf("opening the bench in %s: %w", dir, errors.Join(err, s.Close()))
	}
	return s, nil
}

func (s *Store) open(opt Options) (err error) {
	if err := s.makeFolders(); err != nil {
		return err
	}
	if s.lock, err = lockFolder(s.dir, opt.Now(), s.disk); err != nil {
		return err
	}
	// The lock is held, so nobody writes what is not whole.
	if err := s.removeRemains(func(os.DirEntry) bool { return true }); err != nil {
		return err
	}
	path := filepath.Join(s.dir, databaseName)
	if err := s.disk.do(stepSchemaOpen, func() (err error) { s.write, err = openWriter(path, opt); return err }); err != nil {
		return err
	}
	if err := migrate(s.write, s.dir, opt); err != nil {
		return err
	}
	if s.read, err = openReaders(path, opt); err != nil {
		return err
	}
	s.copyProblem = explain(copyDaily(context.Background(), s.write, s.dir, opt.Now(), s.disk), path)
	return nil
}

// CopyProblem is why today's copy of the database was not kept, nil when it was. A bench
// opens without it: a full disk must not keep anyone from reading.
func (s *Store) CopyProblem() error { return s.copyProblem }

func (s *Store) makeFolders() error {
	captures := filepath.Join(s.dir, capturesName)
	err := s.disk.do(stepMakeBench, func() error { return os.MkdirAll(s.dir, 0o755) })
	if err == nil {
		err = s.disk.do(stepMakeCaptures, func() error { return os.MkdirAll(captures, 0o755) })
	}
	if err != nil {
		return fmt.Errorf("making the folder: %w", err)
	}
	// SQLite opens a database that it cannot write and complains at the first
	// write, after an evening's typing; this complains now.
	for _, dir := range []string{s.dir, captures} {
		var probe *os.File
		err := s.disk.do(stepProbe, func() (err error) { probe, err = os.CreateTemp(dir, remainsPrefix+"probe-*"); return err })
		if err == nil {
			err = errors.Join(probe.Close(), s.disk.do(stepProbeRemove, func() error { return os.Remove(probe.Name()) }))
		}
		if err != nil {
			return fmt.Errorf("the folder cannot be written to: %w", err)
		}
	}
	return nil
}

// Dir is the folder of the bench, absolute.
func (s *Store) Dir() string { return s.dir }

// Place names where the record is: its folder, or the database on a server, without password.
func (s *Store) Place() string {
	if s.base != nil {
		return s.base.place()
	}
	return s.dir
}

// Close closes the bench and frees the folder for another program. What is
// still running on it gets an error.
func (s *Store) Close() error {
	var errs []error
	if s.read != nil {
		errs = append(errs, s.read.Close())
	}
	if s.write != nil {
		s.in().leave(s.write)
		errs = append(errs, s.write.Close())
	}
	if s.lock != nil {
		errs = append(errs, s.lock.release())
	}
	s.read, s.write, s.lock = nil, nil, nil
	return explain(errors.Join(errs...), filepath.Join(s.dir, databaseName))
}
