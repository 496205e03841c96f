package main

import (
	"fmt"
	"log"
	"log/slog"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"strings"
	"time"

	"headstack/logbook"
)

// benchLog is the log in the folder of a bench. That it cannot be written is said once on
// stderr and stops nothing.
func benchLog(e *env, dir string) *slog.Logger {
	return logbook.Open(dir, logbook.Options{Complain: e.err}).Logger()
}

// serverLog takes what the web server itself complains of: the kind, not the address in it.
func serverLog(to *slog.Logger) *log.Logger { return log.New(complaints{to}, "", 0) }

type complaints struct{ log *slog.Logger }

var complaintKind = regexp.MustCompile(`^http[a-z0-9]*: [A-Za-z ]{1,60}`)

func (c complaints) Write(b []byte) (int, error) {
	kind := strings.TrimSpace(complaintKind.FindString(string(b)))
	if kind == "" {
		kind = "the web server complained"
	}
	c.log.Warn(kind)
	return len(b), nil
}

// version is that of the build, as far as it was told.
func version() string {
	i, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	for _, s := range i.Settings {
		if s.Key == "vcs.revision" {
			return s.Value[:min(12, len(s.Value))]
		}
	}
	return i.Main.Version
}

const (
	lastErrors  = 3
	recentError = 7 * 24 * time.Hour
)

// logsFinding is what went wrong last, and what to do about it.
func logsFinding(dir string) finding {
	folder := filepath.Join(dir, logbook.Folder)
	s, err := logbook.Read(dir, lastErrors)
	if err != nil {
		return finding{"log", false, err.Error(), "give this user the right to read " + folder}
	}
	if s.Files == 0 {
		return finding{"log", true, "nothing was noted yet", ""}
	}
	says := fmt.Sprintf("%s, %s in %d", folder, megabytes(s.Bytes), s.Files) + map[bool]string{true: " file", false: " files"}[s.Files == 1]
	if len(s.Last) == 0 {
		return finding{"log", true, says + ", no error in it", ""}
	}
	var todo []string
	ok := true
	for _, l := range s.Last {
		line := fmt.Sprintf("%s %s", l.Time.Local().Format("2006-01-02 15:04"), l.Message)
		if l.Route != "" {
			line += ", " + l.Route
		}
		if l.Err != "" {
			line += ": " + l.Err
		}
		todo = append(todo, line+"\n      "+remedy(l))
		ok = ok && time.Since(l.Time) > recentError
	}
	return finding{"log", ok, says + "; the last errors:", strings.Join(todo, "\n    ")}
}

// remedy is what to do about an error of the log. The words of the kinds are those of the
// system's errors.
func remedy(l logbook.Line) string {
	switch has := func(s string) bool { return strings.Contains(l.Err, s) }; {
	case l.Stack != "":
		return "a mistake in the program: send the line of the log to who maintains it; nothing typed is in it. The record is whole."
	case has("no space left"), has("disk quota"), has("sqlite.Error 13"): // SQLITE_FULL
		return "make room on the disk of the bench, then do it again"
	case has("permission denied"), has("read-only file system"), has("operation not permitted"):
		return "give this user the right to write there, or look whether the disk was mounted to be read only"
	case has("input/output error"):
		return "the disk fails: headstack backup FILE.zip to another one, then headstack verify"
	case has("sqlite"):
		return "headstack verify looks through the record; a copy of each day is in the folder backups"
	case has("AlteredError"):
		return "a kept file no longer has its bytes: headstack verify names it, a backup has it"
	case has("too many open files"):
		return "close other programs or pages, or raise the limit of open files"
	}
	return "do it again; if it comes again, send the line of the log to who maintains the program: nothing typed is in it"
}
