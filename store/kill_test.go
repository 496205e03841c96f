package store

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"headstack/job"
	"headstack/job/jobtest"
)

// childEnv names the bench folder to a copy of the test binary that is to be
// killed.
const childEnv = "HEADSTACK_STORE_TEST_CHILD"

// appendUntilKilled appends notes to the first job from several goroutines and
// prints the number of each one that was acknowledged, and puts captures.
func appendUntilKilled(dir string) int {
	s, err := Open(dir, Options{})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	ctx := context.Background()
	printed := make(chan string)
	for w := range 3 {
		go func() {
			for i := 0; ; i++ {
				e, err := s.AppendEntry(ctx, job.Entry{Job: "job-0001", At: jobtest.Clock, Kind: job.KindNote,
					Remark: fmt.Sprintf("%d of writer %d of process %d", i, w, os.Getpid())})
				if err != nil {
					fmt.Fprintln(os.Stderr, err)
					os.Exit(1)
				}
				printed <- fmt.Sprintf("entry %d %s\n", e.Seq, e.Remark)
			}
		}()
	}
	go func() {
		for i := 0; ; i++ {
			sha, _, err := s.Put(ctx, strings.NewReader(strings.Repeat(fmt.Sprintf("%d of %d\n", i, os.Getpid()), 3000)))
			if err != nil {
				fmt.Fprintln(os.Stderr, err)
				os.Exit(1)
			}
			printed <- fmt.Sprintf("capture %s\n", sha)
		}
	}()
	for line := range printed {
		if _, err := os.Stdout.WriteString(line); err != nil {
			return 1
		}
	}
	return 0
}

func TestKilledAtAnyMoment(t *testing.T) {
	const seed = 20310304
	rounds := 20
	if testing.Short() {
		rounds = 5
	}
	rng := rand.New(rand.NewPCG(seed, 0))
	dir := t.TempDir()
	s := open(t, dir, Options{})
	j := openedJob(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	entries, captures := map[int64]string{}, map[string]bool{}
	for round := range rounds {
		after := time.Duration(30+rng.IntN(250)) * time.Millisecond
		runAndKill(t, dir, after, entries, captures)
		checkAcknowledged(t, dir, j, entries, captures)
		if t.Failed() {
			t.Fatalf("round %d of seed %d, killed after %v", round, seed, after)
		}
	}
	t.Logf("%d kills: %d acknowledged entries and %d captures, all there", rounds, len(entries), len(captures))
	if len(entries) < rounds || len(captures) == 0 {
		t.Errorf("only %d entries and %d captures were acknowledged: the kills came too early to show anything", len(entries), len(captures))
	}
}

// runAndKill starts the child, kills it some time after its first answer, and
// notes what it acknowledged.
func runAndKill(t *testing.T, dir string, after time.Duration, entries map[int64]string, captures map[string]bool) {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^$")
	cmd.Env = append(os.Environ(), childEnv+"="+dir)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var timer *time.Timer
	r := bufio.NewReader(out)
	for {
		line, err := r.ReadString('\n')
		if timer == nil {
			timer = time.AfterFunc(after, func() { _ = cmd.Process.Kill() })
		}
		if err != nil {
			break // a line without its end was not acknowledged as a whole
		}
		var seq int64
		var sha string
		if n, _ := fmt.Sscanf(line, "entry %d", &seq); n == 1 {
			_, text, _ := strings.Cut(strings.TrimPrefix(line, "entry "), " ")
			entries[seq] = strings.TrimSpace(text)
		} else if n, _ := fmt.Sscanf(line, "capture %s", &sha); n == 1 {
			captures[sha] = true
		} else {
			t.Errorf("the child says %q", line)
		}
	}
	timer.Stop()
	_ = cmd.Process.Kill()
	if err := cmd.Wait(); err == nil || cmd.ProcessState.Exited() {
		t.Errorf("the child was not killed: %v", err)
	}
}

func checkAcknowledged(t *testing.T, dir string, j job.Job, entries map[int64]string, captures map[string]bool) {
	t.Helper()
	s := open(t, dir, Options{}) // runs quick_check
	defer s.Close()
	var full string
	if err := s.read.QueryRow(`PRAGMA integrity_check`).Scan(&full); err != nil || full != "ok" {
		t.Errorf("integrity_check: %s, %v", full, err)
	}
	got, err := s.Entries(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	kept := map[int64]string{}
	for i, e := range got {
		kept[e.Seq] = e.Remark
		if e.Seq != int64(i+1) {
			t.Fatalf("entry %d is numbered %d", i+1, e.Seq)
		}
	}
	for seq, text := range entries {
		if kept[seq] != text {
			t.Errorf("entry %d is %q, acknowledged was %q", seq, kept[seq], text)
		}
	}
	for sha := range captures {
		f, err := s.Open(t.Context(), sha)
		if err != nil {
			t.Errorf("acknowledged capture: %v", err)
			continue
		}
		_ = f.Close()
	}
	checkFolder(t, s)
}

// checkFolder opens every file of the captures folder: each must be whole under
// its hash.
func checkFolder(t *testing.T, s *Store) {
	t.Helper()
	list, err := os.ReadDir(s.captures())
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		f, err := s.Open(t.Context(), e.Name())
		if err != nil {
			t.Errorf("%s in the captures folder: %v", e.Name(), err)
			continue
		}
		_ = f.Close()
	}
}
