package capture

import (
	"errors"
	"fmt"
	"strings"
)

// The kinds of [Error], for errors.Is. They differ in what a person can do.
var (
	// ErrNotCapture: the input is something else; choose another file or
	// convert it.
	ErrNotCapture = errors.New("not a capture")
	// ErrUnsupported: it is audio in an encoding that is not read here; convert
	// it.
	ErrUnsupported = errors.New("unsupported encoding")
	// ErrDamaged: the file contradicts itself or its format; copy or export it
	// again.
	ErrDamaged = errors.New("damaged capture")
)

// An Error says what is wrong with a capture, where, and what to do about it.
type Error struct {
	Kind   error  // ErrNotCapture, ErrUnsupported or ErrDamaged
	File   string // name given to Open or NewReader
	Offset int64  // byte from the start of the capture; below 0: no single place
	What   string // what was found
	Want   string // what was expected; may be empty
	Hint   string // what to do; may be empty
	Err    error  // cause; may be nil
}

// Error gives all parts on one line, the hint last.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Offset >= 0 {
		fmt.Fprintf(&b, ": byte %d", e.Offset)
	}
	fmt.Fprintf(&b, ": %v: %s", e.Kind, e.What)
	if e.Err != nil {
		fmt.Fprintf(&b, " (%v)", e.Err)
	}
	if e.Want != "" {
		b.WriteString(", expected " + e.Want)
	}
	if e.Hint != "" {
		b.WriteString("; " + e.Hint)
	}
	return b.String()
}

// Unwrap gives the kind and, if there is one, the cause.
func (e *Error) Unwrap() []error {
	if e.Err == nil {
		return []error{e.Kind}
	}
	return []error{e.Kind, e.Err}
}

const (
	hintConvert = "convert it to WAV (PCM or float) or FLAC"
	hintAgain   = "copy it again from the recorder, or export it again"
)
