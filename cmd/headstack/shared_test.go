package main

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"

	"headstack/store/pgtest"
)

// A bench in a folder goes to a server by export and import; every verb that opens a bench
// finds it there, the others say what to use instead, and no password is said.
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
	for _, args := range [][]string{
		{"backup", filepath.Join(dir, "x.zip")}, {"verify"}, {"doctor"}, {"export", filepath.Join(dir, "x")}, {"import", exported},
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
