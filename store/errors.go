package store

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// ErrFull is the error under a refused append or capture when the disk is full.
// Nothing of the append is kept; everything kept before it is.
var ErrFull = errors.New("the disk is full: nothing of this step was kept, everything before it is; make room and repeat it")

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
	return fmt.Sprintf("the database %s is damaged (%s); nothing was changed; keep this file and put %s in its place",
		e.Path, strings.Join(e.Problems, "; "), instead)
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
	if errors.Is(err, ErrFull) {
		return err
	}
	switch code(err) {
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return &CorruptError{Path: path, Problems: []string{err.Error()}}
	case sqlite3.SQLITE_FULL:
		return fmt.Errorf("%w (%w)", ErrFull, err)
	}
	if isFull(err) {
		return fmt.Errorf("%w (%w)", ErrFull, err)
	}
	return err
}

func isEOF(err error) bool { return errors.Is(err, io.EOF) }
