package store

import (
	"archive/zip"
	"compress/flate"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"time"

	"headstack/halfmade"
)

// The names inside a backup.
const (
	listName      = "backup.json"
	backupFormat  = 1
	mostListBytes = 64 << 20
	mostPacked    = 1032 // times, by deflate: 258 bytes of two bits (RFC 1951, 3.2.5)
)

// Listed is one file of a backup.
type Listed struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	SHA256 string `json:"sha256"`
}

// Contents is what a backup holds, and the last file in it: so a backup that was cut off
// has none.
type Contents struct {
	Format int       `json:"format"`
	Made   time.Time `json:"made"`
	Files  []Listed  `json:"files"`
}

// Bytes is the size of all files.
func (c Contents) Bytes() (n int64) {
	for _, f := range c.Files {
		n += f.Size
	}
	return n
}

// Backup writes the bench in the folder dir as one zip file: the database as of one
// instant, and every capture and picture. The bench may be in use. A file that no longer
// has the bytes of its name is an [headstack/job.AlteredError]: what is kept in a backup
// is whole, or there is no backup.
func Backup(ctx context.Context, dir string, w io.Writer, now time.Time) (Contents, error) {
	c, err := backupTo(ctx, dir, w, now, disk{})
	if err != nil {
		return Contents{}, fmt.Errorf("backing up the bench in %s: %w", dir, explain(err, dir))
	}
	return c, nil
}

func backupTo(ctx context.Context, dir string, w io.Writer, now time.Time, d disk) (Contents, error) {
	c := Contents{Format: backupFormat, Made: now.UTC().Truncate(time.Second)}
	var temp string
	err := d.do(stepBackupTemp, func() (err error) { temp, err = os.MkdirTemp("", halfmade.Pattern("database")); return err })
	if err != nil {
		return c, err
	}
	defer d.discard(stepBackupClear, temp)
	// The database first: entries name only captures that are there already.
	copied := filepath.Join(temp, databaseName)
	if err := copyDatabase(ctx, filepath.Join(dir, databaseName), copied, d); err != nil {
		return c, err
	}
	names, err := fileNames(dir)
	if err != nil {
		return c, err
	}
	z := zip.NewWriter(d.writer(stepBackupWrite, w))
	z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) { return flate.NewWriter(w, flate.BestSpeed) })
	add := func(name, path string, method uint16) error {
		l, err := addFile(ctx, z, name, path, method, now)
		if err == nil && method == zip.Store && l.SHA256 != filepath.Base(name) {
			return alteredError(path, filepath.Base(name), l.SHA256)
		}
		c.Files = append(c.Files, l)
		return err
	}
	if err := add(databaseName, copied, zip.Deflate); err != nil {
		return c, err
	}
	for _, n := range names {
		if err := add(capturesName+"/"+n, filepath.Join(dir, capturesName, n), zip.Store); err != nil {
			return c, err
		}
	}
	list, err := z.CreateHeader(&zip.FileHeader{Name: listName, Method: zip.Store, Modified: now})
	if err != nil {
		return c, err
	}
	data, err := json.MarshalIndent(c, "", " ")
	if err == nil {
		_, err = list.Write(data)
	}
	return c, errors.Join(err, z.Close())
}

// copyDatabase makes a whole, checked copy of a database that others may be writing.
func copyDatabase(ctx context.Context, from, to string, d disk) error {
	if _, err := os.Stat(from); err != nil {
		return err
	}
	if err := checkHeader(from); err != nil {
		return err
	}
	// Not query_only, which refuses VACUUM INTO; it writes to the copy alone.
	db, err := openReading(ctx, from, []pragma{{"busy_timeout", "5000", "5000"}})
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := checkOwn(ctx, db, from); err != nil {
		return err
	}
	if err := d.do(stepBackupCopy, func() error { _, err := db.ExecContext(ctx, `VACUUM INTO ?`, to); return err }); err != nil {
		if err := explain(err, from); !errors.Is(err, ErrFull) {
			return err
		}
		// It is not the disk of the backup, and need not be that of the bench.
		return fmt.Errorf("copying the database to %s, the folder for temporary files: %w", filepath.Dir(to), explain(err, from))
	}
	return checkCopy(ctx, to)
}

