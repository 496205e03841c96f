package store

import (
	"context"
	"database/sql"
	"errors"

	"headstack/job"
)

// AppendEntry keeps an entry; see job.Record.
func (s *Store) AppendEntry(ctx context.Context, e job.Entry) (job.Entry, error) {
	if err := job.CheckShape(e); err != nil {
		return job.Entry{}, err
	}
	text, err := encodePayload(e)
	if err != nil {
		return job.Entry{}, err
	}
	once := e.Once
	if once == "" {
		once = s.in().once()
	}
	var kept job.Entry
	err = s.append(ctx, "keeping a "+string(e.Kind), func(tx *sql.Tx) error {
		before, err := entryOnce(ctx, tx, once, e)
		if err != nil || before != nil {
			if before != nil {
				kept = *before
			}
			return err
		}
		kept = e
		kept.Once, kept.Seen = "", 0
		if err := needJob(ctx, tx, e.Job); err != nil {
			return err
		}
		if err := mayCorrect(ctx, tx, e); err != nil {
			return err
		}
		if err := maySeen(ctx, tx, e); err != nil {
			return err
		}
		last, err := lastTime(ctx, tx)
		if err != nil {
			return err
		}
		kept.At, kept.Clock = job.Stamp(e.At, last)
		return insertEntry(ctx, tx, &kept, text, once)
	})
	if err != nil {
		return job.Entry{}, err
	}
	return kept, nil
}

func insertEntry(ctx context.Context, tx *sql.Tx, e *job.Entry, text, once string) error {
	var n int64
	const numbers = `SELECT (SELECT coalesce(max(seq), 0) + 1 FROM entries),
		(SELECT coalesce(max(n), 0) + 1 FROM entries WHERE job = $1 AND kind = $2)`
	if err := tx.QueryRowContext(ctx, numbers, e.Job, string(e.Kind)).Scan(&e.Seq, &n); err != nil {
		return err
	}
	e.Ref = job.EntryRef(e.Kind, n)
	return putEntry(ctx, tx, *e, n, text, once)
}

// putEntry inserts an entry as it is numbered; n is its number within job and kind, text
// its payload.
func putEntry(ctx context.Context, tx *sql.Tx, e job.Entry, n int64, text, once string) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO entries
		(seq, job, kind, n, at, clock, corrects, withdraw, case_state, remark, minutes, payload, once)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)`,
		e.Seq, e.Job, string(e.Kind), n, formatTime(e.At), formatClock(e.Clock),
		sql.NullInt64{Int64: e.Corrects, Valid: e.Corrects != 0}, e.Withdraw, string(e.Case), e.Remark, float64(e.Minutes), text, orNull(once))
	return err
}

// needJob is a NotFoundError unless the job is kept.
func needJob(ctx context.Context, q querier, id string) error {
	var one int
	err := q.QueryRowContext(ctx, `SELECT 1 FROM jobs WHERE id = $1`, id).Scan(&one)
	if errors.Is(err, sql.ErrNoRows) {
		return &job.NotFoundError{What: "job", ID: id}
	}
	return err
}

type querier interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// mayCorrect applies job.CheckCorrection to what is kept.
func mayCorrect(ctx context.Context, tx *sql.Tx, e job.Entry) error {
	if e.Corrects == 0 {
		return nil
	}
	target, err := scanHead(tx.QueryRowContext(ctx, `SELECT `+headColumns+` FROM entries WHERE seq = $1`, e.Corrects))
	if errors.Is(err, sql.ErrNoRows) {
		return job.EntryNotFound(e.Corrects)
	}
	if err != nil {
		return err
	}
	by, err := scanHead(tx.QueryRowContext(ctx, `SELECT `+headColumns+` FROM entries WHERE corrects = $1`, e.Corrects))
	if errors.Is(err, sql.ErrNoRows) {
		return job.CheckCorrection(target, nil, e)
	}
	if err != nil {
		return err
	}
	return job.CheckCorrection(target, &by, e)
}

const headColumns = `seq, job, kind, n, at, withdraw, remark`

// scanHead reads headColumns: as much of an entry as the rules for appends look at.
func scanHead(row scanner) (job.Entry, error) {
	var e job.Entry
	var n int64
	var at string
	err := row.Scan(&e.Seq, &e.Job, &e.Kind, &n, &at, &e.Withdraw, &e.Remark)
	if err != nil {
		return job.Entry{}, err
	}
	e.Ref = job.EntryRef(e.Kind, n)
	e.At, err = parseTime(at)
	return e, err
}

// scanner is one row, be it alone or of several.
type scanner interface{ Scan(...any) error }

// Entries returns the entries of a job; see job.Record.
func (s *Store) Entries(ctx context.Context, jobID string) ([]job.Entry, error) {
	return s.EntriesBut(ctx, jobID, "")
}

// EntriesBut returns the entries of a job that are not of a kind; see job.Record.
func (s *Store) EntriesBut(ctx context.Context, jobID string, without job.Kind) ([]job.Entry, error) {
	if err := needJob(ctx, s.read, jobID); err != nil {
		if _, ok := errors.AsType[*job.NotFoundError](err); ok {
			return nil, err
		}
		return nil, s.reading(err, "a job")
	}
	rows, err := s.read.QueryContext(ctx, `SELECT `+entryColumns+`
		FROM entries WHERE job = $1 AND kind <> $2 ORDER BY seq`, jobID, string(without))
	if err != nil {
		return nil, s.reading(err, "the entries of "+jobID)
	}
	defer rows.Close()
	var out []job.Entry
	for rows.Next() {
		e, err := scanEntry(rows)
		if err != nil {
			return nil, s.reading(err, "the entries of "+jobID)
		}
		out = append(out, e)
	}
	return out, s.reading(rows.Err(), "the entries of "+jobID)
}

const entryColumns = `seq, job, kind, n, at, clock, corrects, withdraw, case_state, remark, minutes, payload`

// scanEntry reads entryColumns. With an error comes what was read before it, the number at least.
func scanEntry(row scanner) (job.Entry, error) {
	var e job.Entry
	var at, text string
	var n int64
	var clock sql.NullString
	var corrects sql.NullInt64
	err := row.Scan(&e.Seq, &e.Job, &e.Kind, &n, &at, &clock, &corrects, &e.Withdraw, &e.Case, &e.Remark, &e.Minutes, &text)
	if err != nil {
		return job.Entry{}, err
	}
	e.Corrects = corrects.Int64
	e.Ref = job.EntryRef(e.Kind, n)
	if e.At, err = parseTime(at); err != nil {
		return e, err
	}
	if e.Clock, err = parseClock(clock); err != nil {
		return e, err
	}
	return e, decodePayload(text, &e)
}
