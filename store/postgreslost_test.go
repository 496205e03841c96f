package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"headstack/store/pgtest"
)

// The server is stopped at once, as in a power cut, and started again while several append:
// what was acknowledged is there once, what was refused is not there.
func TestAServerThatStopsAndComesBack(t *testing.T) {
	srv := pgtest.Start(t, sharedChecks)
	s := openAt(t, Shared{Address: srv.Database(t), Dir: t.TempDir(), Patience: 60 * time.Second})
	j := openedJob(t, s)
	var mu sync.Mutex
	acknowledged, refused := map[string]int64{}, map[string]error{}
	var stop atomic.Bool
	var wg sync.WaitGroup
	for w := range 3 {
		wg.Go(func() {
			for i := 0; !stop.Load(); i++ {
				text := fmt.Sprintf("%d of writer %d", i, w)
				e, err := s.AppendEntry(t.Context(), noteIn(j, text))
				mu.Lock()
				if err == nil {
					acknowledged[text] = e.Seq
				} else {
					refused[text] = err
				}
				mu.Unlock()
			}
		})
	}
	for range 2 {
		time.Sleep(300 * time.Millisecond)
		srv.Down()
		time.Sleep(100 * time.Millisecond)
		if err := srv.Up(); err != nil {
			t.Fatal(err)
		}
	}
	time.Sleep(300 * time.Millisecond)
	stop.Store(true)
	wg.Wait()
	for text, err := range refused {
		t.Errorf("%s: %v", text, err)
	}
	got, err := s.Entries(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range got {
		if e.Seq != int64(i+1) {
			t.Fatalf("entry %d is numbered %d", i+1, e.Seq)
		}
		if acknowledged[e.Remark] != e.Seq {
			t.Errorf("entry %d, %q, was acknowledged as %d", e.Seq, e.Remark, acknowledged[e.Remark])
		}
	}
	if len(got) != len(acknowledged) || len(got) < 10 {
		t.Errorf("%d entries, %d were acknowledged", len(got), len(acknowledged))
	}
	t.Logf("2 stops: %d entries acknowledged, all there once", len(got))
}

// cutter is a line to the server that breaks off when a commit goes by, before or after the
// server got it.
type cutter struct {
	l      net.Listener
	to     string
	before bool
	armed  atomic.Bool
	cuts   atomic.Int64
}

func (c *cutter) serve() {
	for {
		in, err := c.l.Accept()
		if err != nil {
			return
		}
		go c.pass(in)
	}
}

func (c *cutter) pass(in net.Conn) {
	out, err := net.Dial("tcp", c.to)
	if err != nil {
		in.Close()
		return
	}
	var cut atomic.Bool
	go func() {
		defer in.Close()
		buf := make([]byte, 64<<10)
		for {
			n, err := out.Read(buf)
			if n > 0 && !cut.Load() {
				_, _ = in.Write(buf[:n])
			}
			if err != nil || cut.Load() {
				return
			}
		}
	}()
	defer out.Close()
	buf := make([]byte, 64<<10)
	for {
		n, err := in.Read(buf)
		if n > 0 {
			if strings.Contains(string(buf[:n]), "commit") && c.armed.CompareAndSwap(true, false) {
				cut.Store(true)
				c.cuts.Add(1)
				if !c.before {
					_, _ = out.Write(buf[:n])
					_, _ = io.CopyN(io.Discard, out, 1) // it has answered, and nobody hears it
				}
				in.Close()
				return
			}
			_, _ = out.Write(buf[:n])
		}
		if err != nil {
			return
		}
	}
}

// A connection that dies at the commit leaves the outcome open; the append finds it out and
// neither loses the entry nor keeps it twice.
func TestACommitWhoseAnswerIsLost(t *testing.T) {
	srv := pgtest.Start(t, sharedChecks)
	for _, before := range []bool{true, false} {
		t.Run(fmt.Sprintf("before the server got it %v", before), func(t *testing.T) {
			address := srv.Database(t)
			direct := srv.Loopback(address, pgtest.Password)
			host := direct[strings.LastIndex(direct, "@")+1 : strings.LastIndex(direct, "/")]
			l, err := net.Listen("tcp", "127.0.0.1:0")
			if err != nil {
				t.Fatal(err)
			}
			c := &cutter{l: l, to: host, before: before}
			go c.serve()
			t.Cleanup(func() { l.Close() })
			s := openAt(t, Shared{Address: strings.Replace(direct, host, l.Addr().String(), 1) + "?sslmode=disable", Dir: t.TempDir(), Patience: 20 * time.Second})
			j := openedJob(t, s)
			for i := range 5 {
				c.armed.Store(true)
				e, err := s.AppendEntry(t.Context(), noteIn(j, fmt.Sprint(i)))
				if err != nil || e.Seq != int64(i+1) {
					t.Fatalf("entry %d: %d, %v", i+1, e.Seq, err)
				}
			}
			// With no time to find out, it is said that it is not known.
			s.base.(*server).patience = time.Nanosecond
			c.armed.Store(true)
			_, err = s.AppendEntry(t.Context(), noteIn(j, "who knows"))
			if !isUnknown(err) {
				t.Errorf("error %v, want UnknownError", err)
			}
			if c.cuts.Load() != 6 {
				t.Errorf("%d commits were cut, want 6", c.cuts.Load())
			}
			got, err := s.Entries(t.Context(), j.ID)
			want := 6
			if before {
				want = 5
			}
			if err != nil || len(got) != want {
				t.Errorf("%d entries (%v), want %d", len(got), err, want)
			}
		})
	}
}

// Who gives up while waiting for his turn gets his answer, and nothing of his is kept.
func TestGivingUpBehindAnotherAppend(t *testing.T) {
	s := openShared(t)
	j := openedJob(t, s)
	held, release := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		err := s.append(t.Context(), "holding the turn", func(*sql.Tx) error { close(held); <-release; return nil })
		if err != nil {
			t.Error(err)
		}
	})
	<-held
	ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer cancel()
	_, err := s.AppendEntry(ctx, noteIn(j, "too late"))
	if !errors.Is(err, context.DeadlineExceeded) || !strings.Contains(err.Error(), "nothing of it was kept") {
		t.Errorf("error %v, want that nothing was kept", err)
	}
	close(release)
	wg.Wait()
	e, err := s.AppendEntry(t.Context(), noteIn(j, "next"))
	if err != nil || e.Seq != 1 {
		t.Errorf("the next: entry %d, %v; want 1", e.Seq, err)
	}
}
