package export

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

// TestAFolderIsPutInPlaceOrLeft: where the name cannot be made to last, the folder is as it
// was before: empty or not there.
func TestAFolderIsPutInPlaceOrLeft(t *testing.T) {
	broken := errors.New("the disk does not answer")
	for _, existed := range []bool{false, true} {
		for _, fails := range []string{"", "rename", "settle"} {
			root := t.TempDir()
			temp, dir := filepath.Join(root, "temp"), filepath.Join(root, "dir")
			if fails != "rename" {
				if err := os.MkdirAll(filepath.Join(temp, "sound"), 0o755); err != nil {
					t.Fatal(err)
				}
			}
			if existed {
				if err := os.Mkdir(dir, 0o755); err != nil {
					t.Fatal(err)
				}
			}
			err := putInPlace(temp, dir, existed, func(folder string) error {
				if folder != root {
					t.Errorf("settled %s, want %s", folder, root)
				}
				if fails == "settle" {
					return broken
				}
				return nil
			})
			_, whole := os.Stat(filepath.Join(dir, "sound"))
			list, there := os.ReadDir(dir)
			_, back := os.Stat(filepath.Join(temp, "sound"))
			switch {
			case fails == "" && (err != nil || whole != nil):
				t.Errorf("existed %v: %v, %v", existed, err, whole)
			case fails != "" && (err == nil || whole == nil || len(list) > 0 || (there == nil) != existed):
				t.Errorf("existed %v, %s fails: error %v; there are %v, %v", existed, fails, err, list, there)
			case fails == "settle" && (!errors.Is(err, broken) || back != nil):
				t.Errorf("existed %v: error %v, and the half-made %v", existed, err, back)
			}
		}
	}
}
