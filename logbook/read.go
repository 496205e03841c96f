package logbook

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"
)

// Line is one line of a log, of what a look at it needs.
type Line struct {
	Time    time.Time `json:"time"`
	Level   string    `json:"level"`
	Message string    `json:"msg"`
	Err     string    `json:"err"`
	Route   string    `json:"route"`
	Stack   string    `json:"stack"`
}

// Summary is what the logs of a bench hold.
type Summary struct {
	Files int
	Bytes int64
	Last  []Line // the last that went wrong, the newest first
	Torn  int    // lines that are none: cut off, or not ours
}

// Read looks through the logs of a bench for the last few things that went wrong. Without a
// folder of logs it is empty.
func Read(bench string, most int) (Summary, error) {
	dir := filepath.Join(bench, Folder)
	paths := []string{filepath.Join(dir, current)}
	for n := 1; n < mostFiles; n++ {
		paths = append(paths, older(dir, n))
	}
	var s Summary
	for _, p := range paths { // the newest first
		bad, err := s.file(p)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return s, err
		}
		slices.Reverse(bad)
		s.Last = append(s.Last, bad...)
	}
	s.Last = s.Last[:min(most, len(s.Last))]
	return s, nil
}

// file reads one file, of which no more than twice its bound is looked at.
func (s *Summary) file(path string) (bad []Line, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if i, err := f.Stat(); err == nil {
		s.Files++
		s.Bytes += i.Size()
	}
	lines := bufio.NewScanner(io.LimitReader(f, 2*mostBytes))
	lines.Buffer(nil, 2*mostLine)
	for lines.Scan() {
		var l Line
		if len(bytes.TrimSpace(lines.Bytes())) == 0 {
			continue
		}
		if json.Unmarshal(lines.Bytes(), &l) != nil || l.Time.IsZero() {
			s.Torn++
			continue
		}
		if l.Level == "ERROR" {
			bad = append(bad, l)
		}
	}
	if errors.Is(lines.Err(), bufio.ErrTooLong) {
		s.Torn++
		return bad, nil
	}
	return bad, lines.Err()
}
