package store

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// FuzzBackup: a file that is given as a backup is restored whole or not at all, nothing is
// written outside the folder, and no more than the file can hold.
func FuzzBackup(f *testing.F) {
	s := open(f, f.TempDir(), Options{})
	openedJob(f, s)
	var whole bytes.Buffer
	if _, err := Backup(context.Background(), s.Dir(), &whole, time.Date(2031, 3, 4, 19, 30, 0, 0, time.UTC)); err != nil {
		f.Fatal(err)
	}
	f.Add(whole.Bytes())
	f.Add(whole.Bytes()[:whole.Len()/2])
	f.Add([]byte("PK\x05\x06" + string(make([]byte, 18))))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, size := bytes.NewReader(data), int64(len(data))
		c, err := ReadBackup(r, size)
		if err != nil {
			if bad, ok := errors.AsType[*BackupError](err); !ok || bad.Problem == "" {
				t.Fatalf("%v", err)
			}
			return
		}
		if c.Bytes() > size*(mostPacked+1) {
			t.Fatalf("%d bytes listed in a file of %d", c.Bytes(), size)
		}
		if c.Bytes() > 64<<20 {
			t.Skip() // allowed, and slow
		}
		place := t.TempDir()
		_, checked := CheckBackup(t.Context(), r, size)
		_, err = Restore(t.Context(), r, size, filepath.Join(place, "bench"))
		if checked != nil && err == nil {
			t.Fatalf("restored although %v", checked)
		}
		list, rerr := os.ReadDir(place)
		if rerr != nil || err != nil && len(list) != 0 || err == nil && (len(list) != 1 || list[0].Name() != "bench") {
			t.Fatalf("%v left %v (%v)", err, list, rerr)
		}
		if err != nil && errors.Is(err, fs.ErrExist) && err.Error() == "" {
			t.Fatal("an error without words")
		}
	})
}
