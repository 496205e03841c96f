package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"

	"headstack/job"
)

func hashOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// PutDocument keeps a definition or test tape; see job.Record.
func (s *Store) PutDocument(ctx context.Context, data []byte) (string, error) {
	sha := hashOf(data)
	if data == nil {
		data = []byte{} // a nil slice would be stored as NULL
	}
	err := s.append(ctx, "keeping a document", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO documents (sha256, data) VALUES ($1, $2) ON CONFLICT (sha256) DO NOTHING`, sha, data)
		return err
	})
	if err != nil {
		return "", err
	}
	return sha, nil
}

// Document returns a document; see job.Record.
func (s *Store) Document(ctx context.Context, sha string) ([]byte, error) {
	var data []byte
	err := s.read.QueryRowContext(ctx, `SELECT data FROM documents WHERE sha256 = $1`, sha).Scan(&data)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, &job.NotFoundError{What: "document", ID: sha}
	}
	if err != nil {
		return nil, s.reading(err, "a document")
	}
	if got := hashOf(data); got != sha {
		return nil, &job.AlteredError{Path: s.in().place() + ", table documents", Want: sha, Got: got}
	}
	return data, nil
}

// needDocument is a NotFoundError unless the document is kept.
func needDocument(ctx context.Context, tx *sql.Tx, sha string) error {
	var one int
	err := tx.QueryRowContext(ctx, `SELECT 1 FROM documents WHERE sha256 = $1`, sha).Scan(&one)
	if errors.Is(err, sql.ErrNoRows) {
		return &job.NotFoundError{What: "document", ID: sha}
	}
	return err
}

// AppendListing lists a document; see job.Record.
func (s *Store) AppendListing(ctx context.Context, l job.Listing) error {
	if err := job.CheckTime(l.Added); err != nil {
		return err
	}
	return s.appendAgain(ctx, "listing a "+string(l.Kind), func(tx *sql.Tx, again bool) error {
		if err := needDocument(ctx, tx, l.SHA256); err != nil {
			return err
		}
		if again { // the first try may have been kept after all
			var last int
			const q = `SELECT count(*) FROM listings WHERE n = (SELECT max(n) FROM listings WHERE kind = $1 AND id = $2) AND sha256 = $3 AND added = $4`
			if err := tx.QueryRowContext(ctx, q, string(l.Kind), l.ID, l.SHA256, formatTime(l.Added)).Scan(&last); err != nil || last > 0 {
				return err
			}
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO listings (kind, id, name, sha256, added) VALUES ($1, $2, $3, $4, $5)`,
			string(l.Kind), l.ID, l.Name, l.SHA256, formatTime(l.Added))
		return err
	})
}

// Listings returns the list of a kind; see job.Record.
func (s *Store) Listings(ctx context.Context, kind job.DocumentKind) ([]job.Listing, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT id, name, sha256, added FROM listings WHERE kind = $1 ORDER BY n`, string(kind))
	if err != nil {
		return nil, s.reading(err, "the list of definitions and tapes")
	}
	defer rows.Close()
	var out []job.Listing
	for rows.Next() {
		l := job.Listing{Kind: kind}
		var added string
		err := rows.Scan(&l.ID, &l.Name, &l.SHA256, &added)
		if err == nil {
			l.Added, err = parseTime(added)
		}
		if err != nil {
			return nil, s.reading(err, "the list of definitions and tapes")
		}
		out = append(out, l)
	}
	return out, s.reading(rows.Err(), "the list of definitions and tapes")
}
