package main

import (
	"bytes"
	"context"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"headstack/capture"
)

// TestListenStopped: Ctrl-C while the input goes on is how a person ends a capture: what came is kept, in
// order, and it is no error.
func TestListenStopped(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	in, pipe := io.Pipe()
	defer pipe.Close()
	var out, errs bytes.Buffer
	path := filepath.Join(t.TempDir(), "stopped.wav")
	code := make(chan int)
	go func() {
		code <- run(&env{ctx: ctx, in: in, out: &out, err: &errs}, []string{"listen", "--raw", "s16le,8000,2", "-o", path})
	}()
	frames := bytes.Repeat([]byte{1, 2, 3, 4}, 8000)
	if _, err := pipe.Write(frames); err != nil {
		t.Fatal(err)
	}
	time.Sleep(100 * time.Millisecond) // that it is taken out of the pipe is not yet that it is written
	stop()
	select {
	case c := <-code:
		if c != exitDone || !strings.Contains(out.String(), "kept "+path) {
			t.Errorf("exit code %d\n%s%s", c, &out, &errs)
		}
	case <-time.After(time.Minute):
		t.Fatal("it does not stop")
	}
	r, err := capture.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if n, known := r.Frames(); n != 8000 || !known {
		t.Errorf("%d frames are kept (%v), want 8000", n, known)
	}
}
