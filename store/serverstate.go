package store

import (
	"context"
	"fmt"
	"path/filepath"
	"regexp"
	"time"
)

// ServerState is what a server says of itself and of the record that it keeps.
type ServerState struct {
	Place       string // without password
	Version     string // as the server writes it
	Schema      int64  // of the record, 0: there is none yet
	Known       int64  // the schema of this program
	Bytes       int64  // of the database on the server's disk
	Connections int    // of all programs to all its databases, this one's too
	Most        int    // connections that it takes at most
	Encrypted   bool   // the connection, by TLS
	Checksums   bool   // it finds damaged pages when it reads them
	// Clock is how far the server's clock is before this machine's, negative behind; it is known
	// to ± half of Travel, the time that question and answer took.
	Clock, Travel time.Duration
	// Problems are what has to be put right.
	Problems []ServerProblem
}

// ServerProblem is one thing that is not as a record needs it.
type ServerProblem struct{ Says, Todo string }

// LookAtServer asks a server how it keeps a record. It changes nothing, the schema neither, and
// looks at no files. Errors: [AddressError], where the server cannot be asked, and [ForeignError].
func LookAtServer(ctx context.Context, opt Shared) (ServerState, error) {
	config, place, err := parseAddress(opt.Address)
	if err != nil {
		return ServerState{}, err
	}
	db := config.pool(1, true)
	defer db.Close()
	state, err := stateOf(ctx, db, place)
	if err != nil {
		return state, fmt.Errorf("asking the server of the record: %w", (&server{name: place}).explain(err))
	}
	return state, nil
}

func stateOf(ctx context.Context, q querier, place string) (ServerState, error) {
	s := ServerState{Place: place}
	var number int
	var encoding, fsync, fullPages, checksums string
	var copyOnly bool
	if err := q.QueryRowContext(ctx, `SELECT 1`).Scan(new(int)); err != nil { // connected, for the clock
		return s, err
	}
	asked := time.Now()
	var clock float64
	if err := q.QueryRowContext(ctx, `SELECT extract(epoch FROM clock_timestamp())::float8`).Scan(&clock); err != nil {
		return s, err
	}
	s.Travel = time.Since(asked)
	s.Clock = time.UnixMicro(int64(clock * 1e6)).Sub(asked.Add(s.Travel / 2))
	// Of the connections of others the number alone is open to every user: PostgreSQL 15
	// documentation, 28.2.3 and 54.24.
	err := q.QueryRowContext(ctx, `SELECT current_setting('server_version_num')::int, current_setting('server_version'),
		current_setting('server_encoding'), current_setting('fsync'), current_setting('full_page_writes'), current_setting('data_checksums'),
		pg_is_in_recovery(), pg_database_size(current_database()), (SELECT count(*) FROM pg_stat_activity WHERE datname IS NOT NULL),
		current_setting('max_connections')::int, coalesce((SELECT ssl FROM pg_stat_ssl WHERE pid = pg_backend_pid()), false)`).
		Scan(&number, &s.Version, &encoding, &fsync, &fullPages, &checksums, &copyOnly, &s.Bytes, &s.Connections, &s.Most, &s.Encrypted)
	if err != nil {
		return s, err
	}
	s.Checksums = checksums == "on"
	wrong := func(is bool, says, todo string) {
		if is {
			s.Problems = append(s.Problems, ServerProblem{says, todo})
		}
	}
	wrong(number < oldestServer, "it is PostgreSQL "+s.Version+", and 13 is the oldest that is supported", "put the record on a newer server: pg_dump there, pg_restore here")
	wrong(encoding != "UTF8", "the database keeps text as "+encoding, "make another one with createdb --encoding=UTF8 --template=template0 and put the record there")
	wrong(fsync != "on", "fsync is "+fsync+": a power cut loses what was acknowledged", "set it to on in postgresql.conf and reload the server; until then no program of the bench opens the record")
	wrong(fullPages != "on", "full_page_writes is "+fullPages+": a power cut can leave half a page", "set it to on in postgresql.conf and reload the server; until then no program of the bench opens the record")
	wrong(copyOnly, "it is a copy that follows another server and only reads", "name the server that is written to")
	if err := s.schema(ctx, q); err != nil || s.Schema == 0 {
		return s, err
	}
	wrong(s.Schema > s.Known, fmt.Sprintf("the record has schema %d and this program knows up to %d", s.Schema, s.Known), "use the newer headstack")
	wrong(s.Schema < s.Known, fmt.Sprintf("the record has schema %d of an earlier program and this one makes it %d", s.Schema, s.Known),
		"make a dump with pg_dump, end the earlier programs, then headstack job list brings it up to date")
	if s.Schema != s.Known {
		return s, nil
	}
	missing, err := asleep(ctx, q)
	for _, name := range missing {
		wrong(true, "the trigger "+name+" is gone or off: the record can be changed past the program", "look who did it and what was changed since, against a dump of before; a dump put back into an empty database has its triggers")
	}
	if err != nil {
		return s, err
	}
	var may bool
	if err := q.QueryRowContext(ctx, `SELECT has_table_privilege('entries', 'INSERT') AND has_table_privilege('jobs', 'INSERT')`).Scan(&may); err != nil {
		return s, err
	}
	wrong(!may, "this user may not append to the record", "let the user own the database and its tables, as doc/SHOP.md says")
	return s, nil
}

func (s *ServerState) schema(ctx context.Context, q querier) (err error) {
	if s.Known, err = newestSchema(); err != nil {
		return err
	}
	tables, ours, err := countTables(ctx, q)
	switch {
	case err != nil || tables == 0:
		return err
	case ours < ownTables:
		return &ForeignError{Path: s.Place}
	}
	s.Schema, err = schemaOf(ctx, q)
	return err
}

var createTrigger = regexp.MustCompile(`(?m)^CREATE TRIGGER (\w+) `)

// asleep names the triggers of the schema that do not watch over the record.
func asleep(ctx context.Context, q querier) ([]string, error) {
	files, err := embeddedPostgres.ReadDir("postgres")
	if err != nil {
		return nil, err
	}
	var out []string
	for _, f := range files {
		text, err := embeddedPostgres.ReadFile("postgres/" + filepath.Base(f.Name()))
		if err != nil {
			return nil, err
		}
		for _, m := range createTrigger.FindAllSubmatch(text, -1) {
			var awake bool
			const is = `SELECT EXISTS (SELECT 1 FROM pg_trigger AS t JOIN pg_class AS c ON c.oid = t.tgrelid
				WHERE c.relnamespace = current_schema()::regnamespace AND tgname = $1 AND tgenabled IN ('O', 'A'))`
			if err := q.QueryRowContext(ctx, is, string(m[1])).Scan(&awake); err != nil {
				return nil, err
			}
			if !awake {
				out = append(out, string(m[1]))
			}
		}
	}
	return out, nil
}
