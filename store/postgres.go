package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"path/filepath"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"

	"headstack/job"
)

// Shared are the options of a bench whose record is on a PostgreSQL server, so that several
// people and programs can use it at once; see doc/SHOP.md.
type Shared struct {
	// Address says where the record is, as PostgreSQL writes it:
	// "postgres://user@host:5432/database". What it leaves out comes from the environment
	// (PGHOST, PGUSER, PGSERVICE ...) and the password best from the password file.
	Address string
	// Dir is the folder that holds the captures, the same for all who share the record.
	Dir string
	// Patience is how long an append waits for a server that went away; 0 is 15 s.
	Patience time.Duration
	// Now is the clock; nil is time.Now.
	Now func() time.Time
}

// OpenShared opens a bench on a PostgreSQL server and makes its tables where the database is
// empty. Close it when done. Errors: [AddressError], [NewerError], [ForeignError],
// [FolderError]; after an error nothing is open.
func OpenShared(ctx context.Context, opt Shared) (*Store, error) {
	if opt.Patience <= 0 {
		opt.Patience = 15 * time.Second
	}
	if opt.Now == nil {
		opt.Now = time.Now
	}
	dir, err := filepath.Abs(opt.Dir)
	if err != nil {
		return nil, fmt.Errorf("opening the bench: %w", err)
	}
	config, place, err := parseAddress(opt.Address)
	if err != nil {
		return nil, err
	}
	server := &server{name: place, patience: opt.Patience}
	s := &Store{dir: dir, base: server}
	if err := s.openShared(ctx, config, opt); err != nil {
		return nil, fmt.Errorf("opening the bench in %s: %w", place, errors.Join(server.explain(err), s.Close()))
	}
	return s, nil
}

func (s *Store) openShared(ctx context.Context, config *connConfig, opt Shared) error {
	if err := s.makeFolders(); err != nil {
		return err
	}
	if err := s.removeRemains(leftBefore(opt.Now())); err != nil {
		return err
	}
	s.write, s.read = config.pool(writers, false), config.pool(readers, true)
	if err := checkServer(ctx, s.write); err != nil {
		return err
	}
	if err := migrateServer(ctx, s.write, s.in().place()); err != nil {
		return err
	}
	return s.checkFolder(ctx)
}

// server is a database of a PostgreSQL server, by a name without password.
type server struct {
	name     string
	patience time.Duration
}

// appendLock is the advisory lock that an append holds until its end: "hstb", as the
// application id of the SQLite file.
const appendLock = applicationID

// mostAppend bounds a transaction, so that a server that answers no more is told from one
// that is slow.
const mostAppend = time.Minute

// append keeps others from appending with a lock of the transaction; the next in turn begins
// after its commit and sees all of it. A transaction whose connection was lost is run again
// once the server is back: the lock cannot be had before the server is through with the
// first, so that then it is sure whether that was kept.
func (v *server) append(ctx context.Context, write *sql.DB, f func(tx *sql.Tx, again bool) error) error {
	end := time.Now().Add(v.patience)
	unknown := false
	for wait, again := 20*time.Millisecond, false; ; wait, again = min(2*wait, time.Second), true {
		committing, err := v.try(ctx, write, func(tx *sql.Tx) error { return f(tx, again) })
		unknown = unknown || committing && err != nil && !answered(err)
		switch {
		case err == nil || isRefusal(err):
			return err
		case ctx.Err() == nil && lost(err) && time.Now().Add(wait).Before(end):
			sleep(ctx, wait)
			continue
		case unknown:
			return &UnknownError{Place: v.name, Err: err}
		}
		return err
	}
}

func (v *server) try(ctx context.Context, write *sql.DB, f func(tx *sql.Tx) error) (committing bool, err error) {
	conn, err := write.Conn(ctx)
	if err != nil {
		return false, err
	}
	defer conn.Close()
	// A caller who gives up must not break off a commit: its outcome would be unknown.
	whole, cancel := context.WithTimeout(context.WithoutCancel(ctx), mostAppend)
	defer cancel()
	if committing, err = tryOn(ctx, whole, conn, f); err != nil && isGone(conn) {
		err = &goneError{err}
	}
	return committing, err
}

// appendWhole appends without a bound on the time and without a second try.
func (v *server) appendWhole(ctx context.Context, write *sql.DB, f func(tx *sql.Tx) error) error {
	conn, err := write.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	committing, err := tryOn(ctx, context.WithoutCancel(ctx), conn, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `SET LOCAL idle_in_transaction_session_timeout = 0`); err != nil {
			return err
		}
		return f(tx)
	})
	if committing && err != nil && !answered(err) {
		return &UnknownError{Place: v.name, Err: err}
	}
	return err
}

// tryOn runs f in a transaction that whole bounds, once nobody else appends.
func tryOn(ctx, whole context.Context, conn *sql.Conn, f func(tx *sql.Tx) error) (committing bool, err error) {
	tx, err := conn.BeginTx(whole, nil)
	if err != nil {
		return false, err
	}
	return inTransaction(tx, tx.Commit, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `SELECT pg_advisory_xact_lock($1)`, appendLock); err != nil {
			return err
		}
		return f(tx)
	})
}

// goneError is an error after which the connection was gone. What the driver says then often
// hides why.
type goneError struct{ err error }

func (e *goneError) Error() string { return e.err.Error() }
func (e *goneError) Unwrap() error { return e.err }

