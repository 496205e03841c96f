package logbook

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

func text(t *testing.T, dir string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, Folder, current))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// TestNothingPersonalGetsIn gives a line all that it must not take.
func TestNothingPersonalGetsIn(t *testing.T) {
	dir := t.TempDir()
	log := Open(dir, Options{}).Logger()
	const secret = "Ravensgill"
	log.Error("page failed", "path", "/jobs/"+secret, "remark", secret, "route", "GET /jobs/{job}", "status", 500, "err",
		fmt.Errorf("reading %q: %w", secret, &fs.PathError{Op: "open", Path: filepath.Join("/home", secret, "tape.wav"), Err: syscall.ENOSPC}))
	log.With("owner", secret).WithGroup(secret).Warn("refused", "err", errors.New(secret), "who", Caller("192.0.2.7"))
	got := text(t, dir)
	if strings.Contains(got, secret) || strings.Contains(got, "192.0.2") || strings.Contains(got, "/home") {
		t.Errorf("the log holds what was typed, a path or an address: %s", got)
	}
	for _, want := range []string{`"route":"GET /jobs/{job}"`, `"status":500`, `open a file elsewhere, no space left on device`, `"left_out":2`, `"err":"an error in words"`} {
		if !strings.Contains(got, want) {
			t.Errorf("the log lacks %s: %s", want, got)
		}
	}
}

func TestCauseTellsPlacesInTheBench(t *testing.T) {
	b := Open("/srv/bench", Options{})
	err := fmt.Errorf("keeping: %w", errors.Join(io.ErrUnexpectedEOF, &fs.PathError{Op: "write", Path: "/srv/bench/captures/ab12", Err: syscall.EROFS}))
	if got, want := b.cause(err), "unexpected EOF, write captures/ab12, read-only file system"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	mark := Caller("192.0.2.7")
	if mark != Caller("192.0.2.7") || mark == Caller("192.0.2.8") || len(Caller("::1")) != 4 {
		t.Error("callers are not told apart")
	}
}

func TestPanicSaysWhere(t *testing.T) {
	fails := func() (err error) {
		defer func() { err = Panic(recover()) }()
		var none []int
		return fmt.Errorf("%d", none[len(os.Args)])
	}
	dir := t.TempDir()
	err := fails()
	Open(dir, Options{}).Logger().Error("a mistake", "err", err, "stack", StackOf(err))
	if got := text(t, dir); !strings.Contains(got, "index out of range [") || !strings.Contains(got, "TestPanicSaysWhere") {
		t.Errorf("%s", got)
	}
}

// TestFilesTurn writes more than is kept, from several goroutines.
func TestFilesTurn(t *testing.T) {
	dir := t.TempDir()
	b := Open(dir, Options{Bytes: 4000, Files: 3})
	var all sync.WaitGroup
	for g := range 4 {
		all.Go(func() {
			for i := range mostAlike {
				b.Logger().Error(fmt.Sprintf("message %d", g), "status", i)
			}
		})
	}
	all.Wait()
	list, _ := filepath.Glob(filepath.Join(dir, Folder, "*"))
	if len(list) != 3 {
		t.Errorf("files: %v", list)
	}
	for _, p := range list {
		if i, err := os.Stat(p); err != nil || i.Size() > 4000 {
			t.Errorf("%s: %v, %v", p, i.Size(), err)
		}
	}
	s, err := Read(dir, 5)
	if err != nil || s.Files != 3 || len(s.Last) != 5 || s.Torn != 0 || s.Bytes < 8000 {
		t.Fatalf("%+v, %v", s, err)
	}
	if s.Last[0].Time.Before(s.Last[4].Time) {
		t.Error("the newest does not come first")
	}
}

func TestAFloodIsCounted(t *testing.T) {
	dir := t.TempDir()
	now := time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)
	b := Open(dir, Options{Now: func() time.Time { return now }})
	for range 1000 {
		b.Logger().Warn("refused")
	}
	now = now.Add(2 * time.Minute)
	b.Logger().Warn("refused")
	got := text(t, dir)
	if n := strings.Count(got, "\n"); n != mostAlike+1 || !strings.Contains(got, fmt.Sprintf(`"more_alike":%d`, 1000-mostAlike)) {
		t.Errorf("%d lines: %.300s", n, got)
	}
}

// TestAFolderThatCannotBeWritten is a file where the folder should be, which stops root too.
func TestAFolderThatCannotBeWritten(t *testing.T) {
	dir := t.TempDir()
	inTheWay := filepath.Join(dir, Folder)
	if err := os.WriteFile(inTheWay, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	var said strings.Builder
	now := time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)
	b := Open(dir, Options{Complain: &said, Now: func() time.Time { return now }})
	for range 5 {
		b.Logger().Error("page failed")
		now = now.Add(again / 2)
	}
	if strings.Count(said.String(), "\n") != 1 || !strings.Contains(said.String(), "The bench goes on") {
		t.Errorf("said %q", said.String())
	}
	if err := os.Remove(inTheWay); err != nil {
		t.Fatal(err)
	}
	now = now.Add(again)
	b.Logger().Error("page failed")
	if got := text(t, dir); strings.Count(got, "\n") != 1 || !strings.Contains(got, `"not_noted":5`) {
		t.Errorf("after it was put right: %s", got)
	}
}

func TestReadTakesWhatIsTorn(t *testing.T) {
	dir := t.TempDir()
	if s, err := Read(dir, 3); err != nil || s.Files != 0 {
		t.Errorf("without logs: %+v, %v", s, err)
	}
	log := Open(dir, Options{}).Logger()
	log.Error("first")
	f, err := os.OpenFile(filepath.Join(dir, Folder, current), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintf(f, "{\"time\":\"20\n\x00\x01\n\n")
	f.Close()
	log.Log(t.Context(), slog.LevelError, "second")
	s, err := Read(dir, 3)
	if err != nil || s.Torn != 2 || len(s.Last) != 2 || s.Last[0].Message != "second" {
		t.Errorf("%+v, %v", s, err)
	}
}
