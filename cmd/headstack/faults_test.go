package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"headstack/halfmade"
	"headstack/job"
	"headstack/store"
)

// called is what the program itself answered.
type called struct {
	out, err string
	code     int
	pid      int
}

// call runs the program on a bench and waits for it.
func call(t *testing.T, bench string, args ...string) called {
	t.Helper()
	var out, says bytes.Buffer
	cmd := exec.Command("headstack", args...) // of testscript.Main
	cmd.Env = append(os.Environ(), "HEADSTACK_BENCH="+bench)
	cmd.Stdout, cmd.Stderr = &out, &says
	if err := cmd.Run(); err != nil {
		if _, ok := errors.AsType[*exec.ExitError](err); !ok {
			t.Fatal(err)
		}
	}
	return called{out.String(), says.String(), cmd.ProcessState.ExitCode(), cmd.Process.Pid}
}

// want fails unless the program ended with the code and said each of the texts.
func (c called) want(t *testing.T, code int, texts ...string) {
	t.Helper()
	if c.code != code {
		t.Errorf("exit code %d, want %d:\n%s%s", c.code, code, c.out, c.err)
	}
	for _, s := range texts {
		if !strings.Contains(c.out+c.err, s) {
			t.Errorf("it does not say %q:\n%s%s", s, c.out, c.err)
		}
	}
}

// benchWithJob is a bench with a job and a note.
func benchWithJob(t *testing.T) string {
	t.Helper()
	bench := filepath.Join(t.TempDir(), "bench")
	call(t, bench, "job", "open", "--machine", "hexastrand", "--serial", "Q-0417").want(t, exitDone, "job-0001")
	call(t, bench, "note", "job-0001", "first look").want(t, exitDone)
	return bench
}

// serveOn starts the pages on a bench and waits until they can be called.
func serveOn(t *testing.T, bench string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command("headstack", "serve", "--port", "0")
	cmd.Env = append(os.Environ(), "HEADSTACK_BENCH="+bench)
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	if line, err := bufio.NewReader(out).ReadString('\n'); err != nil || !strings.Contains(line, "http://") {
		t.Fatalf("it says %q, %v", line, err)
	}
	return cmd
}

// TestASecondProgramIsRefused: while one has the bench open, another that would write is told
// who, and one that reads reads; after the first was killed the next has it at once.
func TestASecondProgramIsRefused(t *testing.T) {
	bench := benchWithJob(t)
	first := serveOn(t, bench)
	host, _ := os.Hostname()
	who := fmt.Sprintf("process %d on %s since ", first.Process.Pid, host)
	for _, args := range [][]string{{"note", "job-0001", "second"}, {"serve", "--port", "0"}, {"job", "show", "job-0001"}} {
		c := call(t, bench, args...)
		c.want(t, exitError, "has this bench open; use that one, or end it first", who)
		if !regexp.MustCompile(regexp.QuoteMeta(who) + `\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ\)`).MatchString(c.err) {
			t.Errorf("%v: since when is not said: %s", args, c.err)
		}
	}
	zip := filepath.Join(t.TempDir(), "b.zip")
	call(t, bench, "verify").want(t, exitDone, "1 entries", "all as it was kept")
	call(t, bench, "backup", zip).want(t, exitDone)
	call(t, bench, "doctor", "--port", "0").want(t, exitDone, "■ record: ", who)
	if err := first.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = first.Wait()
	call(t, bench, "note", "job-0001", "after the kill").want(t, exitDone)
	call(t, bench, "verify").want(t, exitDone, "2 entries", "all as it was kept")
}

