package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	sqlite3 "modernc.org/sqlite/lib"
)

// folderLock holds SQLite's exclusive lock on an empty side database. The same
// locks protect bench.db, so wherever a bench is safe at all this lock works,
// and the system drops it with the process.
type folderLock struct {
	db     *sql.DB
	conn   *sql.Conn
	holder string
	disk   disk
}

// holder says who has the folder open. It is a courtesy: the lock decides.
type holder struct {
	PID   int       `json:"pid"`
	Host  string    `json:"host"`
	Since time.Time `json:"since"`
}

// lockWait lets a program that is just ending do so.
const lockWait = 500 * time.Millisecond

func lockFolder(dir string, now time.Time, d disk) (*folderLock, error) {
	path := filepath.Join(dir, lockName)
	wait := fmt.Sprint(lockWait.Milliseconds())
	db, err := sql.Open("sqlite", dsn(path, []pragma{{"busy_timeout", wait, wait}}))
	if err != nil {
		return nil, err
	}
	keepConnections(db, 1)
	ctx := context.Background()
	conn, err := db.Conn(ctx)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("locking the folder: %w", err), db.Close())
	}
	if _, err := conn.ExecContext(ctx, "BEGIN EXCLUSIVE"); err != nil {
		switch code(err) {
		case sqlite3.SQLITE_BUSY:
			err = &InUseError{Dir: dir, Holder: readHolder(dir)}
		case sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT:
			err = fmt.Errorf("%s is not empty; it is a lock and holds nothing of the record: remove it and try again", path)
		default:
			err = fmt.Errorf("locking the folder with %s: %w", path, err)
		}
		return nil, errors.Join(err, conn.Close(), db.Close())
	}
	l := &folderLock{db: db, conn: conn, holder: filepath.Join(dir, holderName), disk: d}
	host, _ := os.Hostname()
	text, err := json.Marshal(holder{PID: os.Getpid(), Host: host, Since: now.UTC().Truncate(time.Second)})
	if err == nil {
		err = d.do(stepHolder, func() error { return os.WriteFile(l.holder, append(text, '\n'), 0o644) })
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("locking the folder: %w", err), l.release())
	}
	return l, nil
}

func readHolder(dir string) string {
	text, err := os.ReadFile(filepath.Join(dir, holderName))
	if err != nil {
		return ""
	}
	var h holder
	if json.Unmarshal(text, &h) != nil || h.PID == 0 {
		return ""
	}
	return fmt.Sprintf("process %d on %s since %s", h.PID, h.Host, h.Since.Format(time.RFC3339))
}

func (l *folderLock) release() error {
	err := l.disk.do(stepHolderRemove, func() error { return os.Remove(l.holder) }) // before the lock goes, or it may be the next one's
	if errors.Is(err, os.ErrNotExist) {
		err = nil
	}
	_, rollback := l.conn.ExecContext(context.Background(), "ROLLBACK")
	return errors.Join(err, rollback, l.conn.Close(), l.db.Close())
}
