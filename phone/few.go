package phone

import (
	"net"
	"sync"
)

// mostOfOne bounds the connections of one address at a time. A browser opens some six, and
// one where it speaks HTTP/2; beyond that somebody holds the bench's doors open.
const mostOfOne = 24

// few hangs up on an address that has too many connections open already.
type few struct {
	net.Listener
	mu   sync.Mutex
	open map[string]int // by address without port
}

func newFew(l net.Listener) *few { return &few{Listener: l, open: map[string]int{}} }

func (f *few) Accept() (net.Conn, error) {
	for {
		c, err := f.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from, _, err := net.SplitHostPort(c.RemoteAddr().String())
		if err != nil {
			from = c.RemoteAddr().String()
		}
		if f.enter(from) {
			return &counted{Conn: c, left: sync.OnceFunc(func() { f.leave(from) })}, nil
		}
		c.Close() //nolint:errcheck // nothing was said on it
	}
}

func (f *few) enter(from string) bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.open[from] >= mostOfOne {
		return false
	}
	f.open[from]++
	return true
}

func (f *few) leave(from string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.open[from]--; f.open[from] <= 0 {
		delete(f.open, from)
	}
}

// counted tells when it is closed.
type counted struct {
	net.Conn
	left func()
}

func (c *counted) Close() error {
	c.left()
	return c.Conn.Close()
}