// TestWhatAKilledProgramLeft: backup, restore and export remove what a process left that no
// longer runs, once it has rested; doctor names it; what a living one makes stays.
func TestWhatAKilledProgramLeft(t *testing.T) {
	bench := benchWithJob(t)
	root, temp := filepath.Dir(bench), t.TempDir()
	t.Setenv("TMPDIR", temp)
	ended := call(t, bench, "job", "list").pid
	old := time.Now().Add(-2 * halfmade.Rest)
	n := 0
	lay := func(folder, kind string, pid int, when time.Time) string {
		n++
		path := filepath.Join(folder, fmt.Sprintf(".headstack-%s-%d-%d", kind, pid, n))
		if err := errors.Join(os.WriteFile(path, make([]byte, 100_000), 0o600), os.Chtimes(path, when, when)); err != nil {
			t.Fatal(err)
		}
		return path
	}
	there := func(path string, want bool) {
		t.Helper()
		if _, err := os.Lstat(path); (err == nil) != want {
			t.Errorf("%s is there: %v, want %v", filepath.Base(path), err == nil, want)
		}
	}
	living, young := lay(root, "backup", os.Getpid(), old), lay(root, "backup", ended, time.Now())
	c := call(t, bench, "doctor", "--port", "0")
	c.want(t, exitDone, "■ half-made: 1 left by programs that were killed", young+", 0.1\u2009MB, is half-made")
	if strings.Contains(c.out, living) {
		t.Errorf("it names what a living process makes: %s", c.out)
	}
	zip := filepath.Join(root, "b.zip")
	for _, step := range []struct {
		kind string
		args []string
	}{
		{"backup", []string{"backup", zip}},
		{"restoring", []string{"restore", "--bench", filepath.Join(root, "anew"), zip}},
		{"exporting", []string{"export", "--no-reports", filepath.Join(root, "out")}},
		{"export", []string{"export", "--no-reports", filepath.Join(root, "out.zip")}},
	} {
		stale, database := lay(root, step.kind, ended, old), lay(temp, "database", ended, old)
		if step.kind == "backup" {
			call(t, bench, "doctor", "--port", "0").want(t, exitDone, "■ half-made: 3 left", stale, database)
		}
		call(t, bench, step.args...).want(t, exitDone, "removed "+stale+", 0.1\u2009MB, which process", "removed "+database, young+", 0.1\u2009MB, is half-made")
		there(stale, false)
		there(database, false)
		there(living, true)
		there(young, true)
	}
	if list, err := os.ReadDir(temp); err != nil || len(list) > 0 {
		t.Errorf("in the folder for temporary files lie %v, %v", list, err)
	}
	if v, err := store.Verify(t.Context(), filepath.Join(root, "anew")); err != nil || len(v.Problems) > 0 || v.Entries != 1 {
		t.Errorf("restored: %+v, %v", v, err)
	}
}

// TestAClockThatWentBack: a bench last used when the clock stood years ahead is used by the
// program with the clock as it stands. Nothing is refused, the order is that of keeping, and
// the copies of the later days are not taken for the newest.
func TestAClockThatWentBack(t *testing.T) {
	bench := filepath.Join(t.TempDir(), "bench")
	ahead := func() time.Time { return time.Now().AddDate(40, 0, 0).UTC() }
	for range 2 { // the second makes the day's copy
		s, err := store.Open(bench, store.Options{Now: ahead})
		if err != nil {
			t.Fatal(err)
		}
		b := job.NewBench(s, s, job.BenchOptions{Now: ahead})
		if list, err := b.Jobs(t.Context()); err == nil && len(list) == 0 {
			_, err = b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"})
			if err != nil {
				t.Fatal(err)
			}
		}
		if _, err := b.RecordNote(t.Context(), "job-0001", "", "with the clock ahead"); err != nil {
			t.Fatal(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	call(t, bench, "note", "job-0001", "with the clock back").want(t, exitDone, "note 3")
	c := call(t, bench, "job", "show", "job-0001")
	c.want(t, exitDone)
	first, last := strings.LastIndex(c.out, "with the clock ahead"), strings.Index(c.out, "with the clock back")
	if first < 0 || last < first {
		t.Errorf("the entry with the clock back does not stand last:\n%s", c.out)
	}
	call(t, bench, "verify").want(t, exitDone, "3 entries", "all as it was kept")
	today := filepath.Join(bench, "backups", "bench-day-"+time.Now().UTC().Format("20060102")+".db")
	if _, err := os.Stat(today); err != nil {
		t.Errorf("no copy of today: %v", err)
	}
	out := filepath.Join(t.TempDir(), "out")
	call(t, bench, "export", "--no-reports", out).want(t, exitDone, "3 entries")
	call(t, filepath.Join(t.TempDir(), "anew"), "import", out).want(t, exitDone, "3 entries")
}
