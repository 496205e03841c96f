package store

import (
	"context"
	"database/sql"
	"fmt"
	"io"
	"path/filepath"
	"slices"

	"headstack/job"
)

var _ job.Restorer = (*Store)(nil)

// Restore puts a whole record back; see job.Restorer. It is one transaction, and the files
// lie in their folder before it ends: a kill leaves an empty bench, with files of which no
// entry speaks and which the same import finds there.
func (s *Store) Restore(ctx context.Context, put func(job.Restoring) error) error {
	before, err := fileNames(s.dir)
	if err != nil {
		return err
	}
	r := &restoring{s: s}
	err = s.appendWhole(ctx, "putting a record back", func(tx *sql.Tx) error {
		if err := mustBeEmpty(ctx, tx); err != nil {
			return err
		}
		r.tx = tx
		return put(r)
	})
	if err != nil {
		s.forget(r.put, before)
	}
	return err
}

// forget removes the files of a restoring that failed, save those that were there before.
// Where the record has something after all they stay: an error at the very end of a
// transaction does not say that nothing of it was kept.
func (s *Store) forget(put, before []string) {
	if mustBeEmpty(context.Background(), s.read) != nil {
		return
	}
	for _, sha := range put {
		if !slices.Contains(before, sha) {
			s.disk.discard(stepImportDiscard, filepath.Join(s.dir, capturesName, sha))
		}
	}
}

func mustBeEmpty(ctx context.Context, q querier) error {
	var e job.NotEmptyError
	const count = `SELECT (SELECT count(*) FROM jobs), (SELECT count(*) FROM documents), (SELECT count(*) FROM listings)`
	if err := q.QueryRowContext(ctx, count).Scan(&e.Jobs, &e.Documents, &e.Listings); err != nil {
		return err
	}
	if e != (job.NotEmptyError{}) {
		return &e
	}
	return nil
}

type restoring struct {
	s   *Store
	tx  *sql.Tx
	put []string // files, by hash
}

// exec is within the transaction of Restore.
func (r *restoring) exec(ctx context.Context, query string, args ...any) error {
	_, err := r.tx.ExecContext(ctx, query, args...)
	return err
}

func (r *restoring) File(ctx context.Context, from io.Reader) (job.KeptFile, error) {
	sha, n, err := r.s.Put(ctx, from)
	if err == nil {
		r.put = append(r.put, sha)
	}
	return job.KeptFile{SHA256: sha, Bytes: n}, err
}

func (r *restoring) KeptFiles(ctx context.Context) ([]job.KeptFile, error) { return r.s.KeptFiles(ctx) }

func (r *restoring) Document(ctx context.Context, data []byte) (string, error) {
	sha := hashOf(data)
	if data == nil {
		data = []byte{} // a nil slice would be stored as NULL
	}
	return sha, r.exec(ctx, `INSERT INTO documents (sha256, data) VALUES ($1, $2)`, sha, data)
}

func (r *restoring) Listing(ctx context.Context, l job.Listing) error {
	if err := job.CheckTime(l.Added); err != nil {
		return err
	}
	if err := needDocument(ctx, r.tx, l.SHA256); err != nil {
		return err
	}
	return r.exec(ctx, `INSERT INTO listings (kind, id, name, sha256, added) VALUES ($1, $2, $3, $4, $5)`,
		string(l.Kind), l.ID, l.Name, l.SHA256, formatTime(l.Added))
}

func (r *restoring) Job(ctx context.Context, j job.Job) error {
	if err := job.CheckKeptJob(j); err != nil {
		return err
	}
	if err := needDocument(ctx, r.tx, j.DefinitionSHA); err != nil {
		return err
	}
	n, _ := job.ParseJobID(j.ID)
	return putJob(ctx, r.tx, j, n, "")
}

func (r *restoring) Entry(ctx context.Context, e job.Entry) error {
	if err := job.CheckKeptEntry(e); err != nil {
		return err
	}
	text, err := encodePayload(e)
	if err != nil {
		return err
	}
	if err := needJob(ctx, r.tx, e.Job); err != nil {
		return err
	}
	if err := mayCorrect(ctx, r.tx, e); err != nil {
		return err
	}
	n, _ := job.ParseEntryRef(e.Kind, e.Ref)
	if err := putEntry(ctx, r.tx, e, n, text, ""); err != nil {
		return fmt.Errorf("entry %d: %w", e.Seq, err)
	}
	return nil
}
