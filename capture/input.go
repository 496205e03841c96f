package capture

import (
	"errors"
	"io"
)

// inputBuffer is the block that is read at once. Large enough that the cost of
// a system call does not show, small enough to stay in a second-level cache.
const inputBuffer = 128 << 10

// slack lets a decoder load the four or eight bytes of a word whose tail lies past the
// last sample.
const slack = 8

// input is a buffered reader that knows its offset and, where the source can,
// its size.
type input struct {
	r    io.Reader
	seek io.Seeker // nil: cannot
	base int64     // of the source where the capture starts
	size int64     // of the capture; below 0: unknown
	buf  []byte    // inputBuffer long, plus slack
	off  int       // next byte
	end  int       // behind the last byte held
	done int64     // offset of buf[end] in the capture
	err  error     // from the source, given out when the buffer is empty
}

func newInput(r io.Reader) *input {
	in := &input{r: r, size: -1, buf: make([]byte, inputBuffer+slack)}
	// A pipe as *os.File has the method but refuses the call.
	if s, ok := r.(io.Seeker); ok {
		base, err := s.Seek(0, io.SeekCurrent)
		if err == nil {
			end, err := s.Seek(0, io.SeekEnd)
			if _, back := s.Seek(base, io.SeekStart); err == nil && back == nil && end >= base {
				in.seek, in.base, in.size = s, base, end-base
			}
		}
	}
	return in
}

// offset of the next byte from the start of the capture.
func (in *input) offset() int64 { return in.done - int64(in.end-in.off) }

// fill makes at least want bytes available (want at most inputBuffer) unless
// the source ends or fails first. What the source said stays in in.err.
func (in *input) fill(want int) {
	if in.end-in.off >= want {
		return
	}
	if in.off > 0 {
		in.end = copy(in.buf, in.buf[in.off:in.end])
		in.off = 0
	}
	for idle := 0; in.end < want && in.err == nil; {
		n, err := in.r.Read(in.buf[in.end:inputBuffer])
		in.end += n
		in.done += int64(n)
		in.err = err
		if n > 0 {
			idle = 0
		} else if idle++; idle > 100 && err == nil {
			in.err = io.ErrNoProgress
		}
	}
}

// readInto fills p with the next bytes, the buffer's first and then straight from the
// source. Fewer come only when the source ends or fails, which stays in in.err.
func (in *input) readInto(p []byte) int {
	n := copy(p, in.buf[in.off:in.end])
	in.off += n
	for idle := 0; n < len(p) && in.err == nil; {
		k, err := in.r.Read(p[n:])
		n += k
		in.done += int64(k)
		in.err = err
		if k > 0 {
			idle = 0
		} else if idle++; idle > 100 && err == nil {
			in.err = io.ErrNoProgress
		}
	}
	return n
}

// peek gives the next n bytes without taking them; fewer at the end of the
// source. The error is never io.EOF.
func (in *input) peek(n int) ([]byte, error) {
	in.fill(n)
	b := in.buf[in.off:min(in.end, in.off+n)]
	if len(b) < n && !isEOF(in.err) {
		return b, in.err
	}
	return b, nil
}

// take is peek and advances.
func (in *input) take(n int) ([]byte, error) {
	b, err := in.peek(n)
	in.off += len(b)
	return b, err
}

// skip advances n bytes, seeking if it can; it stops without error at the end
// of the source.
func (in *input) skip(n int64) error {
	if held := int64(in.end - in.off); n <= held {
		in.off += int(n)
		return nil
	}
	if in.seek != nil {
		return in.jump(in.offset() + min(n, in.size-in.offset()))
	}
	for n > 0 {
		in.fill(1)
		step := min(n, int64(in.end-in.off))
		if step == 0 {
			if isEOF(in.err) {
				return nil
			}
			return in.err
		}
		in.off += int(step)
		n -= step
	}
	return nil
}

// jump goes to an offset of a source that can seek.
func (in *input) jump(offset int64) error {
	if _, err := in.seek.Seek(in.base+offset, io.SeekStart); err != nil {
		return err
	}
	in.off, in.end, in.done, in.err = 0, 0, offset, nil
	return nil
}

func isEOF(err error) bool { return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) }
