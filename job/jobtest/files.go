package jobtest

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"sync"
	"testing"
	"testing/iotest"

	"headstack/job"
)

// Files runs the suite on the stores of files that open makes, each empty.
func Files(t *testing.T, open func(t *testing.T) job.Files) {
	// SHA-256 of one million times "a": FIPS 180-2, appendix B.3.
	const millionA = "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"
	const size = 1000000
	text := strings.Repeat("a", size)

	t.Run("a file comes back whole", func(t *testing.T) {
		f := open(t)
		for range 2 { // the same file twice is one file
			sha, n, err := f.Put(t.Context(), iotest.HalfReader(strings.NewReader(text)))
			if err != nil || sha != millionA || n != size {
				t.Fatalf("Put = %s, %d, %v; want %s, %d", sha, n, err, millionA, size)
			}
		}
		got := openFile(t, f, millionA)
		if got.Size() != size {
			t.Errorf("size %d, want %d", got.Size(), size)
		}
		if data, err := io.ReadAll(got); err != nil || string(data) != text {
			t.Errorf("read %d bytes (%v), want the %d that were put", len(data), err, size)
		}
		at := make([]byte, 3)
		if _, err := got.ReadAt(at, size-3); err != nil || string(at) != "aaa" {
			t.Errorf("ReadAt = %q, %v", at, err)
		}
	})
	t.Run("an empty file", func(t *testing.T) {
		f := open(t)
		// SHA-256 of nothing: NIST CAVP, SHA256ShortMsg.rsp, Len = 0.
		const empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
		if sha, n, err := f.Put(t.Context(), strings.NewReader("")); err != nil || sha != empty || n != 0 {
			t.Fatalf("Put = %s, %d, %v", sha, n, err)
		}
		openFile(t, f, empty)
	})
	t.Run("an upload that breaks off leaves nothing", func(t *testing.T) {
		f := open(t)
		broken := errors.New("the cable came out")
		_, _, err := f.Put(t.Context(), io.MultiReader(strings.NewReader(text), iotest.ErrReader(broken)))
		if !errors.Is(err, broken) {
			t.Errorf("error %v, want %v", err, broken)
		}
		if _, err := f.Open(t.Context(), millionA); !isNotFound(err) {
			t.Errorf("after a broken upload: error %v, want NotFoundError", err)
		}
	})
	t.Run("a stopped upload leaves nothing", func(t *testing.T) {
		f := open(t)
		ctx, cancel := context.WithCancel(t.Context())
		_, _, err := f.Put(ctx, io.MultiReader(strings.NewReader(text), readerFunc(func([]byte) (int, error) {
			cancel()
			return 0, io.EOF
		})))
		if !errors.Is(err, context.Canceled) {
			t.Errorf("error %v, want %v", err, context.Canceled)
		}
		if _, err := f.Open(t.Context(), millionA); !isNotFound(err) {
			t.Errorf("after a stopped upload: error %v, want NotFoundError", err)
		}
	})
	t.Run("names that are no hash", func(t *testing.T) {
		f := open(t)
		for _, name := range []string{"", "..", "../bench.db", "/etc/passwd", millionA[:63], strings.ToUpper(millionA), "\x00"} {
			if _, err := f.Open(t.Context(), name); !isNotFound(err) {
				t.Errorf("Open(%q): error %v, want NotFoundError", name, err)
			}
		}
	})
	t.Run("the same file from several hands at once", func(t *testing.T) {
		f := open(t)
		var wg sync.WaitGroup
		for range 4 {
			wg.Go(func() {
				sha, _, err := f.Put(t.Context(), strings.NewReader(text))
				if err != nil || sha != millionA {
					t.Errorf("Put = %s, %v", sha, err)
				}
			})
		}
		wg.Wait()
		if data, err := io.ReadAll(openFile(t, f, millionA)); err != nil || !bytes.Equal(data, []byte(text)) {
			t.Errorf("read %d bytes, %v", len(data), err)
		}
	})
}

func openFile(t *testing.T, f job.Files, sha string) job.File {
	t.Helper()
	got, err := f.Open(t.Context(), sha)
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	t.Cleanup(func() {
		if err := got.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return got
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }
