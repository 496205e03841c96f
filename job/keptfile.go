package job

import (
	"context"
	"errors"
	"fmt"
)

// KeptFileError says that a kept file is gone or no longer has its size, seen without reading
// it.
type KeptFileError struct {
	Path string // where it should lie
	Want int64  // its size when it was kept, bytes
	Have int64  // its size now, bytes; below 0: it is gone
}

func (e *KeptFileError) Error() string {
	if e.Have < 0 {
		return fmt.Sprintf("%s is gone; put the file back under that name", e.Path)
	}
	return fmt.Sprintf("%s was altered after it was kept: it has %d bytes, not %d; put the original file back", e.Path, e.Have, e.Want)
}

// Glancer is a [Files] that tells at a glance whether a file still looks as it was kept.
type Glancer interface {
	// Glance looks for the file and its size, and whether its bytes were found altered
	// since; it reads none. Errors: [KeptFileError], [AlteredError].
	Glance(sha string, size int64) error
}

// Glance says what is wrong with the file of a capture, as far as that is seen without
// reading it; nil: nothing, or the files of this bench are not looked at so.
func (b *Bench) Glance(c Capture) error {
	if g, ok := b.files.(Glancer); ok && c.SHA256 != "" {
		return g.Glance(c.SHA256, c.Bytes)
	}
	return nil
}

// LookThrough reads the file of a capture to its end and holds it against its hash. Errors are
// those of Glance and of [Files].
func (b *Bench) LookThrough(ctx context.Context, c Capture) error {
	if err := b.Glance(c); err != nil {
		if _, altered := errors.AsType[*AlteredError](err); !altered { // which may be mended
			return err
		}
	}
	f, err := b.files.Open(ctx, c.SHA256)
	if err != nil {
		return err
	}
	return f.Close()
}
