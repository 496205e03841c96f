package store

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// DiskError is what the disk has against a step. Nothing of the step is kept; everything
// kept before it is.
type DiskError struct{ what, todo string }

func (e *DiskError) Error() string {
	return e.what + ": nothing of this step was kept, everything before it is; " + e.todo
}

// Disk says what is wrong and what to do, for who has other words around them.
func (e *DiskError) Disk() (what, todo string) { return e.what, e.todo }

// The errors of a disk, under a refused append, capture, copy or backup.
var (
	ErrFull     = &DiskError{"the disk is full", "make room and repeat it"}
	ErrTooLarge = &DiskError{"a file would become larger than this disk or this account allows", "use a disk without that limit, or raise it, and repeat it"}
	ErrDisk     = &DiskError{"the disk answered with an error", "look at the disk and its cable, copy the folder of the bench to another disk, and repeat it there"}
)

// InUseError says that another program has the folder open.
type InUseError struct {
	Dir    string
	Holder string // who, as far as known: "process 4711 on lathe since 2031-03-04T19:30:00Z"
}

func (e *InUseError) Error() string {
	who := "another program"
	if e.Holder != "" {
		who += " (" + e.Holder + ")"
	}
	return fmt.Sprintf("%s has this bench open; use that one, or end it first", who)
}

// CorruptError says that the database is damaged. Nothing was changed.
type CorruptError struct {
	Path     string
	Problems []string // as SQLite names them
	LastGood string   // the newest whole copy in the bench's folder, "" for none
}

func (e *CorruptError) Error() string {
	instead := "a backup"
	if e.LastGood != "" {
		instead = "a backup, or this copy of it, which is whole: " + e.LastGood + ","
	}
	return fmt.Sprintf("the database %s is damaged (%s); nothing was changed; keep this file and put %s in its place; headstack salvage %s FOLDER reads what came after it",
		e.Path, strings.Join(e.Problems, "; "), instead, filepath.Dir(e.Path))
}

// ForeignError says that the database is no bench.
type ForeignError struct{ Path string }

func (e *ForeignError) Error() string {
	return fmt.Sprintf("%s is a database, but not one of a bench; nothing was changed; choose another folder", e.Path)
}

// NewerError says that a later program has changed the database's schema.
type NewerError struct {
	Path       string
	Have, Know int64 // schema version of the database and the last that this program knows
}

func (e *NewerError) Error() string {
	return fmt.Sprintf("%s has schema %d and this program knows up to %d; nothing was changed; use the newer headstack",
		e.Path, e.Have, e.Know)
}

// code returns SQLite's primary result code, or 0 when err is not from SQLite.
func code(err error) int {
	if e, ok := errors.AsType[*sqlite.Error](err); ok {
		return e.Code() & 0xff
	}
	return 0
}

// explain puts SQLite's answer into words of the bench.
func explain(err error, path string) error {
	if _, ok := errors.AsType[*DiskError](err); ok {
		return err
	}
	if e, ok := errors.AsType[*sqlite.Error](err); ok && e.Code() == sqlite3.SQLITE_IOERR_SHMSIZE {
		return fmt.Errorf("%w (%w)", ErrFull, err) // no room for the index of the log
	}
	switch code(err) {
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return &CorruptError{Path: path, Problems: []string{err.Error()}}
	case sqlite3.SQLITE_FULL:
		return fmt.Errorf("%w (%w)", ErrFull, err)
	case sqlite3.SQLITE_IOERR:
		return fmt.Errorf("%w (%w)", ErrDisk, err)
	}
	if isFull(err) {
		return fmt.Errorf("%w (%w)", ErrFull, err)
	}
	if isTooLarge(err) {
		return fmt.Errorf("%w (%w)", ErrTooLarge, err)
	}
	return err
}

func isEOF(err error) bool { return errors.Is(err, io.EOF) }
