package logbook

import (
	"os"
	"path/filepath"
	"testing"
)

// FuzzRead: whatever became of the file, what can be read of it is read.
func FuzzRead(f *testing.F) {
	f.Add([]byte(`{"time":"2031-05-04T12:00:00Z","level":"ERROR","msg":"page failed"}` + "\n{\n\x00"))
	f.Add([]byte(`[[[[`))
	f.Fuzz(func(t *testing.T, data []byte) {
		dir := t.TempDir()
		if err := os.Mkdir(filepath.Join(dir, Folder), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, Folder, current), data, 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := Read(dir, 3)
		if err != nil || s.Bytes != int64(len(data)) || len(s.Last) > 3 {
			t.Fatalf("%+v, %v", s, err)
		}
		// And a line that is noted afterwards is found.
		Open(dir, Options{}).Logger().Error("after")
		if s, err := Read(dir, 1); err != nil || len(data) < mostLine && (len(s.Last) != 1 || s.Last[0].Message != "after") {
			t.Fatalf("%+v, %v", s, err)
		}
	})
}
