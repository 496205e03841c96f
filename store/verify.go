package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"headstack/job"
)

// Verified is what was found to be whole.
type Verified struct {
	Entries, Documents, Files int
	Bytes                     int64 // of the files
	Problems                  []string
	Notes                     []string // what may be so and is worth a look

	named []namedFile // in the order of the entries
}

// namedFile is a kept file that an entry names.
type namedFile struct {
	sha, by string
	bytes   int64 // as kept; below 0: the entry does not say
}

// Verify reads everything that is kept in the folder dir and changes nothing: the
// database with all its indexes, every document and every file kept under its hash. What
// is wrong is in Problems, in words; an error means that it could not be looked at. The
// bench may be in use.
func Verify(ctx context.Context, dir string) (Verified, error) {
	var v Verified
	path := filepath.Join(dir, databaseName)
	if _, err := os.Stat(path); err != nil {
		return v, fmt.Errorf("looking through the bench in %s: %w", dir, err)
	}
	if err := checkHeader(path); err != nil {
		v.Problems = append(v.Problems, err.Error())
	} else if err := v.database(ctx, path); err != nil {
		if ctx.Err() != nil {
			return v, ctx.Err()
		}
		v.Problems = append(v.Problems, explain(err, path).Error())
	}
	err := v.files(ctx, dir)
	return v, err
}

// files looks at the files, after the database: an entry names only files that are there already.
func (v *Verified) files(ctx context.Context, dir string) error {
	names, err := fileNames(dir)
	if err != nil {
		return err
	}
	for _, f := range v.named {
		if _, there := slices.BinarySearch(names, f.sha); !there {
			v.Problems = append(v.Problems, fmt.Sprintf("%s is gone: the file of %s; put it back under that name, or keep it again where you still have it", filepath.Join(dir, capturesName, f.sha), f.by))
		}
	}
	for _, n := range names {
		if err := v.file(ctx, filepath.Join(dir, capturesName, n), n); err != nil {
			return err
		}
	}
	return nil
}

func (v *Verified) database(ctx context.Context, path string) error {
	db, err := openReading(ctx, path, []pragma{{"busy_timeout", "5000", "5000"}, {"query_only", "ON", "1"}})
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := checkOwn(ctx, db, path); err != nil {
		return err
	}
	rows, err := db.QueryContext(ctx, `PRAGMA integrity_check(20)`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			return err
		}
		if line != "ok" {
			v.Problems = append(v.Problems, path+": "+line)
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	if err := db.QueryRowContext(ctx, `SELECT count(*) FROM entries`).Scan(&v.Entries); err != nil {
		return err
	}
	if err := v.names(ctx, db); err != nil {
		return err
	}
	return v.documents(ctx, db, path)
}

// names notes the files that entries name.
func (v *Verified) names(ctx context.Context, db *sql.DB) error {
	rows, err := db.QueryContext(ctx, `SELECT sha, kind || ' ' || n || ' of ' || job, bytes FROM (
		SELECT seq, kind, n, job, json_extract(payload, '$.capture.SHA256') AS sha, coalesce(json_extract(payload, '$.capture.Bytes'), -1) AS bytes FROM entries WHERE kind = 'capture'
		UNION ALL SELECT seq, kind, n, job, json_extract(payload, '$.photograph.SHA256'), coalesce(json_extract(payload, '$.photograph.Bytes'), -1) FROM entries WHERE kind = 'photograph'
		UNION ALL SELECT seq, kind, n, job, json_extract(payload, '$.photograph.Copy'), -1 FROM entries WHERE kind = 'photograph')
		WHERE sha <> '' ORDER BY seq`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var f namedFile
		if err := rows.Scan(&f.sha, &f.by, &f.bytes); err != nil {
			return err
		}
		v.named = append(v.named, f)
	}
	return rows.Err()
}

func (v *Verified) documents(ctx context.Context, db *sql.DB, path string) error {
	rows, err := db.QueryContext(ctx, `SELECT sha256, data FROM documents`)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var sha string
		var data []byte
		if err := rows.Scan(&sha, &data); err != nil {
			return err
		}
		v.Documents++
		if got := hashOf(data); got != sha {
			v.Problems = append(v.Problems, alteredError(path+", table documents", sha, got).Error())
		}
	}
	return rows.Err()
}

func (v *Verified) file(ctx context.Context, path, sha string) error {
	f, err := os.Open(path)
	if err != nil {
		v.Problems = append(v.Problems, err.Error())
		return nil
	}
	defer f.Close()
	h := sha256.New()
	n, err := copyContext(ctx, h, f)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	v.Files++
	v.Bytes += n
	if err != nil {
		v.Problems = append(v.Problems, err.Error())
	} else if got := hex.EncodeToString(h.Sum(nil)); got != sha {
		v.Problems = append(v.Problems, alteredError(path, sha, got).Error())
	}
	return nil
}

func alteredError(path, want, got string) error {
	return &job.AlteredError{Path: path, Want: want, Got: got}
}
