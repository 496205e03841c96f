package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"time"

	"headstack/live/pulse"
	"headstack/store"
)

type doctorVerb struct {
	benchFlag
	Port int `default:"4470" help:"Port on which the pages would be served."`
}

func (doctorVerb) Help() string {
	return `Example: headstack doctor

Looks at the folder, the disk, the record, its copies, kept files, captures cut off, what killed programs
left half-made, what the log holds, the port of the pages, a browser and the sound server, and says
what to do. Of a record on a server: whether it answers, its settings, the schema, this machine's clock
against the server's, and the folder that is shared. Changes nothing but a probe file that it removes
again. Exit code 3 when something needs doing.`
}

// finding is one line of a look at the bench.
type finding struct {
	what string
	ok   bool
	says string
	todo string // "" nothing
}

const (
	littleRoom = 5 << 30 // bytes: an evening of eight tracks at 96 kHz, 24 bit, is 8 GB an hour
	oldCopy    = 14 * 24 * time.Hour
)

func (v *doctorVerb) Run(e *env) error {
	dir, err := v.folder()
	if err != nil {
		return err
	}
	var list []finding
	if v.Record != "" {
		list = v.shopFindings(e.ctx, dir)
	} else if _, err := os.Stat(dir); errors.Is(err, os.ErrNotExist) {
		list = append(list, finding{"folder", true, dir + " is not there yet", "the first job makes it"})
	} else {
		list = append(list, folderFinding(dir), roomFinding(dir), recordFinding(dir), copiesFinding(dir, time.Now()), keptFinding(dir), cutOffFinding(dir), halfMadeFinding(dir), logsFinding(dir))
	}
	list = append(list, portFinding(v.Port), browserFinding(), soundFinding())
	bad := 0
	for _, f := range list {
		mark := "■"
		if !f.ok {
			mark = "✕"
			bad++
		}
		fmt.Fprintf(e.out, "%s %s: %s\n", mark, f.what, f.says)
		if f.todo != "" {
			fmt.Fprintf(e.out, "    %s\n", f.todo)
		}
	}
	if bad > 0 {
		return &fault{exitNotInOrder, fmt.Errorf("%d of %d need doing", bad, len(list)), ""}
	}
	return nil
}

func folderFinding(dir string) finding {
	f, err := os.CreateTemp(dir, ".probe-*")
	if err == nil {
		_, err = f.WriteString("probe")
		err = errors.Join(err, f.Sync(), f.Close(), os.Remove(f.Name()))
	}
	if err != nil {
		return finding{"folder", false, err.Error(), "give this user the right to write in " + dir + ", or name another folder with --bench"}
	}
	return finding{"folder", true, dir + " can be written", ""}
}

func roomFinding(dir string) finding {
	free, err := freeBytes(dir)
	if err != nil {
		return finding{"disk", false, err.Error(), "look by hand how much room is left"}
	}
	says := fmt.Sprintf("%.1f\u2009GB free", float64(free)/1e9)
	if free < littleRoom {
		return finding{"disk", false, says, "make room before the next capture: eight tracks at 96 kHz and 24 bit take 8.3 GB an hour"}
	}
	return finding{"disk", true, says, ""}
}

func recordFinding(dir string) finding {
	if _, err := os.Stat(filepath.Join(dir, "bench.db")); errors.Is(err, os.ErrNotExist) {
		return finding{"record", true, "there is none yet", ""}
	}
	s, err := store.Open(dir, store.Options{})
	if in, ok := errors.AsType[*store.InUseError](err); ok {
		return finding{"record", true, in.Error(), ""}
	}
	if err != nil {
		return finding{"record", false, err.Error(), "copy the folder away before anything else"}
	}
	problem := s.CopyProblem()
	if err := s.Close(); err != nil {
		return finding{"record", false, err.Error(), "copy the folder away before anything else"}
	}
	if problem != nil {
		return finding{"record", false, "whole, but today's copy could not be made: " + problem.Error(), "make room, then start once more"}
	}
	return finding{"record", true, "opens, and its pages hang together", "headstack verify reads every byte, captures too"}
}

func copiesFinding(dir string, now time.Time) finding {
	list, err := filepath.Glob(filepath.Join(dir, "backups", "bench-*.db"))
	if err != nil || len(list) == 0 {
		return finding{"copies", true, "none yet: the first is made at the start after the first entry", "headstack backup FILE.zip makes one file of all, for another disk"}
	}
	var newest time.Time
	for _, p := range list {
		if i, err := os.Stat(p); err == nil && i.ModTime().After(newest) {
			newest = i.ModTime()
		}
	}
	says := fmt.Sprintf("%d of the record in %s, the newest of %s", len(list), filepath.Join(dir, "backups"), newest.Format("2006-01-02"))
	if now.Sub(newest) > oldCopy {
		return finding{"copies", true, says, "it is some time ago; headstack backup FILE.zip makes one file of all, for another disk"}
	}
	return finding{"copies", true, says, "they are on the same disk: headstack backup FILE.zip makes one file of all, for another"}
}

