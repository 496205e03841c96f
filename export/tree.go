package export

import (
	"archive/zip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
)

// What is taken at most. They are far above what a bench of decades has.
const (
	mostFiles    = 1 << 20
	mostName     = 512       // bytes
	mostDepth    = 8         // folders
	mostSums     = 256 << 20 // bytes of SHA256SUMS
	mostManifest = 64 << 20  // bytes of bench.json
	mostListings = 256 << 20 // bytes of listings.json
	mostDocument = 256 << 20 // bytes of one document
	mostEntry    = 256 << 20 // bytes of one entry in JSON
	mostEntries  = 1 << 23
	// mostPacked is how many times its size a zip file may unpack to, beside a gigabyte.
	// What this package writes is not packed; text of an export packs to a tenth.
	mostPacked = 100
	freePacked = 1 << 30
)

// BadError says what is wrong with an export. Nothing was imported.
type BadError struct {
	File    string // inside the export; empty: the export itself
	Line    int    // from 1; 0: of no one line
	Byte    int64  // offset from 1; 0: of no one byte
	Problem string // "has the SHA-256 ..., where SHA256SUMS says ..."
	Todo    string // what to do; empty: the usual
}

func (e *BadError) Error() string {
	where := e.File
	switch {
	case where == "":
		where = "this"
	case e.Line > 0:
		where += fmt.Sprintf(", line %d", e.Line)
	case e.Byte > 0:
		where += fmt.Sprintf(", byte %d", e.Byte)
	}
	return where + " " + e.Problem + "; nothing was imported"
}

// Hint says what to do.
func (e *BadError) Hint() string {
	if e.Todo != "" {
		return e.Todo
	}
	return "take another copy of the export, or export the bench again; sha256sum -c SHA256SUMS in its folder names every file that was altered"
}

// Tree is an export opened to be read. Its names are checked; its bytes are not.
type Tree struct {
	files map[string]treeFile
	names []string // sorted
	close func() error
}

type treeFile struct {
	size int64
	open func() (io.ReadCloser, error)
}

// Close lets go of it.
func (t *Tree) Close() error { return t.close() }

// Open opens an export: a folder, or a zip file.
func Open(path string) (*Tree, error) {
	st, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if st.IsDir() {
		return openFolder(path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	t, err := OpenZip(f, st.Size())
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	t.close = f.Close
	return t, nil
}

// openFolder reads the names in a folder. Links are refused: what one leads to is not part
// of the export.
func openFolder(dir string) (*Tree, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	t := &Tree{files: map[string]treeFile{}, close: root.Close}
	err = fs.WalkDir(root.FS(), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		if !d.Type().IsRegular() {
			return &BadError{File: name, Problem: "is no file but a link, a pipe or the like", Todo: "put the file itself in its place, or take another copy of the export"}
		}
		i, err := d.Info()
		if err != nil {
			return err
		}
		return t.add(filepath.ToSlash(name), i.Size(), func() (io.ReadCloser, error) { return root.Open(name) })
	})
	if err == nil {
		err = t.settle()
	}
	if err != nil {
		return nil, errors.Join(err, root.Close())
	}
	return t, nil
}

// OpenZip reads the names in a zip file.
func OpenZip(r io.ReaderAt, size int64) (*Tree, error) {
	z, err := zip.NewReader(r, size)
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) { // its names are checked below
		return nil, &BadError{Problem: fmt.Sprintf("is no folder and no zip file, or its end is missing (%v)", err)}
	}
	t := &Tree{files: map[string]treeFile{}, close: func() error { return nil }}
	var packed, unpacked uint64
	for _, f := range z.File {
		if strings.HasSuffix(f.Name, "/") && f.UncompressedSize64 == 0 {
			if err := checkName(strings.TrimSuffix(f.Name, "/")); err != nil {
				return nil, &BadError{Problem: err.Error()}
			}
			continue
		}
		if err := checkZipped(f); err != nil {
			return nil, err
		}
		packed += f.CompressedSize64
		unpacked += f.UncompressedSize64
		if packed > uint64(size) || unpacked > mostPacked*uint64(size)+freePacked {
			return nil, &BadError{File: f.Name, Problem: fmt.Sprintf("makes the zip file unpack to over %d bytes out of %d, as only one does that was made to fill disks", unpacked, size),
				Todo: "if it is an export all the same, unpack it and import the folder"}
		}
		if err := t.add(f.Name, int64(f.UncompressedSize64), f.Open); err != nil {
			return nil, err
		}
	}
	return t, t.settle()
}

