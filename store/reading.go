package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"strings"

	sqlite3 "modernc.org/sqlite/lib"
)

// openReading opens a database to be read, which others may have open. In a folder that cannot
// be written SQLite has no place for the index of its log; where there is no log, the file is
// the whole of it and is read as one that nobody changes (SQLite, Write-Ahead Logging, section
// "Read-Only Databases").
func openReading(ctx context.Context, path string, set []pragma) (*sql.DB, error) {
	address := dsn(path, set)
	db, err := sql.Open("sqlite", address)
	if err != nil {
		return nil, err
	}
	var n int
	err = db.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_schema`).Scan(&n)
	if c := code(err); c != sqlite3.SQLITE_CANTOPEN && c != sqlite3.SQLITE_READONLY {
		return db, nil // any other error is for who reads
	}
	if i, serr := os.Stat(path + "-wal"); serr == nil && i.Size() > 0 {
		return nil, errors.Join(fmt.Errorf("the folder of %s cannot be written, and the last entries are still in its log %s-wal: copy the whole folder to a disk that can be written and look there (%w)", path, path, err), db.Close())
	}
	if err := db.Close(); err != nil {
		return nil, err
	}
	u, err := url.Parse(address)
	if err != nil {
		return nil, err
	}
	u.RawQuery = strings.Join([]string{u.RawQuery, "immutable=1"}, "&")
	return sql.Open("sqlite", u.String())
}
