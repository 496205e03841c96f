package export

import (
	"archive/zip"
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"headstack/halfmade"
	"headstack/job"
)

// Options are how an export is written; the zero value is the record alone, whole.
type Options struct {
	// Report makes the report of a job as one HTML file, as of when; nil: none is made. A
	// job whose report fails is exported without.
	Report func(ctx context.Context, jobID string, when time.Time) ([]byte, error)
	// Tolerate leaves out what cannot be read and lists it, where else nothing is exported:
	// for what is left of a damaged bench. What a source returns beside an error is written.
	Tolerate bool
}

// Written is what was exported.
type Written struct {
	Content
	Exported int    // files, SHA256SUMS too
	Lost     []Lost // see Options.Tolerate; reports that could not be made too
}

// ToZip writes a bench as one zip file. After an error what was written is no export, and is
// refused when it is read.
func ToZip(ctx context.Context, src job.Contents, w io.Writer, opt Options) (Written, error) {
	z := zip.NewWriter(w)
	out, err := write(ctx, src, opt, func(name string, fill func(io.Writer) error) error {
		// Stored, not packed: sound hardly packs, and the same bytes come of every program.
		f, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store, Modified: neverChanged})
		if err != nil {
			return err
		}
		return fill(f)
	})
	if err != nil {
		return Written{}, fmt.Errorf("exporting the bench: %w", err)
	}
	if err := z.Close(); err != nil {
		return Written{}, fmt.Errorf("exporting the bench: %w", err)
	}
	return out, nil
}

// neverChanged is the time of every file in a zip: the first that the format knows, so that
// the same record gives the same bytes.
var neverChanged = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

// ToFolder writes a bench into the folder dir, which must be empty or not there. After an
// error it is as it was.
func ToFolder(ctx context.Context, src job.Contents, dir string, opt Options) (Written, error) {
	out, err := toFolder(ctx, src, dir, opt, halfmade.Settle)
	if err != nil {
		return Written{}, fmt.Errorf("exporting the bench into %s: %w", dir, err)
	}
	return out, nil
}

// toFolder makes the name last with settle.
func toFolder(ctx context.Context, src job.Contents, dir string, opt Options, settle func(string) error) (Written, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return Written{}, err
	}
	list, err := os.ReadDir(dir)
	existed := err == nil
	switch {
	case err != nil && !errors.Is(err, os.ErrNotExist):
		return Written{}, err
	case len(list) > 0:
		return Written{}, errors.New("the folder is not empty; give one that is not there yet")
	}
	// Made beside its place and put there whole.
	if err := os.MkdirAll(filepath.Dir(dir), 0o755); err != nil {
		return Written{}, err
	}
	temp, err := os.MkdirTemp(filepath.Dir(dir), halfmade.Pattern("exporting"))
	if err != nil {
		return Written{}, err
	}
	defer os.RemoveAll(temp) // after the rename there is nothing to remove
	if err := os.Chmod(temp, 0o755); err != nil {
		return Written{}, err
	}
	out, err := write(ctx, src, opt, func(name string, fill func(io.Writer) error) error {
		return writeFile(filepath.Join(temp, filepath.FromSlash(name)), fill)
	})
	if err != nil {
		return Written{}, err
	}
	return out, putInPlace(temp, dir, existed, settle)
}

// putInPlace renames temp to dir, and leaves dir as it was where that fails: an empty folder
// where existed says so.
func putInPlace(temp, dir string, existed bool, settle func(string) error) (err error) {
	if existed { // a folder cannot be renamed to one that is there
		if err := os.Remove(dir); err != nil {
			return err
		}
		defer func() {
			if err != nil {
				err = errors.Join(err, os.Mkdir(dir, 0o755))
			}
		}()
	}
	if err := os.Rename(temp, dir); err != nil {
		return err
	}
	if err := settle(filepath.Dir(dir)); err != nil {
		return errors.Join(err, os.Rename(dir, temp))
	}
	return nil
}

func writeFile(path string, fill func(io.Writer) error) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	if err = fill(f); err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// add writes one file of the export and notes its hash.
func (w *writer) add(name string, fill func(io.Writer) error) error {
	if err := w.ctx.Err(); err != nil {
		return err
	}
	h := sha256.New()
	err := w.put(name, func(f io.Writer) error {
		b := bufio.NewWriterSize(io.MultiWriter(f, h), 256<<10)
		return errors.Join(fill(b), b.Flush())
	})
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	w.sums = append(w.sums, sum{hex.EncodeToString(h.Sum(nil)), name})
	w.out.Exported++
	return nil
}

func (w *writer) addBytes(name string, data []byte) error {
	return w.add(name, func(f io.Writer) error {
		_, err := f.Write(data)
		return err
	})
}

// copyContext is io.Copy that stops between blocks when ctx ends.
func copyContext(ctx context.Context, w io.Writer, r io.Reader) (int64, error) {
	return io.CopyBuffer(struct{ io.Writer }{w}, contextReader{ctx, r}, make([]byte, 256<<10))
}

type contextReader struct {
	ctx context.Context
	r   io.Reader
}

func (c contextReader) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.r.Read(p)
}