func checkZipped(f *zip.File) error {
	switch {
	case f.UncompressedSize64 > 1<<62 || f.CompressedSize64 > 1<<62:
		return &BadError{File: f.Name, Problem: "has a size that no file has"}
	case !f.Mode().IsRegular():
		return &BadError{File: f.Name, Problem: "is no file but a link or the like", Todo: "put the file itself in its place, or take another copy of the export"}
	case f.Flags&1 != 0:
		return &BadError{File: f.Name, Problem: "is encrypted", Todo: "unpack it with its password and import the folder"}
	case f.Method != zip.Store && f.Method != zip.Deflate:
		return &BadError{File: f.Name, Problem: fmt.Sprintf("is packed by method %d, where 0 and 8 are read", f.Method), Todo: "unpack it and import the folder"}
	}
	return nil
}

func (t *Tree) add(name string, size int64, open func() (io.ReadCloser, error)) error {
	if err := checkName(name); err != nil {
		return &BadError{Problem: err.Error()}
	}
	if _, twice := t.files[name]; twice {
		return &BadError{File: name, Problem: "is there twice, and which of them is meant cannot be known"}
	}
	if len(t.files) == mostFiles {
		return &BadError{Problem: fmt.Sprintf("has over %d files", mostFiles)}
	}
	t.files[name] = treeFile{size, open}
	return nil
}

// settle finds the folder in which the export lies: who packs a folder has its name before
// every other.
func (t *Tree) settle() error {
	root, found := "", 0
	for name := range t.files {
		if path.Base(name) == manifestName && strings.Count(name, "/") <= 1 {
			if d := path.Dir(name); found == 0 || d == "." {
				root = d
			}
			if found++; root == "." {
				break
			}
		}
	}
	switch {
	case found == 0:
		return &BadError{Problem: "is no export of a bench: it has no " + manifestName,
			Todo: "name a folder or zip file that headstack export wrote; a backup is put back with headstack restore"}
	case found > 1 && root != ".":
		return &BadError{Problem: fmt.Sprintf("has %d exports in it", found), Todo: "unpack it and import the folder of one"}
	}
	if root != "." {
		inside := map[string]treeFile{}
		for name, f := range t.files {
			if rest, ok := strings.CutPrefix(name, root+"/"); ok {
				inside[rest] = f
			}
		}
		t.files = inside
	}
	for name := range t.files {
		t.names = append(t.names, name)
	}
	slices.Sort(t.names)
	return nil
}

// read gives a file whole, of at most most bytes.
func (t *Tree) read(name string, most int64) ([]byte, error) {
	f, err := t.open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return nil, unreadable(name, err)
	}
	if int64(len(data)) > most {
		return nil, &BadError{File: name, Byte: most + 1, Problem: fmt.Sprintf("goes on, where at most %d bytes are taken", most)}
	}
	return data, nil
}

// open gives a file; no more of it than its size is read, whatever it unpacks to.
func (t *Tree) open(name string) (io.ReadCloser, error) {
	f, ok := t.files[name]
	if !ok {
		return nil, &BadError{File: name, Problem: "is missing"}
	}
	r, err := f.open()
	if err != nil {
		return nil, unreadable(name, err)
	}
	return struct {
		io.Reader
		io.Closer
	}{io.LimitReader(r, f.size+1), r}, nil
}

// hash reads a file to its end.
func (t *Tree) hash(ctx context.Context, name string) (string, int64, error) {
	f, err := t.open(name)
	if err != nil {
		return "", 0, err
	}
	defer f.Close()
	h := sha256.New()
	n, err := copyContext(ctx, h, f)
	if ctx.Err() != nil {
		return "", 0, ctx.Err()
	}
	if err != nil {
		return "", 0, unreadable(name, err)
	}
	return hex.EncodeToString(h.Sum(nil)), n, nil
}

func unreadable(name string, err error) error {
	return &BadError{File: name, Problem: fmt.Sprintf("cannot be read (%v)", err)}
}
