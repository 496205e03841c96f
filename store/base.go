package store

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
)

// base is what differs between the databases that hold a record. All other SQL of the
// package is the same for each: it keeps to what SQLite and PostgreSQL both know, with
// numbered parameters.
type base interface {
	// append runs f in one transaction and commits it. Nobody else appends meanwhile, so
	// that numbers have no gap and a later number no earlier time. f may run more than once,
	// and is told when it does.
	append(ctx context.Context, write *sql.DB, f func(tx *sql.Tx, again bool) error) error
	// appendWhole is append of an f that takes as long as it takes and runs once only.
	appendWhole(ctx context.Context, write *sql.DB, f func(tx *sql.Tx) error) error
	// once is a name for an append that its caller gave none, "" where none is needed.
	once() string
	// explain puts the answer of the database into words of the bench.
	explain(err error) error
	// place names the database in messages; it never holds a password.
	place() string
	// leave does what there is to do before the connections are closed.
	leave(write *sql.DB)
}

// in is the database of the record.
func (s *Store) in() base {
	if s.base != nil {
		return s.base
	}
	return benchFile{filepath.Join(s.dir, databaseName), s.disk}
}

// benchFile is an SQLite database by its path. One connection writes, with BEGIN IMMEDIATE.
type benchFile struct {
	path string
	disk disk
}

func (b benchFile) append(ctx context.Context, write *sql.DB, f func(tx *sql.Tx, again bool) error) error {
	var tx *sql.Tx
	err := b.disk.do(stepBegin, func() (err error) { tx, err = write.BeginTx(ctx, nil); return err })
	if err != nil {
		return err
	}
	commit := func() error { return b.disk.do(stepCommit, tx.Commit) }
	if _, err := inTransaction(tx, commit, func(tx *sql.Tx) error { return f(tx, false) }); err != nil {
		return err
	}
	return b.disk.do(stepCommitted, func() error { return nil })
}

func (b benchFile) appendWhole(ctx context.Context, write *sql.DB, f func(tx *sql.Tx) error) error {
	return b.append(ctx, write, func(tx *sql.Tx, _ bool) error { return f(tx) })
}

// once is "": a commit to a file of this machine is kept or not, and the answer is sure.
func (benchFile) once() string { return "" }

func (b benchFile) explain(err error) error { return explain(err, b.path) }

func (b benchFile) place() string { return b.path }

// leave leaves one file that can be copied. Not needed for anything to be kept.
func (b benchFile) leave(write *sql.DB) {
	_ = b.disk.do(stepCheckpoint, func() error {
		_, err := write.ExecContext(context.Background(), `PRAGMA wal_checkpoint(TRUNCATE)`)
		return err
	})
}

// UnknownError says that the connection to the record was lost while something was being
// committed and did not come back in time: it may have been kept.
type UnknownError struct {
	Place string
	Err   error
}

func (e *UnknownError) Error() string {
	return fmt.Sprintf("the connection to the record in %s was lost at the last moment (%v); whether this was kept is not known: "+
		"look at the record before entering it again", e.Place, e.Err)
}

// Unwrap returns what the connection said.
func (e *UnknownError) Unwrap() error { return e.Err }
