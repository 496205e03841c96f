package halfmade

import (
	"errors"
	"fmt"
	"os"
	"runtime"
)

// mark begins the names of the half-made: hidden, and of no other program.
const mark = ".headstack-"

// Pattern is the name of something half-made for [os.CreateTemp] and [os.MkdirTemp]. kind says
// what it is to become: small letters. It carries the number of this process, so that another
// can tell whether somebody still works on it.
func Pattern(kind string) string {
	return fmt.Sprintf("%s%s-%d-*", mark, kind, os.Getpid())
}

// Settle makes a name given in the folder last. Windows has no such call; there a rename is in
// the file system's own journal.
func Settle(folder string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	f, err := os.Open(folder)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
