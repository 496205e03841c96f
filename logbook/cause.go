package logbook

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
)

// mostKinds bounds how far an error is followed.
const mostKinds = 16

// ours are errors whose words hold nothing but themselves.
var ours = []error{io.EOF, io.ErrUnexpectedEOF, io.ErrShortWrite, io.ErrClosedPipe, context.Canceled, context.DeadlineExceeded, os.ErrDeadlineExceeded, fs.ErrClosed, fs.ErrPermission, fs.ErrNotExist, fs.ErrExist}

// cause says of what kinds an error is, the outermost first: "*store.CopyError, open
// bench.db: no space left on device". Its words are left out, for they can hold what was
// typed.
func (b *Book) cause(err error) string {
	var kinds []string
	var follow func(err error)
	follow = func(err error) {
		if err == nil || len(kinds) >= mostKinds {
			return
		}
		if k := b.kind(err); k != "" && !slices.Contains(kinds, k) {
			kinds = append(kinds, k)
		}
		switch u := err.(type) { //nolint:errorlint // the chain is walked by hand
		case interface{ Unwrap() error }:
			follow(u.Unwrap())
		case interface{ Unwrap() []error }:
			for _, e := range u.Unwrap() {
				follow(e)
			}
		}
	}
	follow(err)
	if len(kinds) == 0 {
		return "an error in words"
	}
	return strings.Join(kinds, ", ")
}

func (b *Book) kind(err error) string {
	switch e := err.(type) { //nolint:errorlint // the chain is walked by hand
	case *fs.PathError:
		return e.Op + " " + b.inside(e.Path)
	case *os.LinkError:
		return e.Op + " " + b.inside(e.New)
	case syscall.Errno:
		return e.Error()
	case runtime.Error: // an index, a type, a nil: never a text
		return e.Error()
	case interface{ Code() int }: // of the database
		return fmt.Sprintf("%T %d", err, e.Code())
	}
	if slices.Contains(ours, err) {
		return err.Error()
	}
	t := fmt.Sprintf("%T", err)
	if t == "*errors.errorString" || strings.HasPrefix(t, "*fmt.wrapError") || t == "*errors.joinError" {
		return ""
	}
	return t
}

// inside is a path as it lies in the bench's folder; of others nothing is said.
func (b *Book) inside(path string) string {
	rel, err := filepath.Rel(b.root, path)
	if err != nil || !filepath.IsLocal(rel) {
		return "a file elsewhere"
	}
	return filepath.ToSlash(rel)
}

// Panic is the error of a panic and the place where it arose: call it in the deferred
// function that recovered.
func Panic(recovered any) error {
	e := &PanicError{Stack: Stack(2)} // without this function and the deferred one
	if err, ok := recovered.(error); ok {
		e.err = err
	} else {
		e.err = fmt.Errorf("%v", recovered)
	}
	return e
}

// PanicError is a mistake of the program that it caught.
type PanicError struct {
	Stack string // where it arose
	err   error
}

func (e *PanicError) Error() string { return "a mistake in the program: " + e.err.Error() }

// Unwrap is what the panic was raised with, where that is an error.
func (e *PanicError) Unwrap() error { return e.err }

// StackOf is where the panic of an error arose; empty where there was none.
func StackOf(err error) string {
	if p, ok := errors.AsType[*PanicError](err); ok {
		return p.Stack
	}
	return ""
}

// salt is another one in each run: an address has few values, and its hash could else be
// looked up.
var salt = rand.Text()

// Caller is a mark of an address, four figures, that tells callers of one run apart.
func Caller(address string) string {
	h := hmac.New(sha256.New, []byte(salt))
	h.Write([]byte(address))
	return hex.EncodeToString(h.Sum(nil)[:2])
}
