package instrument

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"sync/atomic"
	"time"

	"go.bug.st/serial"
)

// Limits of what an instrument may send as one answer.
const (
	maxLine  = 64 << 10 // without its blocks
	maxBlock = 32 << 20 // bytes of one block: a scope's deep memory of one channel
)

// wire is a line to an instrument.
type wire interface {
	io.ReadWriteCloser
	// SetDeadline bounds what is read and written from now on; the errors are then
	// os.ErrDeadlineExceeded.
	SetDeadline(time.Time) error
}

// dial opens the line.
func dial(ctx context.Context, a Address) (wire, error) {
	if a.Device == "" {
		var d net.Dialer
		c, err := d.DialContext(ctx, "tcp", a.Host)
		if err != nil {
			return nil, err
		}
		return c, nil
	}
	m := a.Serial
	mode := &serial.Mode{BaudRate: m.Baud, DataBits: m.Data}
	switch m.Parity {
	case "even":
		mode.Parity = serial.EvenParity
	case "odd":
		mode.Parity = serial.OddParity
	}
	if m.Stop == 2 {
		mode.StopBits = serial.TwoStopBits
	}
	p, err := serial.Open(a.Device, mode)
	if err != nil {
		return nil, err
	}
	// What is left from an earlier conversation answers nothing that is asked now.
	err = errors.Join(p.SetReadTimeout(serialTick), p.ResetInputBuffer())
	if err != nil {
		p.Close()
		return nil, err
	}
	return &serialWire{Port: p}, nil
}

// serialTick is how long a read of a serial line waits at a time, so that it can be
// given up.
const serialTick = 50 * time.Millisecond

// serialWire gives a serial port a deadline. Its reads return nothing and no error when
// their time is over.
type serialWire struct {
	serial.Port
	deadline atomic.Int64 // in nanoseconds since 1970; 0: none
}

func (s *serialWire) SetDeadline(t time.Time) error {
	if t.IsZero() {
		s.deadline.Store(0)
	} else {
		s.deadline.Store(t.UnixNano())
	}
	return nil
}

func (s *serialWire) Read(b []byte) (int, error) {
	for {
		n, err := s.Port.Read(b)
		if n > 0 || err != nil || len(b) == 0 {
			return n, err
		}
		if d := s.deadline.Load(); d != 0 && time.Now().UnixNano() >= d {
			return 0, os.ErrDeadlineExceeded
		}
	}
}

// readMessage reads one response message up to its end of line. An end of line within a
// string or a block does not end it.
func readMessage(r *bufio.Reader, end byte) ([]byte, error) {
	var msg []byte
	var quote, closed byte // the open string's, and that of one which just ended
	fresh := true          // an element may begin here
	for text := 0; ; text++ {
		if text > maxLine {
			return msg, fmt.Errorf("over %d bytes came without an end of line", maxLine)
		}
		c, err := r.ReadByte()
		if err != nil {
			if err == io.EOF && len(msg) > 0 {
				err = io.ErrUnexpectedEOF
			}
			return msg, err
		}
		was := closed
		closed = 0
		switch {
		case quote != 0:
			if c == quote {
				quote, closed = 0, c
			}
		case was != 0 && c == was: // doubled: it goes on
			quote = c
		case c == end || c == '\n':
			if len(msg) > 0 { // the other half of CR LF, or an empty line
				return msg, nil
			}
			continue
		case (c == '"' || c == '\'') && fresh: // else an apostrophe in a name
			quote, fresh = c, false
		case c == '#' && fresh:
			if msg, err = readBlock(r, append(msg, c)); err != nil {
				return msg, err
			}
			fresh = false
			continue
		case c == ',' || c == ';':
			fresh = true
		case c > ' ':
			fresh = false
		}
		msg = append(msg, c)
	}
}

// readBlock reads on after a # where an element begins: the head and the bytes of a block
// of definite length, or nothing where it is another thing.
func readBlock(r *bufio.Reader, msg []byte) ([]byte, error) {
	head, err := r.Peek(1)
	if err != nil || head[0] < '1' || head[0] > '9' {
		return msg, nil // the error comes again at the next byte
	}
	start := len(msg) - 1
	for range 1 + int(head[0]-'0') {
		c, err := r.ReadByte()
		if err != nil {
			return msg, err
		}
		msg = append(msg, c)
	}
	n, _, err := blockLength(msg[start:])
	if err != nil {
		return msg, nil // no length: the parser says where
	}
	if n > maxBlock {
		return msg, fmt.Errorf("a block of %d bytes was announced, over the %d that are taken", n, maxBlock)
	}
	// Grown as it comes: what was announced may never come.
	for n > 0 {
		k := min(n, 64<<10)
		at := len(msg)
		msg = append(msg, make([]byte, k)...)
		got, err := io.ReadFull(r, msg[at:])
		if err != nil {
			return msg[:at+got], err
		}
		n -= k
	}
	return msg, nil
}
