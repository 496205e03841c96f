package store

import (
	"errors"
	"io/fs"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"headstack/job"
	"headstack/job/jobtest"
	"headstack/store/pgtest"
)

// Both databases have the same migrations, tables, columns and protection.
func TestBothSchemasAreTheSame(t *testing.T) {
	if diff := cmp.Diff(sqlFiles(t, embedded, "migrations"), sqlFiles(t, embeddedPostgres, "postgres")); diff != "" {
		t.Errorf("migrations (-SQLite +PostgreSQL):\n%s", diff)
	}
	file, shared := open(t, t.TempDir(), Options{}), openShared(t)
	const columnsOfFile = `SELECT m.name || '.' || c.name || CASE WHEN c."notnull" OR c.pk THEN ' NOT NULL' ELSE '' END
		FROM sqlite_schema AS m, pragma_table_info(m.name) AS c WHERE m.type = 'table' AND m.name NOT LIKE 'goose%' AND m.name NOT LIKE 'sqlite%'`
	const columnsOfServer = `SELECT table_name || '.' || column_name || CASE is_nullable WHEN 'NO' THEN ' NOT NULL' ELSE '' END
		FROM information_schema.columns WHERE table_schema = current_schema() AND table_name NOT LIKE 'goose%'`
	want := lines(t, file, columnsOfFile)
	if len(want) < 30 {
		t.Fatalf("%d columns: the question is wrong", len(want))
	}
	if diff := cmp.Diff(want, lines(t, shared, columnsOfServer)); diff != "" {
		t.Errorf("columns (-SQLite +PostgreSQL):\n%s", diff)
	}
	triggers := lines(t, shared, `SELECT DISTINCT tgname::text FROM pg_trigger WHERE NOT tgisinternal AND tgenabled = 'O'`)
	triggers = slices.DeleteFunc(triggers, func(s string) bool { return strings.HasSuffix(s, "_truncate") }) // SQLite has no TRUNCATE
	if diff := cmp.Diff(lines(t, file, `SELECT name FROM sqlite_schema WHERE type = 'trigger'`), triggers); diff != "" {
		t.Errorf("triggers (-SQLite +PostgreSQL):\n%s", diff)
	}
	const kinds = `FROM entries` // each kind that the suite knows is taken by both, each other by none
	for _, s := range []*Store{file, shared} {
		j := openedJob(t, s)
		for _, e := range jobtest.Samples(j.ID) {
			e.At = jobtest.Clock
			if _, err := s.AppendEntry(t.Context(), e); err != nil {
				t.Errorf("%s: a %s: %v", s.in().place(), e.Kind, err)
			}
		}
		if got := lines(t, s, `SELECT DISTINCT kind `+kinds); len(got) < 10 {
			t.Errorf("%s: kinds %q", s.in().place(), got)
		}
	}
}

func sqlFiles(t *testing.T, f fs.FS, dir string) []string {
	t.Helper()
	list, err := fs.ReadDir(f, dir)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, e := range list {
		out = append(out, e.Name())
	}
	return out
}

func lines(t *testing.T, s *Store, query string) []string {
	t.Helper()
	rows, err := s.read.QueryContext(t.Context(), query)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			t.Fatal(err)
		}
		out = append(out, line)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	slices.Sort(out)
	return out
}

