package store

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"time"
)

const (
	dailyPrefix = "bench-day-"
	dailyKept   = 14
)

// copyDaily keeps a copy of the database as it was when it was first opened on a day
// (UTC), and the last dailyKept of them. Captures need no copy: they are never altered.
func copyDaily(ctx context.Context, db *sql.DB, dir string, now time.Time, d disk) error {
	stem := dailyPrefix + now.UTC().Format("20060102")
	path := filepath.Join(dir, backupsName, stem+".db")
	if _, err := os.Stat(path); !errors.Is(err, os.ErrNotExist) {
		return err
	}
	var entries int
	if err := db.QueryRowContext(ctx, `SELECT count(*) FROM entries`).Scan(&entries); err != nil || entries == 0 {
		return err
	}
	if _, err := copyTo(ctx, db, dir, stem, d); err != nil {
		return err
	}
	// By name, which is by day; a clock that was once ahead keeps its copies a while longer.
	days, err := filepath.Glob(filepath.Join(dir, backupsName, dailyPrefix+"*.db"))
	if err != nil {
		return err
	}
	slices.Sort(days)
	for len(days) > dailyKept {
		if days[0] != path {
			err = errors.Join(err, d.do(stepCopyOld, func() error { return os.Remove(days[0]) }))
		}
		days = days[1:]
	}
	return err
}

// lastGood is the newest copy of the database that is whole, "" for none.
func lastGood(dir string) string {
	for _, path := range copiesOf(dir) {
		if checkHeader(path) == nil && checkCopy(context.Background(), path) == nil {
			return path
		}
	}
	return ""
}

func modified(path string) time.Time {
	i, err := os.Stat(path)
	if err != nil {
		return time.Time{}
	}
	return i.ModTime()
}
