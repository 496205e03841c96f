package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
)

// OpenSharedSnapshot reads a bench on a PostgreSQL server as it stands now, while others append
// to it; it changes nothing, the schema neither. Its files are read where they are. Close it when done:
// until then the server keeps what it shows. Errors: [AddressError], [NewerError],
// [ForeignError], [FolderError].
func OpenSharedSnapshot(ctx context.Context, opt Shared) (*Snapshot, error) {
	dir, err := filepath.Abs(opt.Dir)
	if err != nil {
		return nil, fmt.Errorf("reading the bench: %w", err)
	}
	config, place, err := parseAddress(opt.Address)
	if err != nil {
		return nil, err
	}
	v := &instant{server: server{name: place}}
	s := &Snapshot{Store: &Store{dir: dir, base: v}, kept: &Store{dir: dir, base: v}}
	if err := s.openInstant(ctx, config, v); err != nil {
		return nil, fmt.Errorf("reading the bench in %s: %w", place, errors.Join(v.explain(err), s.Close()))
	}
	return s, nil
}

func (s *Snapshot) openInstant(ctx context.Context, config *connConfig, v *instant) error {
	// The connections stay in their transactions while an export writes a large capture.
	config.RuntimeParams["idle_in_transaction_session_timeout"] = "0"
	v.holder = config.pool(1, true)
	s.write = v.holder
	var err error
	if v.tx, err = v.holder.BeginTx(ctx, &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true}); err != nil {
		return err
	}
	if err := checkReadable(ctx, v.tx); err != nil { // one that could lose what it keeps is left with an export
		return err
	}
	if err := mustBeCurrent(ctx, v.tx, v.name); err != nil {
		return err
	}
	var name string
	if err := v.tx.QueryRowContext(ctx, `SELECT pg_export_snapshot()`).Scan(&name); err != nil {
		return err
	}
	s.read = config.instantPool(name)
	if err := s.checkFolder(ctx); err != nil {
		return err
	}
	// After the record: entries name only files that are there already.
	s.files, err = s.kept.KeptFiles(ctx)
	return err
}

// instantPool is a pool whose connections all see what an exported snapshot saw, several at
// once: a transaction that is read while it is read is refused on one connection.
// Source: PostgreSQL 15 documentation, 9.27.5 and SET TRANSACTION.
func (c *connConfig) instantPool(snapshot string) *sql.DB {
	begin := func(ctx context.Context, conn *pgx.Conn) error {
		if _, err := conn.Exec(ctx, `BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY`); err != nil {
			return err
		}
		_, err := conn.Exec(ctx, `SET TRANSACTION SNAPSHOT '`+snapshot+`'`) // digits and dashes, of the server
		return err
	}
	db := sql.OpenDB(staying{stdlib.GetConnector(*c.Copy(), stdlib.OptionAfterConnect(begin))})
	db.SetMaxOpenConns(readers)
	db.SetMaxIdleConns(readers)
	db.SetConnMaxIdleTime(10 * time.Minute)
	return db
}

// staying makes connections that stay in the transaction in which they began.
type staying struct{ driver.Connector }

func (c staying) Connect(ctx context.Context) (driver.Conn, error) {
	conn, err := c.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	return stayingConn{conn.(*stdlib.Conn)}, nil
}

type stayingConn struct{ *stdlib.Conn }

// ResetSession is asked before a connection is used again. The driver's own lets go of one in a
// transaction; this does of one whose transaction is over or answers no more after an error.
func (c stayingConn) ResetSession(context.Context) error {
	if c.Conn.Conn().IsClosed() || c.Conn.Conn().PgConn().TxStatus() != 'T' {
		return driver.ErrBadConn
	}
	return nil
}

// instant is a server as of one instant, which is read.
type instant struct {
	server
	holder *sql.DB
	tx     *sql.Tx // holds the instant
}

var errInstant = errors.New("a snapshot of a bench takes nothing")

func (*instant) append(context.Context, *sql.DB, func(*sql.Tx, bool) error) error { return errInstant }

func (*instant) appendWhole(context.Context, *sql.DB, func(*sql.Tx) error) error { return errInstant }

func (v *instant) leave(*sql.DB) {
	if v.tx != nil {
		_ = v.tx.Rollback() // nothing was written
	}
}

// mustBeCurrent refuses a database that is not of this program's schema: a reader does not
// change it.
func mustBeCurrent(ctx context.Context, q querier, place string) error {
	tables, ours, err := countTables(ctx, q)
	if err != nil {
		return err
	}
	if tables == 0 {
		return &AddressError{Place: place, Problem: "there is no bench in it yet", Todo: "headstack import puts one into it, headstack job open begins one"}
	}
	if ours < ownTables {
		return &ForeignError{Path: place}
	}
	have, err := schemaOf(ctx, q)
	if err != nil {
		return err
	}
	know, err := newestSchema()
	switch {
	case err != nil:
		return err
	case have > know:
		return &NewerError{Path: place, Have: have, Know: know}
	case have < know:
		return &AddressError{Place: place, Problem: fmt.Sprintf("it has schema %d of an earlier program and this one reads %d; nothing was changed", have, know),
			Todo: "make a dump with pg_dump, end the earlier programs, then headstack job list brings it up to date"}
	}
	return nil
}
