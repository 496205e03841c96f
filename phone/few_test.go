package phone

import (
	"io"
	"net"
	"testing"
	"time"
)

// TestFew opens more connections from one address than may be: the last is hung up, and one
// is let in again when another has gone.
func TestFew(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	f := newFew(l)
	defer f.Close()
	accepted := make(chan net.Conn, mostOfOne+2)
	go func() {
		for {
			c, err := f.Accept()
			if err != nil {
				close(accepted)
				return
			}
			accepted <- c
		}
	}()
	dial := func() net.Conn {
		c, err := net.Dial("tcp", l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { c.Close() })
		return c
	}
	var let []net.Conn
	for range mostOfOne {
		dial()
		let = append(let, <-accepted)
	}
	over := dial()
	_ = over.SetReadDeadline(time.Now().Add(10 * time.Second))
	if _, err := over.Read(make([]byte, 1)); err != io.EOF {
		t.Errorf("one too many: %v", err)
	}
	let[0].Close()
	let[0].Close() // as servers do: it counts once
	dial()
	c := <-accepted
	for _, c := range append(let, c) {
		c.Close()
	}
	if len(f.open) != 0 {
		t.Errorf("still counted: %v", f.open)
	}
}
