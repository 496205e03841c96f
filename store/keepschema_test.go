package store

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"headstack/job"
	"headstack/job/jobtest"
)

var keepSchema = flag.Bool("keep-schema", false, "write testdata/schema/N.db.gz and N.json: a bench of the newest schema, as this program makes it")

// keptBench is what stands beside a kept database: what its own program read from it.
type keptBench struct {
	Jobs     []job.Job
	Entries  [][]job.Entry // of each job
	Listings []job.Listing
	Document string // SHA-256
}

// TestKeepSchema writes the bench that TestSchemaHistory demands of each released schema:
//
//	go test ./store -run TestKeepSchema -keep-schema
//
// It is run once, by the last program before a schema is changed again, and then left alone.
func TestKeepSchema(t *testing.T) {
	if !*keepSchema {
		t.Skip("only with -keep-schema")
	}
	dir := t.TempDir()
	s, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	var kept keptBench
	kept.Document, err = s.PutDocument(t.Context(), []byte("machine: 1\nid: chalk-four\n"))
	if err != nil {
		t.Fatal(err)
	}
	l := job.Listing{Kind: job.TapeDocument, ID: "fen-12", Name: "Fen 12", SHA256: kept.Document, Added: jobtest.Clock}
	if err := s.AppendListing(t.Context(), l); err != nil {
		t.Fatal(err)
	}
	for i := range 2 {
		j, err := s.AppendJob(t.Context(), job.Job{Definition: "chalk-four", DefinitionSHA: kept.Document, Name: "Chalk Four",
			Serial: fmt.Sprint(17 + i), Owner: "theatre, \"Möwe\"", Claim: "weak\non some tracks", Opened: jobtest.Clock})
		if err != nil {
			t.Fatal(err)
		}
		keepEntries(t, s, j.ID)
		kept.Jobs = append(kept.Jobs, j)
	}
	for _, j := range kept.Jobs {
		got, err := s.Entries(t.Context(), j.ID)
		if err != nil {
			t.Fatal(err)
		}
		kept.Entries = append(kept.Entries, got)
	}
	if kept.Listings, err = s.Listings(t.Context(), job.TapeDocument); err != nil {
		t.Fatal(err)
	}
	var version int64
	if err := s.read.QueryRow(`SELECT max(version_id) FROM goose_db_version`).Scan(&version); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	writeKept(t, version, filepath.Join(dir, databaseName), kept)
}

// keepEntries appends every kind of entry twice, corrections of corrections, a withdrawal,
// a clock that was set back, and enough notes for several pages.
func keepEntries(t *testing.T, s *Store, id string) {
	t.Helper()
	add := func(e job.Entry) job.Entry {
		e.Job = id
		e, err := s.AppendEntry(t.Context(), e)
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	for round := range 2 {
		for k, e := range jobtest.Samples(id) {
			e.At = jobtest.Clock.Add(time.Duration(k-40*round) * time.Minute)
			add(e)
		}
	}
	e := jobtest.Samples(id)[0]
	e.At = jobtest.Clock
	first := add(e)
	e.Corrects = first.Seq
	second := add(e)
	e.Corrects = second.Seq
	third := add(e)
	add(job.Entry{At: jobtest.Clock, Kind: job.KindNote, Corrects: third.Seq, Withdraw: true, Remark: "mistaken"})
	for k := range 60 {
		add(job.Entry{At: jobtest.Clock, Kind: job.KindNote, Remark: fmt.Sprintf("%d: %s", k, strings.Repeat("long ", 40))})
	}
}

func writeKept(t *testing.T, version int64, database string, kept keptBench) {
	t.Helper()
	data, err := os.ReadFile(database)
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.MarshalIndent(kept, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join("testdata", "schema"), 0o755); err != nil {
		t.Fatal(err)
	}
	for ending, data := range map[string][]byte{"db": data, "json": text} {
		var b bytes.Buffer
		z, _ := gzip.NewWriterLevel(&b, gzip.BestCompression)
		if _, err := z.Write(data); err != nil {
			t.Fatal(err)
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join("testdata", "schema", fmt.Sprintf("%d.%s.gz", version, ending)), b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