// fileNames are the files kept under their hash, in order.
func fileNames(dir string) ([]string, error) {
	list, err := os.ReadDir(filepath.Join(dir, capturesName))
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var names []string
	for _, e := range list {
		if isHash(e.Name()) && e.Type().IsRegular() {
			names = append(names, e.Name())
		}
	}
	sort.Strings(names)
	return names, nil
}

func addFile(ctx context.Context, z *zip.Writer, name, path string, method uint16, now time.Time) (Listed, error) {
	f, err := os.Open(path)
	if err != nil {
		return Listed{}, err
	}
	defer f.Close()
	w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: method, Modified: now})
	if err != nil {
		return Listed{}, err
	}
	h := sha256.New()
	n, err := copyContext(ctx, io.MultiWriter(w, h), f)
	return Listed{Name: name, Size: n, SHA256: hex.EncodeToString(h.Sum(nil))}, err
}

// BackupError says why a file is no whole backup.
type BackupError struct{ Problem string }

func (e *BackupError) Error() string {
	return e.Problem + "; nothing was restored from it"
}

// ReadBackup reads what a backup says it holds. The bytes are not looked at; see
// [CheckBackup].
func ReadBackup(r io.ReaderAt, size int64) (Contents, error) {
	_, c, err := openBackup(r, size)
	return c, err
}

func openBackup(r io.ReaderAt, size int64) (*zip.Reader, Contents, error) {
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, Contents{}, &BackupError{fmt.Sprintf("this is no backup, or its end is missing (%v)", err)}
	}
	f, err := z.Open(listName)
	if err != nil {
		return nil, Contents{}, &BackupError{"it is a zip file without " + listName + ": no backup, or one that was cut off"}
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, mostListBytes+1))
	if err != nil || len(data) > mostListBytes {
		return nil, Contents{}, &BackupError{fmt.Sprintf("its %s cannot be read (%v)", listName, err)}
	}
	var c Contents
	if err := json.Unmarshal(data, &c); err != nil {
		return nil, Contents{}, &BackupError{fmt.Sprintf("its %s is not what this program writes (%v)", listName, err)}
	}
	if c.Format != backupFormat {
		return nil, Contents{}, &BackupError{fmt.Sprintf("it has format %d and this program knows %d: use the newer headstack", c.Format, backupFormat)}
	}
	hasDatabase := false
	var files int64
	for i, l := range c.Files {
		database := l.Name == databaseName
		hash, isFile := strings.CutPrefix(l.Name, capturesName+"/")
		if !(database && !hasDatabase || isFile && isHash(hash) && hash == l.SHA256) || l.Size < 0 {
			return nil, Contents{}, &BackupError{fmt.Sprintf("file %d of its list, %q, is none that a bench has", i+1, l.Name)}
		}
		// Kept files are stored as they are, the database is packed, by no more than deflate
		// can: a small file that lists more would fill the disk before its hashes are known.
		if room := size; database && l.Size/mostPacked > room || isFile && l.Size > room-files {
			return nil, Contents{}, &BackupError{fmt.Sprintf("%s on its list is larger than what a file of %d bytes holds", l.Name, size)}
		}
		if isFile {
			files += l.Size
		}
		hasDatabase = hasDatabase || database
	}
	if !hasDatabase {
		return nil, Contents{}, &BackupError{"it holds no database"}
	}
	return z, c, nil
}

// CheckBackup reads every byte of a backup and holds it against its list.
func CheckBackup(ctx context.Context, r io.ReaderAt, size int64) (Contents, error) {
	z, c, err := openBackup(r, size)
	if err != nil {
		return c, err
	}
	for _, l := range c.Files {
		if err := unpack(ctx, z, l, io.Discard); err != nil {
			return c, err
		}
	}
	return c, nil
}

// unpack writes one listed file and checks it on the way. No more is written than its
// listed size, whatever the zip file says.
func unpack(ctx context.Context, z *zip.Reader, l Listed, w io.Writer) error {
	f, err := z.Open(l.Name)
	if err != nil {
		return &BackupError{fmt.Sprintf("%s is on its list and not in it", l.Name)}
	}
	defer f.Close()
	h := sha256.New()
	n, err := copyContext(ctx, io.MultiWriter(w, h), io.LimitReader(f, l.Size+1))
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case isFull(err):
		return err
	case err != nil && (errors.Is(err, zip.ErrChecksum) || errors.Is(err, zip.ErrFormat) || errors.Is(err, io.ErrUnexpectedEOF)):
		return &BackupError{fmt.Sprintf("%s in it is damaged (%v)", l.Name, err)}
	case err != nil:
		return err
	case n != l.Size || hex.EncodeToString(h.Sum(nil)) != l.SHA256:
		return &BackupError{fmt.Sprintf("%s in it does not have the bytes that its list says", l.Name)}
	}
	return nil
}

