package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"headstack/store"
)

type backupVerb struct {
	benchFlag
	File string `arg:"" help:"The backup to write: a zip file that is not there yet." type:"path"`
}

func (backupVerb) Help() string {
	return `Example: headstack backup ~/usb/bench-2031-03-04.zip

One file with the record as of this moment, the captures and the pictures, each with its hash.
The bench may be in use meanwhile. Phones that have joined are not in it.`
}

func (v *backupVerb) Run(e *env) error {
	if err := v.inFolder("backup", dumpInstead); err != nil {
		return err
	}
	dir, err := v.folder()
	if err != nil {
		return err
	}
	clearHalfMade(e, filepath.Dir(v.File))
	c, err := store.BackupFile(e.ctx, dir, v.File, time.Now())
	if errors.Is(err, fs.ErrExist) {
		return withHint(fmt.Errorf("%s is there already", v.File), "give another name; a backup never replaces a file")
	}
	if err != nil {
		return withHint(err, "no backup was made; the bench is as it was")
	}
	fmt.Fprintf(e.out, "%s: %s\n", v.File, contentsLine(c))
	return nil
}

func contentsLine(c store.Contents) string {
	return fmt.Sprintf("the record and %d kept files, %s in all, of %s", len(c.Files)-1, megabytes(c.Bytes()), c.Made.Format("2006-01-02 15:04 MST"))
}

func megabytes(n int64) string {
	return fmt.Sprintf("%.1f\u2009MB", float64(n)/1e6)
}

type restoreVerb struct {
	benchFlag
	File string `arg:"" help:"The backup." type:"existingfile"`
}

func (restoreVerb) Help() string {
	return `Example: headstack restore --bench ~/bench-anew ~/usb/bench-2031-03-04.zip

Makes a bench in a folder that is empty or not there. Every byte is held against its hash on the
way; when one does not fit, nothing is made.`
}

func (v *restoreVerb) Run(e *env) error {
	if err := v.inFolder("restore", "psql or pg_restore puts a dump back; headstack import puts an export into an empty database"); err != nil {
		return err
	}
	dir, err := v.folder()
	if err != nil {
		return err
	}
	f, size, err := openBackup(v.File)
	if err != nil {
		return err
	}
	defer f.Close()
	clearHalfMade(e, filepath.Dir(filepath.Clean(dir)))
	c, err := store.Restore(e.ctx, f, size, dir)
	if err != nil {
		return fmt.Errorf("restoring %s: %w", v.File, err)
	}
	fmt.Fprintf(e.out, "%s: %s\n", dir, contentsLine(c))
	return nil
}

func openBackup(path string) (interface {
	io.ReaderAt
	io.Closer
}, int64, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, 0, err
	}
	i, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, 0, err
	}
	return f, i.Size(), nil
}

type verifyVerb struct {
	benchFlag
	File string `arg:"" optional:"" help:"A backup to look through; without it, the bench." type:"existingfile"`
}

func (verifyVerb) Help() string {
	return `Example: headstack verify
         headstack verify ~/usb/bench-2031-03-04.zip

Reads every byte that is kept and holds it against its hash; changes nothing. Exit code 3 when
something is not as it was kept. Of a whole bench it prints a hash of all that it holds: two
benches with the same hash have the same record. Of a record on a server it reads each row as of
one instant while others append, and the files of the folder that goes with it; pg_amcheck looks
through the pages of the database.`
}

func (v *verifyVerb) Run(e *env) error {
	if v.File != "" {
		f, size, err := openBackup(v.File)
		if err != nil {
			return err
		}
		defer f.Close()
		c, err := store.CheckBackup(e.ctx, f, size)
		if err != nil {
			return &fault{exitNotInOrder, fmt.Errorf("%s: %w", v.File, err), "keep it apart and make another backup from the bench"}
		}
		fmt.Fprintf(e.out, "%s: whole: %s\n", v.File, contentsLine(c))
		return nil
	}
	if v.Record != "" {
		return v.onServer(e)
	}
	dir, err := v.folder()
	if err != nil {
		return err
	}
	got, err := store.Verify(e.ctx, dir)
	if err != nil {
		return err
	}
	if err := sayVerified(e, got, dir, "copy the folder away before anything else, then restore a backup into a new folder; the folder's own backups/ holds copies of the record"); err != nil {
		return err
	}
	s, err := v.snapshot(e.ctx)
	if err != nil {
		return err
	}
	return errors.Join(printContent(e, s), s.Close())
}

// onServer looks through a record on a server as of one instant.
func (v *verifyVerb) onServer(e *env) error {
	s, err := v.snapshot(e.ctx)
	if err != nil {
		return err
	}
	got, err := store.VerifyShared(e.ctx, s)
	if err == nil {
		err = sayVerified(e, got, s.Place(), "make a dump with pg_dump and copy the folder of captures away before anything else; a dump put back into another empty database, and the copy of the captures, are compared by headstack verify")
	}
	if err == nil {
		err = printContent(e, s)
	}
	return errors.Join(err, s.Close())
}

// sayVerified says what was looked through, and is a fault with what to do when not all is well.
func sayVerified(e *env, got store.Verified, place, todo string) error {
	for _, p := range got.Problems {
		fmt.Fprintln(e.out, "✕ "+p)
	}
	for _, n := range got.Notes {
		fmt.Fprintln(e.out, "– "+n)
	}
	fmt.Fprintf(e.out, "%d entries, %d documents, %d kept files (%s) looked through\n", got.Entries, got.Documents, got.Files, megabytes(got.Bytes))
	if n := len(got.Problems); n > 0 {
		return &fault{exitNotInOrder, fmt.Errorf("%d things in %s are not as they were kept", n, place), todo}
	}
	fmt.Fprintln(e.out, "■ all as it was kept")
	return nil
}