func isGone(conn *sql.Conn) bool {
	gone := true // where it cannot even be asked
	_ = conn.Raw(func(c any) error {
		gone = c.(*stdlib.Conn).Conn().IsClosed()
		return nil
	})
	return gone
}

func sleep(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}

// once names every append, so that it can be run again.
func (*server) once() string { return rand.Text() }

func (v *server) place() string { return v.name }

func (*server) leave(*sql.DB) {}

// Classes and codes of errors: PostgreSQL 15 documentation, appendix A.
const (
	codeFull       = "53100"
	codePassword   = "28P01"
	codeNoLogin    = "28000"
	codeNoDatabase = "3D000"
	codeTooMany    = "53300"
	codeNoRight    = "42501"
	codeReadOnly   = "25006"
)

// answered says that the server itself refused: then nothing was committed.
func answered(err error) bool {
	e, ok := errors.AsType[*pgconn.PgError](err)
	return ok && !goesAway(e.Code)
}

// goesAway are the answers of a server that stops, starts or has no room for a connection.
func goesAway(code string) bool {
	return len(code) == 5 && (code[:2] == "08" || code[:3] == "57P" || code == codeTooMany)
}

// lost says that the connection went, or that the server does not take one yet.
func lost(err error) bool {
	if e, ok := errors.AsType[*pgconn.PgError](err); ok {
		return goesAway(e.Code)
	}
	_, gone := errors.AsType[*goneError](err)
	_, refused := errors.AsType[*pgconn.ConnectError](err)
	_, broken := errors.AsType[net.Error](err)
	return gone || refused || broken || pgconn.SafeToRetry(err) || errors.Is(err, driver.ErrBadConn) || errors.Is(err, io.ErrUnexpectedEOF)
}

func (v *server) explain(err error) error {
	if err == nil {
		return nil
	}
	if e, ok := errors.AsType[*pgconn.PgError](err); ok {
		switch e.Code {
		case codeFull:
			return fmt.Errorf("%w (%w)", ErrFull, err)
		case codePassword, codeNoLogin:
			return &AddressError{Place: v.name, Problem: "the server lets this user not in: " + e.Message, Todo: "check user and password; the password is best kept in the password file, ~/.pgpass"}
		case codeNoDatabase:
			return &AddressError{Place: v.name, Problem: e.Message, Todo: "make it as doc/SHOP.md says: createdb"}
		case codeNoRight:
			return &AddressError{Place: v.name, Problem: "the user may not do this: " + e.Message, Todo: "let the user own the database, as doc/SHOP.md says"}
		case codeReadOnly:
			return &AddressError{Place: v.name, Problem: "the server only reads: " + e.Message, Todo: "name the server that is written to, not its copy"}
		case codeTooMany:
			return &AddressError{Place: v.name, Problem: "the server has no connection free", Todo: "end a program that uses it, or raise its max_connections"}
		}
	}
	if lost(err) {
		return &AddressError{Place: v.name, Problem: "the server does not answer: " + reason(err), Todo: "see that it runs and that the network leads there, then do this once more"}
	}
	return err
}

// reason is the innermost error: the ones around it repeat the address.
func reason(err error) string {
	for {
		if many, ok := err.(interface{ Unwrap() []error }); ok && len(many.Unwrap()) > 0 {
			err = many.Unwrap()[0]
			continue
		}
		inner := errors.Unwrap(err)
		if inner == nil {
			return err.Error()
		}
		err = inner
	}
}

// AddressError says that the record on a server cannot be reached or used.
type AddressError struct {
	Place   string // without password
	Problem string
	Todo    string
}

func (e *AddressError) Error() string {
	return fmt.Sprintf("the record in %s cannot be used: %s", e.Place, e.Problem)
}

// Hint says what to do.
func (e *AddressError) Hint() string { return e.Todo }

// FolderError says that a folder is not the one in which the captures of a record are.
type FolderError struct{ Dir, Place string }

func (e *FolderError) Error() string {
	return fmt.Sprintf("the folder %s holds none of the last captures and photographs of the record in %s: it is not the folder that the shop shares; nothing was changed", e.Dir, e.Place)
}

// Hint says what to do.
func (e *FolderError) Hint() string {
	return "name the shared folder with --files DIR, and see that it is mounted"
}

// lastFiles is how many of the files kept last are looked for in the folder: one that is
// missing is no sign, all of them are.
const lastFiles = 20

// checkFolder refuses a folder that has nothing to do with the record: captures kept there
// would be missing for all others.
func (s *Store) checkFolder(ctx context.Context) error {
	rows, err := s.read.QueryContext(ctx, `SELECT `+entryColumns+` FROM entries
		WHERE kind IN ('capture', 'photograph') ORDER BY seq DESC LIMIT $1`, lastFiles)
	if err != nil {
		return err
	}
	defer rows.Close()
	known := 0
	for rows.Next() {
		e, err := scanEntry(rows)
		if err != nil {
			return err
		}
		if s.holds(fileOf(e)) {
			return nil
		}
		known++
	}
	if err := rows.Err(); err != nil || known == 0 {
		return err
	}
	return &FolderError{Dir: s.dir, Place: s.in().place()}
}

// fileOf is the hash of the file that an entry keeps.
func fileOf(e job.Entry) string {
	switch {
	case e.Capture != nil:
		return e.Capture.SHA256
	case e.Photograph != nil:
		return e.Photograph.SHA256
	}
	return ""
}