// Restore makes a bench in the folder dir, which must be empty or not there, from a
// backup, checked byte by byte on the way. After an error the folder is as it was.
func Restore(ctx context.Context, r io.ReaderAt, size int64, dir string) (Contents, error) {
	return restore(ctx, r, size, dir, disk{})
}

func restore(ctx context.Context, r io.ReaderAt, size int64, dir string, d disk) (c Contents, err error) {
	z, c, err := openBackup(r, size)
	if err != nil {
		return c, err
	}
	dir, err = filepath.Abs(dir)
	if err != nil {
		return c, err
	}
	list, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return c, err
	}
	if len(list) > 0 {
		return c, fmt.Errorf("the folder %s is not empty: nothing was restored; give a folder that is not there yet", dir)
	}
	if err := restoreTo(ctx, z, c, dir, err == nil, d); err != nil {
		return c, explain(err, dir)
	}
	return c, nil
}

// restoreTo makes the bench beside its place and puts it there whole. existed: there is an
// empty folder in its place.
func restoreTo(ctx context.Context, z *zip.Reader, c Contents, dir string, existed bool, d disk) error {
	above := filepath.Dir(dir)
	if err := d.do(stepRestoreParent, func() error { return os.MkdirAll(above, 0o755) }); err != nil {
		return err
	}
	var temp string
	err := d.do(stepRestoreTemp, func() (err error) { temp, err = os.MkdirTemp(above, halfmade.Pattern("restoring")); return err })
	if err != nil {
		return err
	}
	defer d.discard(stepRestoreDiscard, temp) // after the rename there is nothing to remove
	captures := filepath.Join(temp, capturesName)
	err = d.do(stepRestoreMode, func() error { return os.Chmod(temp, 0o755) })
	if err == nil {
		err = d.do(stepRestoreCaptures, func() error { return os.Mkdir(captures, 0o755) })
	}
	if err != nil {
		return err
	}
	for _, l := range c.Files {
		if err := restoreFile(ctx, z, l, filepath.Join(temp, filepath.FromSlash(l.Name)), d); err != nil {
			return err
		}
	}
	if err := checkCopy(ctx, filepath.Join(temp, databaseName)); err != nil {
		return err
	}
	err = d.do(stepRestoreFiles, func() error { return syncDir(captures) })
	if err == nil {
		err = d.do(stepRestoreFolder, func() error { return syncDir(temp) })
	}
	if err != nil {
		return err
	}
	return putInPlace(temp, dir, existed, d)
}

// putInPlace renames temp to dir, and leaves dir as it was where that fails.
func putInPlace(temp, dir string, existed bool, d disk) (err error) {
	if existed { // a folder cannot be renamed to one that is there
		if err := d.do(stepRestoreEmpty, func() error { return os.Remove(dir) }); err != nil {
			return err
		}
		defer func() {
			if err != nil {
				err = errors.Join(err, d.do(stepRestoreAgain, func() error { return os.Mkdir(dir, 0o755) }))
			}
		}()
	}
	if err := d.do(stepRestoreName, func() error { return os.Rename(temp, dir) }); err != nil {
		return err
	}
	if err := d.do(stepRestoreSettle, func() error { return syncDir(filepath.Dir(dir)) }); err != nil {
		return errors.Join(err, d.do(stepRestoreUndo, func() error { return os.Rename(dir, temp) }))
	}
	return nil
}

func restoreFile(ctx context.Context, z *zip.Reader, l Listed, path string, d disk) error {
	mode := os.FileMode(0o644)
	if l.Name != databaseName {
		mode = 0o444
	}
	var f *os.File
	err := d.do(stepRestoreMake, func() (err error) {
		f, err = os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
		return err
	})
	if err != nil {
		return err
	}
	err = unpack(ctx, z, l, d.writer(stepRestoreWrite, f))
	if err == nil {
		err = d.do(stepRestoreSync, f.Sync)
	}
	return errors.Join(err, d.close(stepRestoreClose, f))
}
