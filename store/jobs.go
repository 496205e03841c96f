package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"headstack/job"
)

// append runs f in one transaction, in which nobody else appends. When it returns nil the
// transaction is on the disk. Where the connection is lost on the way, f runs again on
// another one.
func (s *Store) append(ctx context.Context, what string, f func(tx *sql.Tx) error) error {
	return s.appendAgain(ctx, what, func(tx *sql.Tx, _ bool) error { return f(tx) })
}

// appendAgain is append that tells f when it runs again: the first time may have been kept.
func (s *Store) appendAgain(ctx context.Context, what string, f func(tx *sql.Tx, again bool) error) error {
	return s.appended(ctx, what, s.in().append(ctx, s.write, f))
}

// appendWhole is append for what takes long and runs once, such as a whole record.
func (s *Store) appendWhole(ctx context.Context, what string, f func(tx *sql.Tx) error) error {
	return s.appended(ctx, what, s.in().appendWhole(ctx, s.write, f))
}

// appended wraps the error of an append.
func (s *Store) appended(ctx context.Context, what string, err error) error {
	switch {
	case err == nil || isRefusal(err):
		return err
	case isUnknown(err):
		return fmt.Errorf("%s: %w", what, err)
	case ctx.Err() != nil: // database/sql may say only that the transaction is over
		return fmt.Errorf("%s: %w; nothing of it was kept", what, ctx.Err())
	}
	return fmt.Errorf("%s: %w", what, s.in().explain(err))
}

// inTransaction runs f between begin and commit.
func inTransaction(tx *sql.Tx, commit func() error, f func(tx *sql.Tx) error) (committing bool, err error) {
	if err = f(tx); err == nil {
		committing, err = true, commit()
	}
	if err != nil {
		_ = tx.Rollback() // after a commit that failed there is nothing left to roll back
	}
	return committing, err
}

// isRefusal says that the record has refused the append by its rules, in words
// that need nothing before them.
func isRefusal(err error) bool {
	_, missing := errors.AsType[*job.NotFoundError](err)
	_, correction := errors.AsType[*job.CorrectionError](err)
	_, conflict := errors.AsType[*job.ConflictError](err)
	_, invalid := errors.AsType[*job.InvalidError](err)
	return missing || correction || conflict || invalid
}

// lastTime returns the time of what was appended last, zero when nothing was.
func lastTime(ctx context.Context, tx *sql.Tx) (time.Time, error) {
	var last sql.NullString
	const q = `SELECT max(t) FROM (
		SELECT opened AS t FROM jobs WHERE n = (SELECT max(n) FROM jobs)
		UNION ALL SELECT at FROM entries WHERE seq = (SELECT max(seq) FROM entries)) AS latest`
	if err := tx.QueryRowContext(ctx, q).Scan(&last); err != nil {
		return time.Time{}, err
	}
	return parseClock(last)
}

// putJob inserts a job as it is numbered; n is its number.
func putJob(ctx context.Context, tx *sql.Tx, j job.Job, n int64, once string) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO jobs
		(n, id, definition, definition_sha, name, serial, owner, claim, case_state, opened, clock, once)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`,
		n, j.ID, j.Definition, j.DefinitionSHA, j.Name, j.Serial, j.Owner, j.Claim, string(j.Case),
		formatTime(j.Opened), formatClock(j.Clock), orNull(once))
	return err
}

// AppendJob keeps a job; see job.Record.
func (s *Store) AppendJob(ctx context.Context, j job.Job) (job.Job, error) {
	if err := job.CheckTime(j.Opened); err != nil {
		return job.Job{}, err
	}
	once := j.Once
	if once == "" {
		once = s.in().once()
	}
	var kept job.Job
	err := s.append(ctx, "keeping a job", func(tx *sql.Tx) error {
		before, err := jobOnce(ctx, tx, once)
		if err != nil || before != nil {
			if before != nil {
				kept = *before
			}
			return err
		}
		kept = j
		kept.Once = ""
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
		kept.ID = job.JobID(n)
		kept.Opened, kept.Clock = job.Stamp(j.Opened, last)
		return putJob(ctx, tx, kept, n, once)
	})
	if err != nil {
		return job.Job{}, err
	}
	return kept, nil
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
	j, err := scanJob(s.read.QueryRowContext(ctx, `SELECT `+jobColumns+` FROM jobs WHERE id = $1`, id).Scan)
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
	return fmt.Errorf("reading %s: %w", what, s.in().explain(err))
}

// Summaries lists the jobs; see job.Record.
func (s *Store) Summaries(ctx context.Context) ([]job.Summary, error) {
	const q = `WITH counted AS (
			SELECT job, kind, max(at) AS last, count(*) FILTER (WHERE NOT withdraw
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
