package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"embed"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
)

//go:embed postgres/*.sql
var embeddedPostgres embed.FS

// writers is the number of connections that wait for their turn to append.
const writers = 4

// oldestServer is the first PostgreSQL that is supported, as server_version_num has it;
// testedServer the one that the tests ran on.
const oldestServer = 130000

// connConfig is an address that was understood.
type connConfig struct{ *pgx.ConnConfig }

// parseAddress reads an address and returns a name of it without password. The error repeats
// nothing of the address: a password in one that cannot be read cannot be told from the rest.
func parseAddress(address string) (*connConfig, string, error) {
	if !IsAddress(address) {
		return nil, "", &AddressError{Place: "another place", Problem: "its address is not of the form postgres://USER@HOST:PORT/DATABASE", Todo: "give --record postgres://USER@HOST/DATABASE"}
	}
	config, err := pgx.ParseConfig(address)
	if err != nil {
		return nil, "", &AddressError{Place: "another place", Problem: "its address, or what the PG… variables of the environment add to it, cannot be understood (it is not shown, for it may hold a password)",
			Todo: "write postgres://USER@HOST:PORT/DATABASE and keep the password in the password file; other signs than letters and digits in a part of the address are written %XX"}
	}
	config.RuntimeParams["application_name"] = "headstack"
	config.RuntimeParams["synchronous_commit"] = "on" // what is acknowledged is on the server's disk
	config.RuntimeParams["default_transaction_isolation"] = "read committed"
	config.RuntimeParams["client_encoding"] = "UTF8"
	// A program that vanishes in the middle of an append must not keep the lock.
	config.RuntimeParams["idle_in_transaction_session_timeout"] = "30000"
	if config.ConnectTimeout == 0 {
		config.ConnectTimeout = 5 * time.Second
	}
	return &connConfig{config}, placeOf(config), nil
}

// IsAddress says whether s is the address of a server, as against the path of a folder.
func IsAddress(s string) bool {
	return strings.HasPrefix(s, "postgres://") || strings.HasPrefix(s, "postgresql://")
}

func placeOf(c *pgx.ConnConfig) string {
	host := c.Host
	if !strings.HasPrefix(host, "/") { // a folder with a socket
		host = net.JoinHostPort(host, fmt.Sprint(c.Port))
	}
	return fmt.Sprintf("database %s of %s as %s", c.Database, host, c.User)
}

func (c *connConfig) pool(n int, readOnly bool) *sql.DB {
	config := c.Copy()
	if readOnly {
		config.RuntimeParams["default_transaction_read_only"] = "on"
	}
	db := stdlib.OpenDB(*config)
	db.SetMaxOpenConns(n)
	db.SetMaxIdleConns(n)
	db.SetConnMaxIdleTime(10 * time.Minute)
	return db
}

// checkServer refuses a server that could lose or garble what it acknowledged.
func checkServer(ctx context.Context, db querier) error {
	if err := checkReadable(ctx, db); err != nil {
		return err
	}
	var fsync, fullPages string
	err := db.QueryRowContext(ctx, `SELECT current_setting('fsync'), current_setting('full_page_writes')`).Scan(&fsync, &fullPages)
	if err == nil && (fsync != "on" || fullPages != "on") {
		return fmt.Errorf("the server has fsync = %s and full_page_writes = %s: it would lose what it acknowledged; set both to on", fsync, fullPages)
	}
	return err
}

// checkReadable refuses a server of which it is not known that what it gives is what was kept.
func checkReadable(ctx context.Context, db querier) error {
	var number int
	var version, encoding string
	err := db.QueryRowContext(ctx, `SELECT current_setting('server_version_num')::int, current_setting('server_version'),
		current_setting('server_encoding')`).Scan(&number, &version, &encoding)
	switch {
	case err != nil:
		return err
	case number < oldestServer:
		return fmt.Errorf("the server is PostgreSQL %s, and 13 is the oldest that is supported", version)
	case encoding != "UTF8":
		return fmt.Errorf("the database keeps text as %s, and a bench needs UTF8: make it with createdb --encoding=UTF8 --template=template0", encoding)
	}
	return nil
}

// migrateServer brings the database to the schema of this program. Of programs that start
// together one does it.
func migrateServer(ctx context.Context, db *sql.DB, place string) (err error) {
	conn, err := db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	if _, err := conn.ExecContext(ctx, `SELECT pg_advisory_lock($1)`, appendLock); err != nil {
		return err
	}
	defer func() {
		_, unlock := conn.ExecContext(context.WithoutCancel(ctx), `SELECT pg_advisory_unlock($1)`, appendLock)
		err = errors.Join(err, unlock)
	}()
	if err := checkOwnServer(ctx, conn, place); err != nil {
		return err
	}
	files, err := fs.Sub(embeddedPostgres, "postgres")
	if err != nil {
		return err
	}
	p, err := goose.NewProvider(goose.DialectPostgres, db, files, goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return fmt.Errorf("reading the schema's history: %w", err)
	}
	current, target, err := p.GetVersions(ctx)
	switch {
	case err != nil:
		return fmt.Errorf("reading the schema's version: %w", err)
	case current > target:
		return &NewerError{Path: place, Have: current, Know: target}
	case current == target:
		return nil
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("changing the schema from %d to %d; each step is whole or not done: %w", current, target, err)
	}
	return nil
}

// ownTables is how many tables a bench has of which a database is known.
const ownTables = 4

// checkOwnServer refuses a database that has tables, but not those of a bench.
func checkOwnServer(ctx context.Context, conn querier, place string) error {
	tables, ours, err := countTables(ctx, conn)
	if err == nil && tables > 0 && ours < ownTables {
		return &ForeignError{Path: place}
	}
	return err
}

func countTables(ctx context.Context, q querier) (tables, ours int, err error) {
	const count = `SELECT count(*), count(*) FILTER (WHERE tablename IN ('documents', 'listings', 'jobs', 'entries'))
		FROM pg_tables WHERE schemaname = current_schema() AND tablename NOT LIKE 'goose\_%'`
	err = q.QueryRowContext(ctx, count).Scan(&tables, &ours)
	return tables, ours, err
}

// schemaOf is the schema that a database of a bench has.
func schemaOf(ctx context.Context, q querier) (have int64, err error) {
	err = q.QueryRowContext(ctx, `SELECT coalesce(max(version_id), 0) FROM goose_db_version WHERE is_applied`).Scan(&have)
	return have, err
}

// newestSchema is the schema that this program makes.
func newestSchema() (int64, error) {
	names, err := fs.Glob(embeddedPostgres, "postgres/*.sql") // in order
	if err != nil || len(names) == 0 {
		return 0, fmt.Errorf("reading the schema's history: %w", err)
	}
	return goose.NumericComponent(names[len(names)-1])
}

// oldRemains is how long nothing was written to a file that is not whole before it counts
// as left behind: others write to the folder, too.
const oldRemains = 48 * time.Hour

func leftBefore(now time.Time) func(e os.DirEntry) bool {
	return func(e os.DirEntry) bool {
		i, err := e.Info()
		return err == nil && now.Sub(i.ModTime()) > oldRemains
	}
}

// holds says whether a file is in the folder, without reading it.
func (s *Store) holds(sha string) bool {
	if !isHash(sha) {
		return false
	}
	_, err := os.Stat(filepath.Join(s.dir, capturesName, sha))
	return err == nil
}
