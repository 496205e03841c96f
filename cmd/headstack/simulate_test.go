package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"path/filepath"
	"strings"
	"testing"
)

// TestASimulatedMeterIsTriedOut goes the way of a new user: a meter that does not exist in
// one terminal, the program in the other.
func TestASimulatedMeterIsTriedOut(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	told, says := io.Pipe()
	out, tell := io.Pipe()
	ended := make(chan int)
	go func() {
		code := run(&env{ctx: ctx, in: told, out: tell, err: io.Discard}, []string{"simulate", "meter", "--listen", "127.0.0.1:0", "--at", "TP21-a"})
		tell.Close()
		ended <- code
	}()
	lines := bufio.NewScanner(out)
	line := func() string {
		if !lines.Scan() {
			t.Fatal("the meter says no more")
		}
		return lines.Text()
	}
	_, address, _ := strings.Cut(line(), " at ")
	address, _, _ = strings.Cut(address, " ")
	if got := line(); !strings.HasPrefix(got, "the probe is on TP21-a") {
		t.Errorf("%q", got)
	}
	folder := filepath.Join(t.TempDir(), "bench")
	do := func(args ...string) string {
		t.Helper()
		var b bytes.Buffer
		if code := run(&env{ctx: ctx, in: strings.NewReader(""), out: &b, err: &b}, append(args, "--bench", folder)); code != exitDone {
			t.Fatalf("%v: %d\n%s", args, code, b.String())
		}
		return b.String()
	}
	do("job", "open", "--machine", "hexastrand")
	do("instrument", "add", "--id", "dmm1", "--kind", "true r.m.s.", "--address", address)
	if got := do("instrument", "ask", "dmm1"); !strings.Contains(got, "it says it is: HEADSTACK SIMULATED METER") || !strings.Contains(got, "a.c. volts: ") {
		t.Errorf("%s", got)
	}
	for say, want := range map[string]string{"TP21-b 63\n": "the probe is on TP21-b", "off\n": "touches nothing", "on\n": "is on", "repair C31-a\n": "is repaired",
		"repair C31-b\n": "was in order", "TP99\n": "error:", "TP21-b low\n": "a tone in hertz"} {
		io.WriteString(says, say)
		if got := line(); !strings.Contains(got, want) {
			t.Errorf("%q: %q, want %q", say, got, want)
		}
	}
	io.WriteString(says, "TP21-b\n")
	line()
	if got := do("reading", "job-0001", "TP21-b", "--from", "dmm1"); !strings.Contains(got, "kept as reading 1") || !strings.Contains(got, "TP21-b: 1.") || !strings.Contains(got, " values from ") {
		t.Errorf("%s", got)
	}
	stop()
	if code := <-ended; code != exitDone {
		t.Errorf("it ended with %d", code)
	}
	says.Close()
}
