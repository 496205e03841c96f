package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"headstack/job"
)

// remainsPrefix starts the names of files that are not whole yet.
const remainsPrefix = ".incoming-"

// Put keeps a capture; see job.Files.
func (s *Store) Put(ctx context.Context, r io.Reader) (sha string, size int64, err error) {
	dir := filepath.Join(s.dir, capturesName)
	defer func() {
		if err != nil {
			sha, size, err = "", 0, fmt.Errorf("keeping a capture in %s: %w", dir, explain(err, dir))
		}
	}()
	var f *os.File
	err = s.disk.do(stepFileMake, func() (err error) { f, err = os.CreateTemp(dir, remainsPrefix+"*"); return err })
	if err != nil {
		return "", 0, err
	}
	temp := f.Name()
	defer s.disk.discard(stepFileDiscard, temp) // after the rename there is nothing to remove
	h := sha256.New()
	size, err = copyContext(ctx, io.MultiWriter(h, s.disk.writer(stepFileWrite, f)), r)
	if err == nil {
		err = s.disk.do(stepFileSync, f.Sync)
	}
	if err := errors.Join(err, s.disk.close(stepFileClose, f)); err != nil {
		return "", 0, err
	}
	sha = hex.EncodeToString(h.Sum(nil))
	return sha, size, s.settle(ctx, temp, sha)
}

// settle gives a whole temporary file its name. A file that is there already
// under that name is left alone while it is what its name says.
func (s *Store) settle(ctx context.Context, temp, sha string) error {
	// Another that finds the file acknowledges it: until it is sure to stay, none looks.
	s.settling.Lock()
	defer s.settling.Unlock()
	dir := filepath.Join(s.dir, capturesName)
	path := filepath.Join(dir, sha)
	f, err := s.Open(ctx, sha)
	if err == nil {
		return errors.Join(f.Close(), s.disk.do(stepFileAgain, func() error { return syncDir(dir) }))
	}
	_, absent := errors.AsType[*job.NotFoundError](err)
	if err := ctx.Err(); err != nil {
		return err
	}
	if runtime.GOOS != "windows" { // where a read-only file cannot be replaced
		if err := s.disk.do(stepFileMode, func() error { return os.Chmod(temp, 0o444) }); err != nil {
			return err
		}
	}
	if err := s.disk.do(stepFileName, func() error { return os.Rename(temp, path) }); err != nil {
		return err
	}
	err = s.disk.do(stepFileSettle, func() error { return syncDir(dir) })
	if err == nil || !absent || s.base != nil {
		// In a folder that others use the name is not taken back either, even where it was made
		// here: another program may have found the file under it and acknowledged it. A whole
		// file of which no entry speaks does no harm, and the next try finds it.
		return err
	}
	return errors.Join(err, s.disk.do(stepFileUndo, func() error { return os.Remove(path) }))
}

// Open opens a capture after hashing it again; see job.Files.
func (s *Store) Open(ctx context.Context, sha string) (job.File, error) {
	if !isHash(sha) {
		return nil, &job.NotFoundError{What: "capture", ID: sha}
	}
	path := filepath.Join(s.dir, capturesName, sha)
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, &job.NotFoundError{What: "capture", ID: sha}
	}
	if err != nil {
		return nil, fmt.Errorf("opening a capture: %w", err)
	}
	h := sha256.New()
	size, err := copyContext(ctx, h, f)
	if err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err == nil {
		err = checkHash(path, sha, h)
		if i, serr := f.Stat(); serr == nil {
			s.altered.note(sha, i, err)
		}
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return file{f, size}, nil
}

func checkHash(path, want string, h hash.Hash) error {
	if got := hex.EncodeToString(h.Sum(nil)); got != want {
		return &job.AlteredError{Path: path, Want: want, Got: got}
	}
	return nil
}

type file struct {
	*os.File
	size int64
}

func (f file) Size() int64 { return f.size }

// removeRemains removes what broken-off uploads and copies left, those of which left says
// that nobody is writing them any more.
func (s *Store) removeRemains(left func(e os.DirEntry) bool) error {
	for _, dir := range []string{filepath.Join(s.dir, capturesName), filepath.Join(s.dir, backupsName)} {
		list, err := os.ReadDir(dir)
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err != nil {
			return err
		}
		for _, e := range list {
			if !strings.HasPrefix(e.Name(), remainsPrefix) || !left(e) {
				continue
			}
			err := s.disk.do(stepRemains, func() error { return os.Remove(filepath.Join(dir, e.Name())) })
			if err != nil && !errors.Is(err, os.ErrNotExist) { // of a folder that others use, too
				return err
			}
		}
	}
	return nil
}

func isHash(s string) bool {
	if len(s) != sha256.Size*2 {
		return false
	}
	return strings.Trim(s, "0123456789abcdef") == ""
}

// copyContext is io.Copy that stops between blocks when ctx ends.
func copyContext(ctx context.Context, w io.Writer, r io.Reader) (int64, error) {
	n, err := io.CopyBuffer(struct{ io.Writer }{w}, contextReader{ctx, r}, make([]byte, 256<<10))
	if err == nil {
		err = ctx.Err()
	}
	return n, err
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

func syncPath(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// syncDir makes a rename in dir last. Windows has no such call; there a rename
// is in the file system's own journal.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
