package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/pressly/goose/v3"
)

// applicationID marks bench.db in its header (PRAGMA application_id): "hstb".
const applicationID = 0x68737462

// migrate brings the database to the schema of this program, after keeping a
// copy of one that has something in it.
func migrate(db *sql.DB, dir string, opt Options) error {
	ctx := context.Background()
	path := filepath.Join(dir, databaseName)
	empty, err := checkOwn(ctx, db, path)
	if err != nil {
		return err
	}
	p, err := goose.NewProvider(goose.DialectSQLite3, db, opt.migrations, goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return fmt.Errorf("reading the schema's history: %w", err)
	}
	current, target, err := p.GetVersions(ctx)
	switch {
	case err != nil:
		return fmt.Errorf("reading the schema's version: %w", explain(err, path))
	case current > target:
		return &NewerError{Path: path, Have: current, Know: target}
	case current == target:
		return nil
	}
	var kept string
	if !empty {
		if kept, err = backup(ctx, db, dir, current, opt.Now(), opt.disk); err != nil {
			return fmt.Errorf("keeping a copy before the schema changes from %d to %d; nothing was changed: %w", current, target, err)
		}
		kept = "; the database as it was is kept as " + kept
	}
	err = opt.disk.do(stepSchema, func() error {
		if _, err := db.ExecContext(ctx, sixIsInSeven); err != nil {
			return err
		}
		_, err := p.Up(ctx)
		return err
	})
	if err != nil {
		return fmt.Errorf("changing the schema from %d to %d%s: %w", current, target, kept, explain(err, path))
	}
	return nil
}

// sixIsInSeven notes schema 6 as made where 7 is: there was a program that had 7 before there
// was a 6, and 7 makes all that 6 does.
const sixIsInSeven = `INSERT INTO goose_db_version (version_id, is_applied) SELECT 6, 1
	WHERE EXISTS (SELECT 1 FROM goose_db_version WHERE version_id = 7) AND NOT EXISTS (SELECT 1 FROM goose_db_version WHERE version_id = 6)`

// checkOwn says whether the database is new, and refuses one that is no bench.
func checkOwn(ctx context.Context, db *sql.DB, path string) (empty bool, err error) {
	var id, tables int64
	if err := db.QueryRowContext(ctx, `PRAGMA application_id`).Scan(&id); err != nil {
		return false, explain(err, path)
	}
	// goose makes its table before the first schema and outside of its
	// transaction, so a kill in between leaves that table alone.
	const q = `SELECT count(*) FROM sqlite_schema WHERE name NOT LIKE 'goose_%' AND name NOT LIKE 'sqlite_%'`
	if err := db.QueryRowContext(ctx, q).Scan(&tables); err != nil {
		return false, explain(err, path)
	}
	if tables > 0 && id != applicationID {
		return false, &ForeignError{Path: path}
	}
	return tables == 0, nil
}

// backup writes a whole, checked copy of the database and returns its path.
func backup(ctx context.Context, db *sql.DB, dir string, version int64, now time.Time, d disk) (string, error) {
	return copyTo(ctx, db, dir, fmt.Sprintf("bench-schema%d-%s", version, now.UTC().Format("20060102T150405Z")), d)
}

// copyTo is backup under a name.
func copyTo(ctx context.Context, db *sql.DB, dir, stem string, d disk) (string, error) {
	folder := filepath.Join(dir, backupsName)
	if err := d.do(stepCopyFolder, func() error { return os.MkdirAll(folder, 0o755) }); err != nil {
		return "", err
	}
	path, err := freeName(folder, stem, ".db")
	if err != nil {
		return "", err
	}
	temp := filepath.Join(folder, remainsPrefix+stem)
	defer d.discard(stepCopyDiscard, temp) // after a rename there is nothing to remove
	if err := d.do(stepCopyClear, func() error { return os.Remove(temp) }); err != nil && !errors.Is(err, os.ErrNotExist) {
		return "", err
	}
	if err := d.do(stepCopyWrite, func() error { _, err := db.ExecContext(ctx, `VACUUM INTO ?`, temp); return err }); err != nil {
		return "", explain(err, temp)
	}
	if err := checkCopy(ctx, temp); err != nil {
		return "", err
	}
	err = d.do(stepCopySync, func() error { return syncPath(temp) })
	if err == nil {
		err = d.do(stepCopyName, func() error { return os.Rename(temp, path) })
	}
	if err == nil { // a whole copy stays also where this fails
		err = d.do(stepCopySettle, func() error { return syncDir(folder) })
	}
	if err != nil {
		return "", err
	}
	return path, nil
}

func checkCopy(ctx context.Context, path string) error {
	db, err := sql.Open("sqlite", dsn(path, []pragma{{"query_only", "ON", "1"}}))
	if err != nil {
		return err
	}
	defer db.Close()
	conn, err := db.Conn(ctx)
	if err != nil {
		return explain(err, path)
	}
	defer conn.Close()
	return quickCheck(ctx, conn, path)
}

// freeName finds a name in folder that is not taken: stem.db, stem-2.db ...
func freeName(folder, stem, ext string) (string, error) {
	for n := 1; n < 1000; n++ {
		name := stem
		if n > 1 {
			name += fmt.Sprintf("-%d", n)
		}
		path := filepath.Join(folder, name+ext)
		if _, err := os.Lstat(path); errors.Is(err, os.ErrNotExist) {
			return path, nil
		} else if err != nil {
			return "", err
		}
	}
	return "", fmt.Errorf("%s holds a thousand copies named %s already", folder, stem)
}
