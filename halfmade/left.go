package halfmade

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// Rest is how long something must have lain untouched before [Clear] removes it. The number of
// a process means nothing on another machine or in another container that has the same disk;
// who works there writes all the while.
const Rest = time.Hour

// Left is something half-made whose process no longer runs on this machine.
type Left struct {
	Path    string
	Kind    string    // as given to [Pattern]
	Process int       // that made it
	Bytes   int64     // of all files in it
	Changed time.Time // the latest change to any part of it
}

// Stale says whether nobody can be at work on it any more.
func (l Left) Stale(now time.Time) bool { return now.Sub(l.Changed) >= Rest }

// In lists what killed programs left in a folder. What a process of this machine still works
// on is not among it; nor is anything whose name is not of [Pattern]. A folder that is not
// there holds nothing.
func In(folder string) ([]Left, error) {
	list, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var out []Left
	for _, e := range list {
		kind, pid, ok := parse(e.Name())
		if !ok || !e.IsDir() && !e.Type().IsRegular() || runs(pid) {
			continue
		}
		l := Left{Path: filepath.Join(folder, e.Name()), Kind: kind, Process: pid}
		err := filepath.WalkDir(l.Path, func(_ string, e fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			i, err := e.Info()
			if err != nil {
				return err
			}
			if i.Mode().IsRegular() {
				l.Bytes += i.Size()
			}
			if i.ModTime().After(l.Changed) {
				l.Changed = i.ModTime()
			}
			return nil
		})
		if errors.Is(err, fs.ErrNotExist) {
			continue // it goes just now: somebody is at work on it
		}
		if err != nil {
			return out, err
		}
		out = append(out, l)
	}
	return out, nil
}

// Clear removes what is stale in a folder. What stays, because it is too young or cannot be
// removed, is in left.
func Clear(folder string, now time.Time) (removed, left []Left, err error) {
	list, err := In(folder)
	for _, l := range list {
		if l.Stale(now) && os.RemoveAll(l.Path) == nil {
			removed = append(removed, l)
		} else {
			left = append(left, l)
		}
	}
	return removed, left, err
}

// parse takes a name of Pattern apart.
func parse(name string) (kind string, pid int, ok bool) {
	name, ok = strings.CutPrefix(name, mark)
	part := strings.Split(name, "-")
	if !ok || len(part) != 3 || part[0] == "" || part[2] == "" {
		return "", 0, false
	}
	pid, err := strconv.Atoi(part[1])
	return part[0], pid, err == nil && pid > 0
}

// runs says whether a process has that number here; in doubt it does.
func runs(pid int) bool {
	p, err := os.FindProcess(pid)
	if err != nil { // on Windows: none has, or it may not be looked at
		return errors.Is(err, fs.ErrPermission)
	}
	defer p.Release()
	if runtime.GOOS == "windows" {
		return true
	}
	err = p.Signal(syscall.Signal(0)) // POSIX kill(2): nothing is sent, only looked whether it could be
	return !errors.Is(err, os.ErrProcessDone) && !errors.Is(err, syscall.ESRCH)
}
