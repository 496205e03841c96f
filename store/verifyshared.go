package store

import (
	"context"
	"fmt"

	"headstack/job"
)

// VerifyShared reads all of a record on a server, as of the instant of s, and every file in the
// folder that goes with it, and changes nothing: each row against the rules of the record,
// each document and file against its hash, and whether the server guards what it keeps. What
// is wrong is in Problems; an error means that it could not be looked at. Pages of the
// database that no row is read from are for pg_amcheck.
func VerifyShared(ctx context.Context, s *Snapshot) (Verified, error) {
	var v Verified
	in, ok := s.base.(*instant)
	if !ok {
		return v, fmt.Errorf("%s is not a record on a server", s.Place())
	}
	state, err := stateOf(ctx, in.tx, in.name)
	if err != nil {
		return v, s.reading(err, "the settings of the server")
	}
	for _, p := range state.Problems {
		v.Problems = append(v.Problems, p.Says+"; "+p.Todo)
	}
	for _, look := range []func(context.Context, *Snapshot) error{v.rowsOfJobs, v.rowsOfEntries, v.gaps,
		func(ctx context.Context, s *Snapshot) error { return v.documents(ctx, s.read, s.Place()) }} {
		err := look(ctx, s)
		if ctx.Err() != nil {
			return v, ctx.Err()
		}
		if lost(err) {
			return v, s.reading(err, "the record")
		}
		if err != nil { // such as a page that the server cannot read
			v.Problems = append(v.Problems, s.in().explain(err).Error())
		}
	}
	err = v.files(ctx, s.kept.dir)
	return v, err
}

func (v *Verified) rowsOfJobs(ctx context.Context, s *Snapshot) error {
	rows, err := s.read.QueryContext(ctx, `SELECT `+jobColumns+` FROM jobs ORDER BY n`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		j, err := scanJob(rows.Scan)
		if err == nil {
			err = job.CheckKeptJob(j)
		}
		if err != nil {
			v.Problems = append(v.Problems, fmt.Sprintf("%s, table jobs, %s: %v", s.Place(), j.ID, err))
		}
	}
	return rows.Err()
}

func (v *Verified) rowsOfEntries(ctx context.Context, s *Snapshot) error {
	rows, err := s.read.QueryContext(ctx, `SELECT `+entryColumns+` FROM entries ORDER BY seq`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		v.Entries++
		e, err := scanEntry(rows)
		if err == nil {
			err = job.CheckKeptEntry(e)
		}
		if err != nil {
			v.Problems = append(v.Problems, fmt.Sprintf("%s, table entries, entry %d: %v", s.Place(), e.Seq, err))
			continue
		}
		v.name(e)
	}
	return rows.Err()
}

// name notes the files that an entry names.
func (v *Verified) name(e job.Entry) {
	add := func(sha string, bytes int64) {
		if sha != "" {
			v.named = append(v.named, namedFile{sha, e.Ref + " of " + e.Job, bytes})
		}
	}
	if c := e.Capture; c != nil {
		add(c.SHA256, c.Bytes)
	}
	if p := e.Photograph; p != nil {
		add(p.SHA256, p.Bytes)
		add(p.Copy, -1)
	}
}

// gaps notes numbers that no entry has. The program leaves none; an import of what was left of a
// damaged bench does, and so does who removes rows past the program.
func (v *Verified) gaps(ctx context.Context, s *Snapshot) error {
	var n, last int64
	if err := s.read.QueryRowContext(ctx, `SELECT count(*), coalesce(max(seq), 0) FROM entries`).Scan(&n, &last); err != nil {
		return err
	}
	if gap := last - n; gap > 0 {
		v.Notes = append(v.Notes, fmt.Sprintf("%d numbers of entries below %d have none: so it is after an import of what was left of a damaged bench; else rows were removed past the program, and a dump of before has them", gap, last))
	}
	return nil
}
