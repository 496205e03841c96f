package memory

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"sync"

	"headstack/job"
)

// Files keeps captures in memory; the zero value is empty and ready.
type Files struct {
	mu   sync.Mutex
	data map[string][]byte
}

var _ job.Files = (*Files)(nil)

// Put is job.Files'.
func (f *Files) Put(ctx context.Context, r io.Reader) (string, int64, error) {
	data, err := io.ReadAll(r)
	if err != nil {
		return "", 0, err
	}
	if err := ctx.Err(); err != nil {
		return "", 0, err
	}
	sum := sha256.Sum256(data)
	sha := hex.EncodeToString(sum[:])
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.data == nil {
		f.data = make(map[string][]byte)
	}
	f.data[sha] = data
	return sha, int64(len(data)), nil
}

// Open is job.Files'.
func (f *Files) Open(_ context.Context, sha string) (job.File, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	data, ok := f.data[sha]
	if !ok {
		return nil, &job.NotFoundError{What: "capture", ID: sha}
	}
	return file{bytes.NewReader(data)}, nil
}

type file struct{ *bytes.Reader }

func (file) Close() error { return nil }