func TestAServerRefusesToChangeTheRecord(t *testing.T) {
	s := openShared(t)
	j := openedJob(t, s)
	if err := s.AppendListing(t.Context(), job.Listing{Kind: job.TapeDocument, ID: "x", SHA256: j.DefinitionSHA, Added: jobtest.Clock}); err != nil {
		t.Fatal(err)
	}
	other := openedJob(t, s)
	first, err := s.AppendEntry(t.Context(), noteIn(j, "first"))
	if err != nil {
		t.Fatal(err)
	}
	back := noteIn(j, "mistaken")
	back.Corrects, back.Withdraw = first.Seq, true
	if back, err = s.AppendEntry(t.Context(), back); err != nil {
		t.Fatal(err)
	}
	const insert = `INSERT INTO entries (seq, job, kind, n, at, withdraw, case_state, remark, payload, corrects) VALUES `
	for _, q := range []string{
		`UPDATE entries SET remark = 'other'`, `UPDATE entries SET minutes = 5`, `DELETE FROM entries`, `TRUNCATE entries`,
		`UPDATE jobs SET owner = 'other'`, `DELETE FROM jobs`, `TRUNCATE jobs CASCADE`,
		`UPDATE listings SET name = 'other'`, `DELETE FROM listings`, `TRUNCATE listings`,
		`UPDATE documents SET data = ''`, `DELETE FROM documents`, `TRUNCATE documents CASCADE`,
		insert + `(9999, 'job-0001', 'song', 1, 'x', false, '', '', '{}', NULL)`,
		insert + `(9999, 'job-0009', 'note', 9, 'x', false, '', '', '{}', NULL)`,                        // no such job
		insert + `(9999, 'job-0001', 'note', 9, 'x', false, '', '', '{}', 1)`,                           // corrected already
		insert + `(9999, '` + other.ID + `', 'note', 9, 'x', false, '', '', '{}', 1)`,                   // of the other job
		insert + `(9999, 'job-0001', 'note', 9, 'x', false, '', '', '{}', 9998)`,                        // not there
		insert + `(9999, 'job-0001', 'note', 1, 'x', false, '', '', '{}', NULL)`,                        // number taken
		insert + `(9999, 'job-0001', 'note', 9, 'x', true, '', '', '{}', NULL)`,                         // withdraws nothing
		insert + `(9999, 'job-0001', 'note', 9, 'x', false, '', '', '{', NULL)`,                         // no JSON
		insert + `(9999, 'job-0001', 'note', 9, 'x', false, '', '', '{}', ` + itoa(int(back.Seq)) + `)`, // a withdrawal
	} {
		if _, err := s.write.Exec(q); err == nil {
			t.Errorf("done: %s", q)
		}
	}
	if _, err := s.read.Exec(insert + `(9999, 'job-0001', 'note', 9, 'x', false, '', '', '{}', NULL)`); err == nil {
		t.Error("a connection that reads has written")
	}
	if got, err := s.Entries(t.Context(), j.ID); err != nil || len(got) != 2 {
		t.Errorf("%d entries (%v), want 2", len(got), err)
	}
}

func TestServersThatAreRefused(t *testing.T) {
	srv := pgtest.Start(t, sharedChecks)
	address := srv.Database(t)
	openAt(t, Shared{Address: address, Dir: t.TempDir()}).Close()
	srv.SQL(t, pgtest.Name(address), `INSERT INTO goose_db_version (version_id, is_applied) VALUES (900, true)`)
	_, err := OpenShared(t.Context(), Shared{Address: address, Dir: t.TempDir()})
	if newer, ok := errors.AsType[*NewerError](err); !ok || newer.Have != 900 {
		t.Errorf("a later schema: error %v, want NewerError of 900", err)
	}
	address = srv.Database(t)
	srv.SQL(t, pgtest.Name(address), `CREATE TABLE invoices (n int)`)
	_, err = OpenShared(t.Context(), Shared{Address: address, Dir: t.TempDir()})
	if _, ok := errors.AsType[*ForeignError](err); !ok {
		t.Errorf("a database of something else: error %v, want ForeignError", err)
	}
	srv.SQL(t, "postgres", `CREATE DATABASE latin TEMPLATE template0 ENCODING 'LATIN1' LOCALE 'C'`)
	_, err = OpenShared(t.Context(), Shared{Address: strings.Replace(address, "/"+pgtest.Name(address), "/latin", 1), Dir: t.TempDir()})
	if err == nil || !strings.Contains(err.Error(), "UTF8") {
		t.Errorf("a database in another encoding: error %v", err)
	}
}

// A password stands in no message, whatever is wrong.
func TestPasswordsAreNotSaid(t *testing.T) {
	srv := pgtest.Start(t, sharedChecks)
	good := srv.Database(t)
	dir := t.TempDir()
	openAt(t, Shared{Address: srv.Loopback(good, pgtest.Password), Dir: dir}).Close()
	const secret = "hush7!x"
	wrong := srv.Loopback(good, secret)
	for _, address := range []string{
		wrong,
		strings.Replace(wrong, "/bench", "/nobench", 1),
		"postgres://shop:" + secret + "@127.0.0.1:1/x",
		"postgres://shop:" + secret + "@127.0.0.1:nonsense/x",
		"postgres://shop:" + secret + "%@127.0.0.1/x",
		"postgres://shop:a@" + secret + "@[::1/x",
		"postgres://127.0.0.1/x?sslmode=" + secret,
		secret,
	} {
		_, err := OpenShared(t.Context(), Shared{Address: address, Dir: dir, Patience: 1})
		if err == nil {
			t.Errorf("%s opens", address)
			continue
		}
		text := err.Error()
		if a, ok := errors.AsType[*AddressError](err); !ok {
			t.Errorf("error %v, want AddressError", err)
		} else if a.Todo == "" {
			t.Errorf("%v says nothing to do", err)
		} else {
			text += a.Hint()
		}
		if strings.Contains(text, secret) || strings.Contains(text, "hush7") {
			t.Errorf("the password stands in %q", text)
		}
	}
}
