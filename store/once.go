package store

import (
	"context"
	"database/sql"
	"errors"

	"headstack/job"
)

// orNull is NULL for an empty name: of those there may be many.
func orNull(s string) sql.NullString { return sql.NullString{String: s, Valid: s != ""} }

func isUnknown(err error) bool {
	_, ok := errors.AsType[*UnknownError](err)
	return ok
}

// entryOnce returns the entry that was appended under a name, nil when there is none.
func entryOnce(ctx context.Context, tx *sql.Tx, once string, e job.Entry) (*job.Entry, error) {
	if once == "" {
		return nil, nil
	}
	kept, err := scanEntry(tx.QueryRowContext(ctx, `SELECT `+entryColumns+` FROM entries WHERE once = $1`, once))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &kept, job.CheckOnce(kept, e)
}

// jobOnce returns the job that was appended under a name, nil when there is none.
func jobOnce(ctx context.Context, tx *sql.Tx, once string) (*job.Job, error) {
	if once == "" {
		return nil, nil
	}
	j, err := scanJob(tx.QueryRowContext(ctx, `SELECT `+jobColumns+` FROM jobs WHERE once = $1`, once).Scan)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	return &j, err
}

// newerShown bounds how many newer entries a conflict names.
const newerShown = 20

// maySeen applies job.CheckSeen to what was appended to the job after what e has seen.
func maySeen(ctx context.Context, tx *sql.Tx, e job.Entry) error {
	if e.Seen == 0 {
		return nil
	}
	rows, err := tx.QueryContext(ctx, `SELECT `+headColumns+` FROM entries WHERE job = $1 AND seq > $2 ORDER BY seq`, e.Job, e.Seen)
	if err != nil {
		return err
	}
	defer rows.Close()
	var newer []job.Entry
	for rows.Next() {
		x, err := scanHead(rows)
		if err != nil {
			return err
		}
		if job.Upsets(x, e) {
			newer = append(newer, x)
		}
		if len(newer) == newerShown {
			break
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	return job.CheckSeen(e, newer)
}

// Since tells what was appended after an entry: by whom does not matter.
func (s *Store) Since(ctx context.Context, seq int64) (job.Growth, error) {
	g := job.Growth{Seq: seq}
	const counts = `SELECT count(*) FROM listings WHERE kind = $1`
	if err := s.read.QueryRowContext(ctx, counts, string(job.CountsDocument)).Scan(&g.Counts); err != nil {
		return g, s.reading(err, "what is new")
	}
	rows, err := s.read.QueryContext(ctx, `SELECT job, max(seq), max(CASE WHEN kind = 'closing' OR withdraw THEN 1 ELSE 0 END)
		FROM entries WHERE seq > $1 GROUP BY job`, seq)
	if err != nil {
		return g, s.reading(err, "what is new")
	}
	defer rows.Close()
	for rows.Next() {
		var id string
		var last int64
		var taught int
		if err := rows.Scan(&id, &last, &taught); err != nil {
			return g, s.reading(err, "what is new")
		}
		g.Jobs = append(g.Jobs, id)
		g.Seq = max(g.Seq, last)
		g.Taught = g.Taught || taught == 1
	}
	return g, s.reading(rows.Err(), "what is new")
}
