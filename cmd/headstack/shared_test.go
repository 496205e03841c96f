package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"headstack/export"
	"headstack/store"
	"headstack/store/pgtest"
)

// A bench in a folder goes to a server by export and import; every verb that opens a bench
// finds it there, and so do export, verify, doctor and the pages; the others say what to use
// instead, and no password is said.
func TestARecordOnAServer(t *testing.T) {
	srv := pgtest.Start(t, "verbs on a record on PostgreSQL")
	dir := t.TempDir()
	call := func(args ...string) (int, string) {
		t.Helper()
		var out bytes.Buffer
		code := run(&env{ctx: t.Context(), in: strings.NewReader(""), out: &out, err: &out}, args)
		return code, out.String()
	}
	must := func(args ...string) string {
		t.Helper()
		code, out := call(args...)
		if code != exitDone {
			t.Fatalf("%q: exit code %d: %s", args, code, out)
		}
		return out
	}
	folder := filepath.Join(dir, "bench")
	must("job", "open", "--bench", folder, "--machine", "hexastrand", "--serial", "0417")
	must("note", "--bench", folder, "job-0001", "hums")
	exported := filepath.Join(dir, "export")
	must("export", "--bench", folder, "--no-reports", exported)

	t.Setenv("HEADSTACK_BENCH", filepath.Join(dir, "own"))
	t.Setenv("HEADSTACK_FILES", filepath.Join(dir, "shared"))
	t.Setenv("HEADSTACK_RECORD", srv.Loopback(srv.Database(t), pgtest.Password))
	said := must("import", exported)
	said += must("note", "job-0001", "hums still")
	said += must("job", "list")
	if shown := must("job", "show", "job-0001"); !strings.Contains(shown, "hums still") || !strings.Contains(shown, "0417") {
		t.Errorf("the job on the server: %s", shown)
	}
	// The record as it is on the server goes into a bench in a folder again.
	again, whole := filepath.Join(dir, "again"), must("verify")
	said += must("export", "--no-reports", again)
	want := strings.TrimSpace(whole[strings.LastIndex(strings.TrimSpace(whole), "\n")+1:])
	if !strings.Contains(whole, "all as it was kept") || !strings.Contains(want, "2 entries") {
		t.Errorf("verify: %s", whole)
	}
	said += whole
	if out := must("import", "--record-at", "", "--bench", filepath.Join(dir, "back"), again); !strings.Contains(out, want) {
		t.Errorf("back in a folder: %s, want %s", out, want)
	}
	if zip := pageExport(t); !strings.Contains(zip, want) {
		t.Errorf("the export of the pages holds %s, want %s", zip, want)
	}
	code, looked := call("doctor", "--port", "0")
	if code != exitDone || !strings.Contains(looked, "schema ") || !strings.Contains(looked, "has the files of the record") {
		t.Errorf("doctor: exit code %d: %s", code, looked)
	}
	said += looked
	for _, args := range [][]string{
		{"backup", filepath.Join(dir, "x.zip")}, {"import", exported},
		{"verify", "--record-at", srv.Loopback(srv.Database(t), pgtest.Password)}, {"export", "--record-at", srv.Loopback(srv.Database(t), pgtest.Password), filepath.Join(dir, "x")},
		{"job", "list", "--record-at", strings.Replace(srv.Loopback(srv.Database(t), "wrong7!x"), "/bench", "/nobench", 1)},
	} {
		code, out := call(args...)
		if code == exitDone || !strings.Contains(out, "hint: ") {
			t.Errorf("%q: exit code %d, want an error with a hint: %s", args, code, out)
		}
		said += out
	}
	for _, secret := range []string{pgtest.Password, "seven%2F", "wrong7"} {
		if strings.Contains(said, secret) {
			t.Errorf("the password stands in what is said: %s", said)
		}
	}
}

// pageExport is what the pages give to take away, read back: what it holds.
func pageExport(t *testing.T) string {
	t.Helper()
	var flags benchFlag
	flags.Bench, flags.Files, flags.Record = os.Getenv("HEADSTACK_BENCH"), os.Getenv("HEADSTACK_FILES"), os.Getenv("HEADSTACK_RECORD")
	// A bench of its own that lies in the folder is not what the pages show.
	own, err := store.Open(flags.Bench, store.Options{})
	if err == nil {
		err = own.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	var zip bytes.Buffer
	if err := exportZip(flags)(t.Context(), &zip); err != nil {
		t.Fatal(err)
	}
	tree, err := export.OpenZip(bytes.NewReader(zip.Bytes()), int64(zip.Len()))
	if err != nil {
		t.Fatal(err)
	}
	c, err := export.Check(t.Context(), tree, export.ImportOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return c.Content.String()
}
