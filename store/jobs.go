package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	"headstack/job"
)

// append runs f in one immediate transaction on the write connection. When it
// returns nil the transaction is on the disk.
func (s *Store) append(ctx context.Context, what string, f func(tx *sql.Tx) error) error {
	var tx *sql.Tx
	err := s.disk.do(stepBegin, func() (err error) { tx, err = s.write.BeginTx(ctx, nil); return err })
	if err == nil {
		if err = f(tx); err == nil {
			err = s.disk.do(stepCommit, tx.Commit)
		}
		if err != nil {
			_ = tx.Rollback() // after a commit that failed there is nothing left to roll back
		}
	}
	switch {
	case err == nil:
		return s.disk.do(stepCommitted, func() error { return nil })
	case isRefusal(err):
		return err
	case ctx.Err() != nil: // database/sql may say only that the transaction is over
		return fmt.Errorf("%s: %w; nothing of it was kept", what, ctx.Err())
	}
	return fmt.Errorf("%s: %w", what, explain(err, filepath.Join(s.dir, databaseName)))
}

// isRefusal says that the record has refused the append by its rules, in words
// that need nothing before them.
func isRefusal(err error) bool {
	_, missing := errors.AsType[*job.NotFoundError](err)
	_, correction := errors.AsType[*job.CorrectionError](err)
	return missing || correction
}

// lastTime returns the time of what was appended last, zero when nothing was.
func lastTime(ctx context.Context, tx *sql.Tx) (time.Time, error) {
	var last sql.NullString
	const q = `SELECT max(t) FROM (
		SELECT opened AS t FROM jobs WHERE n = (SELECT max(n) FROM jobs)
		UNION ALL SELECT at FROM entries WHERE seq = (SELECT max(seq) FROM entries))`
	if err := tx.QueryRowContext(ctx, q).Scan(&last); err != nil {
		return time.Time{}, err
	}
	return parseClock(last)
}

const insertJob = `INSERT INTO jobs
	(n, id, definition, definition_sha, name, serial, owner, claim, case_state, opened, clock)
	VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`

// AppendJob keeps a job; see job.Record.
func (s *Store) AppendJob(ctx context.Context, j job.Job) (job.Job, error) {
	if err := job.CheckTime(j.Opened); err != nil {
		return job.Job{}, err
	}
	err := s.append(ctx, "keeping a job", func(tx *sql.Tx) error {
		if err := needDocument(ctx, tx, j.DefinitionSHA); err != nil {
			return err
		}
		last, err := lastTime(ctx, tx)
		if err != nil {
			return err
		}
		var n int64
		if err := tx.QueryRowContext(ctx, `SELECT coalesce(max(n), 0) + 1 FROM jobs`).Scan(&n); err != nil {
			return err
		}
		j.ID = job.JobID(n)
		j.Opened, j.Clock = job.Stamp(j.Opened, last)
		_, err = tx.ExecContext(ctx, insertJob, n, j.ID, j.Definition, j.DefinitionSHA, j.Name, j.Serial, j.Owner, j.Claim, string(j.Case),
			formatTime(j.Opened), formatClock(j.Clock))
		return err
	})
	if err != nil {
		return job.Job{}, err
	}
	return j, nil
}

const jobColumns = `id, definition, definition_sha, name, serial, owner, claim, case_state, opened, clock`

// scanJob reads jobColumns, and whatever more is asked for behind them.
func scanJob(scan func(...any) error, more ...any) (job.Job, error) {
	var j job.Job
	var opened string
	var clock sql.NullString
	err := scan(append([]any{&j.ID, &j.Definition, &j.DefinitionSHA, &j.Name, &j.Serial, &j.Owner, &j.Claim,
		&j.Case, &opened, &clock}, more...)...)
	if err != nil {
		return job.Job{}, err
	}
	if j.Opened, err = parseTime(opened); err != nil {
		return job.Job{}, err
	}
	j.Clock, err = parseClock(clock)
	return j, err
}

// Job returns one job; see job.Record.
func (s *Store) Job(ctx context.Context, id string) (job.Job, error) {
	j, err := scanJob(s.read.QueryRowContext(ctx, `SELECT `+jobColumns+` FROM jobs WHERE id = ?`, id).Scan)
	if errors.Is(err, sql.ErrNoRows) {
		return job.Job{}, &job.NotFoundError{What: "job", ID: id}
	}
	return j, s.reading(err, "a job")
}

// reading wraps an error met while reading what.
func (s *Store) reading(err error, what string) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("reading %s: %w", what, explain(err, filepath.Join(s.dir, databaseName)))
}

// Summaries lists the jobs; see job.Record.
func (s *Store) Summaries(ctx context.Context) ([]job.Summary, error) {
	const q = `WITH counted AS (
			SELECT job, kind, max(at) AS last, count(*) FILTER (WHERE withdraw = 0
				AND NOT EXISTS (SELECT 1 FROM entries AS by WHERE by.corrects = e.seq)) AS standing
			FROM entries AS e GROUP BY job, kind)
		SELECT ` + jobColumns + `,
			coalesce(sum(standing) FILTER (WHERE kind = 'check'), 0),
			coalesce(sum(standing) FILTER (WHERE kind = 'reading'), 0),
			coalesce(sum(standing) FILTER (WHERE kind = 'capture'), 0),
			coalesce(sum(standing) FILTER (WHERE kind = 'note'), 0),
			coalesce(sum(standing) FILTER (WHERE kind = 'work'), 0),
			coalesce(sum(standing) FILTER (WHERE kind = 'closing'), 0) > 0,
			max(last)
		FROM jobs LEFT JOIN counted ON counted.job = jobs.id GROUP BY jobs.n ORDER BY jobs.n`
	rows, err := s.read.QueryContext(ctx, q)
	if err != nil {
		return nil, s.reading(err, "the list of jobs")
	}
	defer rows.Close()
	var out []job.Summary
	for rows.Next() {
		var sum job.Summary
		var last sql.NullString
		sum.Job, err = scanJob(rows.Scan, &sum.Checks, &sum.Readings, &sum.Captures, &sum.Notes, &sum.Works, &sum.Closed, &last)
		if err == nil {
			sum.LastAt, err = parseClock(last)
		}
		if err != nil {
			return nil, s.reading(err, "the list of jobs")
		}
		out = append(out, sum)
	}
	return out, s.reading(rows.Err(), "the list of jobs")
}
