package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	_ "modernc.org/sqlite" // registers the driver "sqlite"
)

// pragma is one setting and what SQLite must answer when asked for it.
type pragma struct{ name, set, want string }

// pragmas are in the order in which they are set: busy_timeout before anything
// that can meet a lock.
func pragmas(busy time.Duration) []pragma {
	ms := fmt.Sprint(busy.Milliseconds())
	return []pragma{
		{"busy_timeout", ms, ms},
		{"journal_mode", "WAL", "wal"},
		{"synchronous", "FULL", "2"},
		{"fullfsync", "ON", "1"}, // matters on macOS only: fsync there leaves data in the drive
		{"checkpoint_fullfsync", "ON", "1"},
		{"foreign_keys", "ON", "1"},
		{"recursive_triggers", "ON", "1"}, // else REPLACE deletes past the delete triggers
		{"trusted_schema", "OFF", "0"},
		{"cell_size_check", "ON", "1"},
	}
}

// dsn names the database with the settings that each connection makes first.
func dsn(path string, set []pragma) string {
	q := url.Values{"_txlock": {"immediate"}}
	for _, p := range set {
		q.Add("_pragma", fmt.Sprintf("%s(%s)", p.name, p.set))
	}
	if abs, err := filepath.Abs(path); err == nil { // a relative one would be taken from the root
		path = abs
	}
	path = filepath.ToSlash(path)
	if !strings.HasPrefix(path, "/") { // C:/bench
		path = "/" + path
	}
	u := url.URL{Scheme: "file", Path: path, RawQuery: q.Encode()}
	return u.String()
}

func openWriter(path string, opt Options) (*sql.DB, error) {
	if err := checkHeader(path); err != nil {
		return nil, err
	}
	set := pragmas(opt.BusyTimeout)
	db, err := sql.Open("sqlite", dsn(path, set))
	if err != nil {
		return nil, err
	}
	keepConnections(db, 1)
	if err := checkDatabase(db, path, set); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

func checkDatabase(db *sql.DB, path string, set []pragma) error {
	ctx := context.Background()
	conn, err := db.Conn(ctx)
	if err != nil {
		return explain(err, path)
	}
	defer conn.Close()
	if err := checkPragmas(ctx, conn, set); err != nil {
		return err
	}
	return quickCheck(ctx, conn, path)
}

func openReaders(path string, opt Options) (*sql.DB, error) {
	set := append(pragmas(opt.BusyTimeout), pragma{"query_only", "ON", "1"})
	db, err := sql.Open("sqlite", dsn(path, set))
	if err != nil {
		return nil, err
	}
	keepConnections(db, readers)
	ctx := context.Background()
	conn, err := db.Conn(ctx)
	if err != nil {
		return nil, errors.Join(explain(err, path), db.Close())
	}
	if err := errors.Join(checkPragmas(ctx, conn, set), conn.Close()); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

// keepConnections sizes a pool whose connections stay: a new one would have to
// set its pragmas again.
func keepConnections(db *sql.DB, n int) {
	db.SetMaxOpenConns(n)
	db.SetMaxIdleConns(n)
	db.SetConnMaxIdleTime(0)
	db.SetConnMaxLifetime(0)
}

func checkPragmas(ctx context.Context, conn *sql.Conn, set []pragma) error {
	for _, p := range set {
		var got string
		if err := conn.QueryRowContext(ctx, "PRAGMA "+p.name).Scan(&got); err != nil {
			return fmt.Errorf("reading pragma %s: %w", p.name, err)
		}
		if got != p.want {
			return fmt.Errorf("the database does not take %s = %s (it stays %q); is the folder on a network drive? "+
				"A bench needs a local disk", p.name, p.set, got)
		}
	}
	return nil
}

// magic starts every SQLite database: https://www.sqlite.org/fileformat.html, 1.3.1.
const magic = "SQLite format 3\x00"

// checkHeader looks at the file before SQLite does, whose answer to a file that
// is something else names no file. A missing or empty file will be made.
func checkHeader(path string) error {
	data, err := readStart(path, len(magic))
	if errors.Is(err, fs.ErrNotExist) || err == nil && len(data) == 0 {
		return nil
	}
	if err != nil {
		return err
	}
	if string(data) != magic {
		return &CorruptError{Path: path, Problems: []string{"it does not begin as a database does"}}
	}
	return nil
}

func readStart(path string, n int) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data := make([]byte, n)
	got, err := f.ReadAt(data, 0)
	if got < n && err != nil && !isEOF(err) {
		return nil, err
	}
	return data[:got], nil
}

// quickCheck asks SQLite whether the pages of the database hang together.
func quickCheck(ctx context.Context, conn *sql.Conn, path string) error {
	rows, err := conn.QueryContext(ctx, "PRAGMA quick_check(5)")
	if err != nil {
		return explain(err, path)
	}
	defer rows.Close()
	var problems []string
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			return explain(err, path)
		}
		if line != "ok" {
			problems = append(problems, line)
		}
	}
	if err := rows.Err(); err != nil {
		return explain(err, path)
	}
	if len(problems) > 0 {
		return &CorruptError{Path: path, Problems: problems}
	}
	return nil
}
