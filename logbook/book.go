package logbook

import (
	"cmp"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"time"
)

// Folder is the name of the folder of logs in that of the bench.
const Folder = "logs"

const (
	current = "headstack.log"
	// mostBytes of one file and mostFiles of them: 5 MB in all, some months of a bench.
	mostBytes = 1 << 20
	mostFiles = 5
	// mostLine bounds a line in bytes; the stack of a panic is the longest.
	mostLine = 16 << 10
	// again is how long a book that cannot be written is left alone.
	again = 30 * time.Second
)

// Options of a book; the zero value is for use.
type Options struct {
	// Complain is told once that nothing can be noted; nil: nobody is.
	Complain io.Writer
	// Bytes bounds one file, and Files how many are kept; 0: 1 MiB and 5.
	Bytes int64
	Files int
	// Now is the clock; nil: time.Now.
	Now func() time.Time
}

// Book is the log of one bench. It may be used by many goroutines.
type Book struct {
	root string // the bench's folder
	opt  Options

	mu     sync.Mutex
	lost   int       // lines since one could be written
	after  time.Time // when to try again
	said   bool
	counts map[string]*flood
}

// Open is the log in the folder of a bench. It makes nothing until there is a line to note,
// and never fails: see the package's doc.
func Open(bench string, opt Options) *Book {
	opt.Bytes, opt.Files = cmp.Or(opt.Bytes, mostBytes), cmp.Or(opt.Files, mostFiles)
	if opt.Now == nil {
		opt.Now = time.Now
	}
	return &Book{root: bench, opt: opt, counts: map[string]*flood{}}
}

// Dir is the folder of the logs.
func (b *Book) Dir() string { return filepath.Join(b.root, Folder) }

// note appends one line, made with the number of lines that were lost before it.
func (b *Book) note(line func(lost int) []byte) {
	b.mu.Lock()
	defer b.mu.Unlock()
	now := b.opt.Now()
	if now.Before(b.after) {
		b.lost++
		return
	}
	if err := b.append(line(b.lost)); err != nil {
		b.lost++
		b.after = now.Add(again)
		if !b.said && b.opt.Complain != nil {
			fmt.Fprintf(b.opt.Complain, "nothing can be noted in %s: %v. The bench goes on; headstack doctor looks at folder and disk.\n", b.Dir(), err)
		}
		b.said = true
		return
	}
	b.lost = 0
}

func (b *Book) append(line []byte) error {
	if err := os.MkdirAll(b.Dir(), 0o700); err != nil {
		return err
	}
	path := filepath.Join(b.Dir(), current)
	if i, err := os.Stat(path); err == nil && i.Size()+int64(len(line)) > b.opt.Bytes {
		if err := b.turn(path); err != nil {
			return err
		}
	}
	f, err := os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	if torn(f) {
		line = append([]byte{'\n'}, line...)
	}
	n, err := f.Write(line)
	if err != nil && n > 0 { // half a line of a full disk would spoil the next
		if i, serr := f.Stat(); serr == nil {
			_ = f.Truncate(i.Size() - int64(n))
		}
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return err
}

// turn moves every file on by one and lets go of the last.
func (b *Book) turn(path string) error {
	if b.opt.Files == 1 {
		return os.Remove(path)
	}
	for n := b.opt.Files - 2; n > 0; n-- {
		_ = os.Rename(older(b.Dir(), n), older(b.Dir(), n+1)) // it may not be there yet
	}
	return os.Rename(path, older(b.Dir(), 1))
}

func older(dir string, n int) string {
	return filepath.Join(dir, "headstack-"+strconv.Itoa(n)+".log")
}

// torn says that the last line has no end: a kill or a power cut came in between, and the
// next line must not become part of it.
func torn(f *os.File) bool {
	i, err := f.Stat()
	if err != nil || i.Size() == 0 {
		return false
	}
	last := []byte{'\n'}
	_, err = f.ReadAt(last, i.Size()-1)
	return err == nil && last[0] != '\n'
}
