package store

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"headstack/job"
	"headstack/job/jobtest"
)

// released are the versions of the schema, in order.
func released(t *testing.T) (out []int) {
	t.Helper()
	list, err := fs.Glob(embedded, "migrations/*.sql")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range list {
		var n int
		if _, err := fmt.Sscanf(filepath.Base(name), "%d_", &n); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		out = append(out, n)
	}
	return out
}

// neverNewest are schemas that no program had as its newest, and the bench that is kept in
// their place: that of the program which had all others.
var neverNewest = map[int]string{6: "7-without-6"}

// TestSchemaHistory opens a bench of every released schema, each made by the last program
// that wrote it, and wants all that that program read from it. A schema without such a bench
// is an error: see TestKeepSchema.
func TestSchemaHistory(t *testing.T) {
	versions := released(t)
	newest := versions[len(versions)-1]
	for _, n := range versions {
		name := fmt.Sprint(n)
		if other := neverNewest[n]; other != "" {
			name, n = other, n+1
		}
		t.Run(name, func(t *testing.T) {
			data, err := unpacked(name, "db")
			if errors.Is(err, fs.ErrNotExist) {
				t.Fatalf("no bench of schema %d is kept: go test ./store -run TestKeepSchema -keep-schema, with the last program of that schema, makes it", n)
			}
			text, err2 := unpacked(name, "json")
			if err := errors.Join(err, err2); err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, databaseName), data, 0o644); err != nil {
				t.Fatal(err)
			}
			checkKept(t, dir, text)
			var copies []string
			list := func() (names []string) {
				found, _ := filepath.Glob(filepath.Join(dir, backupsName, "*"))
				return found
			}
			if copies, _ = filepath.Glob(filepath.Join(dir, backupsName, fmt.Sprintf("bench-schema%d-*.db", n))); (len(copies) == 1) != (n < newest) {
				t.Errorf("copies from before the change: %v", copies)
			}
			had := list()
			checkKept(t, dir, text)
			if diff := cmp.Diff(had, list()); diff != "" {
				t.Errorf("opened again it makes copies (-want +got):\n%s", diff)
			}
			v, err := Verify(t.Context(), dir)
			v.Problems = slices.DeleteFunc(v.Problems, func(p string) bool { return strings.Contains(p, " is gone: the file of ") }) // the samples' files never were
			if err != nil || len(v.Problems) > 0 {
				t.Errorf("%+v, %v", v, err)
			}
			keepAllKinds(t, dir)
			for _, path := range copies { // the copy is a bench of the old schema
				anew := t.TempDir()
				if err := copyFile(path, filepath.Join(anew, databaseName)); err != nil {
					t.Fatal(err)
				}
				checkKept(t, anew, text)
			}
		})
	}
}

// keepAllKinds keeps an entry of every kind of today.
func keepAllKinds(t *testing.T, dir string) {
	t.Helper()
	s := open(t, dir, Options{})
	for _, e := range jobtest.Samples("job-0001") {
		e.At = jobtest.Clock
		if _, err := s.AppendEntry(t.Context(), e); err != nil {
			t.Errorf("a %s: %v", e.Kind, err)
		}
	}
}

func unpacked(name, ending string) ([]byte, error) {
	f, err := os.Open(filepath.Join("testdata", "schema", name+"."+ending+".gz"))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		return nil, err
	}
	return io.ReadAll(z)
}

// checkKept opens a bench with today's program and holds it against the text of what its own
// program read.
func checkKept(t *testing.T, dir string, text []byte) {
	t.Helper()
	var kept keptBench
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.DisallowUnknownFields() // a field that today's types do not have would be lost
	if err := dec.Decode(&kept); err != nil {
		t.Fatal(err)
	}
	s, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	got := keptBench{Document: kept.Document}
	if _, err := s.Document(t.Context(), kept.Document); err != nil {
		t.Error(err)
	}
	sums, err := s.Summaries(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, sum := range sums {
		list, err := s.Entries(t.Context(), sum.ID)
		if err != nil {
			t.Fatal(err)
		}
		got.Jobs, got.Entries = append(got.Jobs, sum.Job), append(got.Entries, list)
	}
	if got.Listings, err = s.Listings(t.Context(), job.TapeDocument); err != nil {
		t.Fatal(err)
	}
	now, err := json.Marshal(got)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Entries) != 2 || len(got.Entries[0]) < 70 {
		t.Errorf("%d jobs, the first with %d entries", len(got.Jobs), len(got.Entries[0]))
	}
	if diff := cmp.Diff(said(t, text), said(t, now)); diff != "" {
		t.Errorf("what its own program read, and today's (-want +got):\n%s", diff)
	}
	var problem string
	if err := s.read.QueryRow(`PRAGMA integrity_check`).Scan(&problem); err != nil || problem != "ok" {
		t.Errorf("integrity_check: %s, %v", problem, err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

// said is a JSON text without what says nothing: zeros and empty fields, which a later
// program may have more of.
func said(t *testing.T, text []byte) any {
	t.Helper()
	var v any
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.UseNumber()
	if err := dec.Decode(&v); err != nil {
		t.Fatal(err)
	}
	return stripped(v)
}

func stripped(v any) any {
	switch v := v.(type) {
	case map[string]any:
		out := map[string]any{}
		for k, e := range v {
			if e := stripped(e); e != nil {
				out[k] = e
			}
		}
		if len(out) == 0 {
			return nil
		}
		return out
	case []any:
		var out []any
		for _, e := range v {
			out = append(out, stripped(e)) // a zero among others counts
		}
		if len(out) == 0 {
			return nil
		}
		return out
	case string:
		if v == "" || strings.HasPrefix(v, "0001-01-01T00:00:00") {
			return nil
		}
	case json.Number:
		if v == "0" {
			return nil
		}
	case bool:
		if !v {
			return nil
		}
	}
	return v
}

// TestABenchOfALaterProgramIsRefused: in words, and left as it is.
func TestABenchOfALaterProgramIsRefused(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, Options{migrations: history(t, map[string]string{"00999_x.sql": "-- +goose Up\nCREATE TABLE extra (n INTEGER) STRICT;\n"})})
	openedJob(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, databaseName)
	had, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	versions := released(t)
	_, err = Open(dir, Options{})
	e, ok := errors.AsType[*NewerError](err)
	if !ok || e.Have != 999 || e.Know != int64(versions[len(versions)-1]) {
		t.Fatalf("error %v, want NewerError", err)
	}
	for _, want := range []string{path, "schema 999", "nothing was changed", "use the newer headstack"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q does not say %q", err, want)
		}
	}
	if got, err := os.ReadFile(path); err != nil || !bytes.Equal(got, had) {
		t.Errorf("it was changed (%v)", err)
	}
}
