package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"headstack/store"
)

// Common practice, no source: a clock kept by NTP is within a tenth of a second, and a shop's
// record wants to know which of two entries came first.
const mostClock = 2 * time.Second

// fewConnections left free are too few for one more program: it takes up to 8, an export 5 more.
const fewConnections = 13

// shopFindings are what a look at a record on a server finds, at the folder that goes with it and at
// this machine's own, dir.
func (v *doctorVerb) shopFindings(ctx context.Context, dir string) []finding {
	list := v.serverFindings(ctx, dir)
	files := v.shared(dir).Dir
	if _, err := os.Stat(files); errors.Is(err, os.ErrNotExist) {
		list = append(list, finding{"shared folder", false, files + " is not there", "mount it, or name it with --files; an empty one is made at the first start of a new record"})
	} else {
		list = append(list, v.filesFinding(ctx, dir))
		for _, f := range []finding{folderFinding(files), roomFinding(files), keptFinding(files)} {
			f.what = "shared folder, " + f.what
			list = append(list, f)
		}
	}
	if _, err := os.Stat(dir); errors.Is(err, os.ErrNotExist) {
		return append(list, finding{"own folder", true, dir + " is not there yet", "the first capture at this machine makes it"})
	}
	if same, err := sameFolder(dir, files); err == nil && !same {
		own := folderFinding(dir)
		own.what = "own folder"
		list = append(list, own)
		if _, err := os.Stat(filepath.Join(dir, "bench.db")); err == nil {
			list = append(list, finding{"own record", true, "a bench of its own lies in " + dir + ": it is not what is shown while the record is on a server",
				"headstack export with HEADSTACK_RECORD empty writes it"})
		}
	}
	return append(list, cutOffFinding(dir), halfMadeFinding(dir), logsFinding(dir))
}

func sameFolder(a, b string) (bool, error) {
	x, err := os.Stat(a)
	if err != nil {
		return false, err
	}
	y, err := os.Stat(b)
	return err == nil && os.SameFile(x, y), err
}

func (v *doctorVerb) serverFindings(ctx context.Context, dir string) []finding {
	s, err := store.LookAtServer(ctx, v.shared(dir))
	if err != nil {
		return []finding{{"server", false, err.Error(), cmp.Or(hintOf(err), "name another database")}}
	}
	list := []finding{{"server", true, fmt.Sprintf("PostgreSQL %s, %s, %s", s.Version, s.Place, megabytes(s.Bytes)), "pg_dump copies it: see doc/SHOP.md"}}
	for _, p := range s.Problems {
		list = append(list, finding{"server", false, p.Says, p.Todo})
	}
	switch {
	case s.Schema == 0:
		list = append(list, finding{"record", true, "there is none in it yet", "headstack import puts one into it, the first job begins one"})
	case s.Schema == s.Known:
		list = append(list, finding{"record", true, fmt.Sprintf("schema %d, that of this program", s.Schema), "headstack verify reads every row and every kept file"})
	}
	list = append(list, clockFinding(s), connectionsFinding(s))
	if !s.Encrypted {
		list = append(list, finding{"connection", true, "not encrypted", "on a network that is not your own, set up TLS on the server and add ?sslmode=verify-full to the address"})
	}
	if !s.Checksums {
		list = append(list, finding{"checksums", true, "the server does not notice a page that its disk changed", "pg_checksums --enable, while it is stopped, lets it"})
	}
	return list
}

// clockFinding compares the clocks: an entry is never dated before the one before it, so one
// machine whose clock is ahead dates the entries of all.
func clockFinding(s store.ServerState) finding {
	off := max(s.Clock, -s.Clock)
	says := fmt.Sprintf("this machine's is %.1f\u2009s from the server's, ±%.1f\u2009s", off.Seconds(), s.Travel.Seconds()/2)
	if off > mostClock+s.Travel/2 {
		return finding{"clock", false, says, "let both be set by NTP: an entry of a machine that is ahead moves the times of the next ones"}
	}
	return finding{"clock", true, says, ""}
}

func connectionsFinding(s store.ServerState) finding {
	says := fmt.Sprintf("%d of %d in use", s.Connections, s.Most)
	if s.Most-s.Connections < fewConnections {
		return finding{"connections", false, says, "raise max_connections in postgresql.conf, or end a program that uses the server: a bench takes up to 8"}
	}
	return finding{"connections", true, says, ""}
}

// filesFinding looks whether the folder is the one that goes with the record.
func (v *doctorVerb) filesFinding(ctx context.Context, dir string) finding {
	s, err := v.snapshot(ctx)
	if err == nil {
		err = s.Close()
	}
	if f, wrong := errors.AsType[*store.FolderError](err); wrong {
		return finding{"shared folder", false, f.Error(), f.Hint()}
	}
	if err != nil { // said of the server already
		return finding{"shared folder", true, cmp.Or(v.Files, dir) + " could not be held against the record", ""}
	}
	return finding{"shared folder", true, cmp.Or(v.Files, dir) + " has the files of the record", ""}
}
