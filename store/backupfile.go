package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"headstack/halfmade"
)

// BackupFile is [Backup] into the file path, which must not be there yet: an
// [io/fs.ErrExist] otherwise. It is written beside its place, synced and then given its
// name: so what has the name is whole. After an error there is no such file; of a process
// that was killed something may lie beside it, which nothing reads; see [halfmade.In].
func BackupFile(ctx context.Context, dir, path string, now time.Time) (Contents, error) {
	return backupFile(ctx, dir, path, now, disk{})
}

func backupFile(ctx context.Context, dir, path string, now time.Time, d disk) (c Contents, err error) {
	defer func() {
		if err != nil {
			c, err = Contents{}, fmt.Errorf("backing up the bench in %s to %s: %w", dir, path, explain(err, dir))
		}
	}()
	var f *os.File
	folder := filepath.Dir(path)
	if err := free(path); err != nil {
		return c, err
	}
	err = d.do(stepBackupMake, func() (err error) { f, err = os.CreateTemp(folder, halfmade.Pattern("backup")); return err })
	if err != nil {
		return c, err
	}
	defer d.discard(stepBackupDiscard, f.Name()) // after the rename there is nothing to remove
	c, err = backupTo(ctx, dir, f, now, d)
	if err == nil {
		err = d.do(stepBackupSync, f.Sync)
	}
	if err := errors.Join(err, d.close(stepBackupClose, f)); err != nil {
		return c, err
	}
	if err := free(path); err != nil { // it took its time
		return c, err
	}
	if err := d.do(stepBackupName, func() error { return os.Rename(f.Name(), path) }); err != nil {
		return c, err
	}
	if err := d.do(stepBackupSettle, func() error { return syncDir(folder) }); err != nil {
		return c, errors.Join(err, d.do(stepBackupUndo, func() error { return os.Rename(path, f.Name()) }))
	}
	return c, nil
}

func free(path string) error {
	_, err := os.Lstat(path)
	if err == nil {
		return &fs.PathError{Op: "backup", Path: path, Err: fs.ErrExist}
	}
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}