// keptFinding counts the captures and pictures, and looks for some that are not whole. What
// their bytes are is for headstack verify.
func keptFinding(dir string) finding {
	list, err := os.ReadDir(filepath.Join(dir, "captures"))
	if errors.Is(err, os.ErrNotExist) {
		return finding{"kept files", true, "none yet", ""}
	}
	if err != nil {
		return finding{"kept files", false, err.Error(), "give this user the right to read that folder"}
	}
	var n, empty int
	var size int64
	for _, f := range list {
		i, err := f.Info()
		if err != nil || len(f.Name()) != 64 {
			continue // another program's, or one that is being kept now
		}
		n++
		size += i.Size()
		if i.Size() == 0 {
			empty++
		}
	}
	says := fmt.Sprintf("%d, %s", n, megabytes(size))
	if _, bad, err := store.GlanceAll(context.Background(), dir); err == nil && len(bad) > 0 { // a record that cannot be read has its own line
		var todo []string
		for _, g := range bad {
			todo = append(todo, g.By+": "+g.Err.Error())
		}
		return finding{"kept files", false, fmt.Sprintf("%s; %d gone or altered", says, len(bad)),
			strings.Join(append(todo, "the record and its figures stand; headstack restore into a new folder gives the files of a backup, headstack verify reads every byte"), "\n    ")}
	}
	if empty > 0 {
		return finding{"kept files", false, fmt.Sprintf("%s; %d of them empty", says, empty), "the disk lost them: headstack verify names them, a backup has them"}
	}
	return finding{"kept files", true, says, "headstack verify reads every byte of them"}
}

func cutOffFinding(dir string) finding {
	list, err := filepath.Glob(filepath.Join(dir, "listening", "*.wav"))
	if err != nil || len(list) == 0 {
		return finding{"captures cut off", true, "none", ""}
	}
	return finding{"captures cut off", false, strings.Join(list, ", "), "headstack serve offers to keep them, on the job's page “listen”; or headstack listen --mend FILE"}
}

// portFinding asks who has the port: another bench, or a program that is none.
func portFinding(port int) finding {
	address := fmt.Sprintf("127.0.0.1:%d", port)
	l, err := net.Listen("tcp", address)
	if err == nil {
		l.Close()
		return finding{"pages", true, "headstack serve can be called at http://" + address, ""}
	}
	if !errors.Is(err, syscall.EADDRINUSE) && runtime.GOOS != "windows" {
		return finding{"pages", false, err.Error(), "serve with --port 0, which takes a port that this user may have"}
	}
	if isBench("http://" + address) {
		return finding{"pages", true, "a bench answers at http://" + address, ""}
	}
	return finding{"pages", false, fmt.Sprintf("another program has port %d", port), "serve with --port 0, or end that program"}
}

// isBench asks for the description of the API, which the program serves without its bench.
func isBench(url string) bool {
	c := http.Client{Timeout: 2 * time.Second, Transport: &http.Transport{Proxy: nil, DisableKeepAlives: true}}
	res, err := c.Get(url + "/api/v1/openapi.json")
	if err != nil {
		return false
	}
	defer res.Body.Close()
	head, err := io.ReadAll(io.LimitReader(res.Body, 4<<10))
	return err == nil && res.StatusCode == http.StatusOK && bytes.Contains(head, []byte("headstack bench"))
}

// browsers are the usual names of one, by system.
var browsers = map[string][]string{
	"linux":   {"xdg-open", "firefox", "chromium", "chromium-browser", "google-chrome", "chrome"},
	"darwin":  {"open"},
	"windows": {"rundll32"},
}

// browserFinding is whether something here opens a page. A bench without a screen is looked
// at from a phone.
func browserFinding() finding {
	for _, name := range browsers[runtime.GOOS] {
		if _, err := exec.LookPath(name); err == nil {
			return finding{"browser", true, name + " opens the pages", ""}
		}
	}
	return finding{"browser", true, "none was found on this machine", "open the pages from a phone of the same network, or work by the command line: headstack --help"}
}

func soundFinding() finding {
	if runtime.GOOS != "linux" {
		return finding{"sound", true, "many channels come by file or as raw samples on this system, two by the browser", ""}
	}
	devices, err := pulse.Devices()
	if err != nil {
		return finding{"sound", true, "no sound server answers (" + err.Error() + ")", "captures then come by file, as raw samples, or two channels by the browser"}
	}
	return finding{"sound", true, fmt.Sprintf("%d devices to capture from", len(devices)), "headstack listen --devices names them"}
}
