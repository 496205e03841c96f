package store

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/go-cmp/cmp"

	"headstack/job"
	"headstack/job/jobtest"
)

// stepEnv gives a copy of the test binary the folder, the step to be killed at and the step
// to fail at before.
const stepEnv = "HEADSTACK_STORE_TEST_STEP"

// needs are steps that are made only after another has failed.
var needs = map[step]step{
	stepFileUndo:     stepFileSettle,
	stepBackupUndo:   stepBackupSettle,
	stepRestoreUndo:  stepRestoreSettle,
	stepRestoreAgain: stepRestoreName,

	stepImportDiscard: stepCommit,
}

// silent are steps whose failure is nobody's error: what they remove or tidy is not read by
// anyone, and is tried again at the next start.
var silent = []step{stepFileDiscard, stepCopyDiscard, stepBackupDiscard, stepBackupClear, stepRestoreDiscard, stepCheckpoint, stepSnapshotClear, stepImportDiscard}

var errDiskFull = &fs.PathError{Op: "write", Path: "x", Err: syscall.ENOSPC}

// acknowledged is what a scene was told to be kept.
type acknowledged struct {
	Entries  []job.Entry
	Files    []string // hashes
	Document string
	Backup   bool
	Restored bool
	Imported bool
}

// scene does all that the store can do in the folder root, step by step, whatever fails, and
// tells what was acknowledged.
func scene(ctx context.Context, root string, d disk, told func(acknowledged)) error {
	var a acknowledged
	tell := func(err error, note func()) error {
		if err == nil {
			note()
			told(a)
		}
		return err
	}
	s, err := Open(filepath.Join(root, "bench"), Options{Now: sceneNow, migrations: sceneHistory(), disk: d})
	if err != nil {
		return err
	}
	errs := []error{s.CopyProblem()}
	for i := range 2 {
		e, err := s.AppendEntry(ctx, job.Entry{Job: "job-0001", At: jobtest.Clock, Kind: job.KindNote, Remark: fmt.Sprintf("note %d of the scene", i)})
		errs = append(errs, tell(err, func() { a.Entries = append(a.Entries, e) }))
		sha, _, err := s.Put(ctx, strings.NewReader(strings.Repeat("a capture\n", 1000))) // the second time it is there
		errs = append(errs, tell(err, func() { a.Files = append(a.Files, sha) }))
	}
	sha, err := s.PutDocument(ctx, []byte("id: of the scene\n"))
	errs = append(errs, tell(err, func() { a.Document = sha }))
	file := filepath.Join(root, "backup.zip")
	_, err = backupFile(ctx, s.Dir(), file, sceneNow(), d)
	if errs = append(errs, tell(err, func() { a.Backup = true })); err == nil {
		data, err := os.ReadFile(file)
		if err == nil {
			_, err = restore(ctx, bytes.NewReader(data), int64(len(data)), filepath.Join(root, "restored"), d)
		}
		errs = append(errs, tell(err, func() { a.Restored = true }))
	}
	err = importScene(ctx, s.Dir(), filepath.Join(root, "imported"), d)
	errs = append(errs, tell(err, func() { a.Imported = true }))
	return errors.Join(append(errs, s.Close())...)
}

func sceneNow() time.Time { return time.Date(2031, 3, 30, 9, 0, 0, 0, time.UTC) }

// sceneHistory is the schema's history and a change more, so that there is one to be made.
func sceneHistory() fs.FS {
	out := fstest.MapFS{"00999_x.sql": {Data: []byte("-- +goose Up\nCREATE TABLE extra (n INTEGER) STRICT;\n")}}
	list, _ := fs.Glob(embedded, "migrations/*.sql")
	for _, name := range list {
		data, _ := fs.ReadFile(embedded, name)
		out[filepath.Base(name)] = &fstest.MapFile{Data: data}
	}
	return out
}

// sceneFolder makes what a scene begins with: a bench with a job, an entry, as many daily
// copies as are kept, the remains of a broken-off capture and an empty folder to restore to.
func sceneFolder(t *testing.T) (root string, kept job.Entry) {
	t.Helper()
	root = t.TempDir()
	s := open(t, filepath.Join(root, "bench"), Options{})
	j := openedJob(t, s)
	kept, err := s.AppendEntry(t.Context(), noteIn(j, "before the scene"))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	for day := range dailyKept {
		name := fmt.Sprintf("%s203103%02d.db", dailyPrefix, day+1)
		if err := errors.Join(os.MkdirAll(filepath.Join(s.Dir(), backupsName), 0o755),
			copyFile(filepath.Join(s.Dir(), databaseName), filepath.Join(s.Dir(), backupsName, name))); err != nil {
			t.Fatal(err)
		}
	}
	err = errors.Join(os.WriteFile(filepath.Join(s.Dir(), capturesName, remainsPrefix+"1"), []byte("half"), 0o600), os.Mkdir(filepath.Join(root, "restored"), 0o755))
	if err != nil {
		t.Fatal(err)
	}
	return root, kept
}

// memoryDir is a temporary folder in memory where there is such, else as usual. A process
// that is killed loses nothing that a file system has taken, synced or not; so these tests
// need not wait for a disk.
func memoryDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "headstack-store-*")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

func copyFile(from, to string) error {
	data, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	return os.WriteFile(to, data, 0o644)
}

// TestEachStepCanFail makes each step of the store fail in turn: with an error of a full
// disk, with half of a write done before it, and with the process killed there. Nothing
// acknowledged is lost, nothing half-made is to be seen, the error says what to do, and the
// next try succeeds.
func TestEachStepCanFail(t *testing.T) {
	template, kept := sceneFolder(t)
	tries, kills := 0, 0
	for _, at := range slices.Sorted(maps.Values(steps(t))) {
		for _, how := range []string{"error", "half", "kill", "half and kill"} {
			if strings.HasPrefix(how, "half") && !strings.HasSuffix(string(at), "write") && !strings.HasSuffix(string(at), "write a file") {
				continue
			}
			if at == stepCommitted && how == "error" || testing.Short() && strings.HasSuffix(how, "kill") {
				continue // after the commit there is nothing to fail, only a moment to be killed in
			}
			t.Run(fmt.Sprintf("%s, %s", at, how), func(t *testing.T) {
				root := memoryDir(t)
				tries++
				if err := os.CopyFS(root, os.DirFS(template)); err != nil {
					t.Fatal(err)
				}
				if strings.HasSuffix(how, "kill") {
					kills++
					a := killedScene(t, root, at, how)
					checkScene(t, root, kept, a)
					return
				}
				met := false
				d := disk{before: func(s step, part func()) error {
					switch {
					case s == at:
						if met = true; how == "half" {
							part()
						}
						return errDiskFull
					case needs[at] == s:
						return errDiskFull
					}
					return nil
				}}
				var a acknowledged
				err := scene(t.Context(), root, d, func(now acknowledged) { a = now })
				if !met {
					t.Fatal("nothing in the scene comes to this step: let it, in scene or needs")
				}
				checkSaid(t, at, err)
				checkScene(t, root, kept, a)
			})
		}
	}
	t.Logf("%d steps, %d tries, of them %d kills", len(steps(t)), tries, kills)
}

// checkSaid wants an error that says in words what is wrong and what to do.
func checkSaid(t *testing.T, at step, err error) {
	t.Helper()
	if slices.Contains(silent, at) && needs[at] == "" {
		if err != nil {
			t.Errorf("error %v, want none", err)
		}
		return
	}
	if runtime.GOOS == "windows" { // whose number for a full disk is another
		return
	}
	if !errors.Is(err, ErrFull) || !strings.Contains(err.Error(), "make room and repeat it") {
		t.Errorf("error %v, want one that says that the disk is full and what to do", err)
	}
}

// checkScene looks at what a broken scene left, and plays it again.
func checkScene(t *testing.T, root string, kept job.Entry, a acknowledged) {
	t.Helper()
	file := filepath.Join(root, "backup.zip")
	data, err := os.ReadFile(file)
	if a.Backup || err == nil {
		if _, err := CheckBackup(t.Context(), bytes.NewReader(data), int64(len(data))); err != nil {
			t.Errorf("the backup: %v", err)
		}
	}
	restored := filepath.Join(root, "restored")
	if list, err := os.ReadDir(restored); a.Restored || len(list) > 0 {
		if v, verr := Verify(t.Context(), restored); err != nil || verr != nil || len(v.Problems) > 0 || v.Entries == 0 || v.Files == 0 && len(a.Files) > 0 {
			t.Errorf("restored: %+v, %v, %v", v, err, verr)
		}
	}
	imported := filepath.Join(root, "imported")
	checkImported(t, filepath.Join(root, "bench"), imported, a.Imported)
	for _, path := range []string{file, restored, imported} {
		if err := os.RemoveAll(path); err != nil {
			t.Fatal(err)
		}
	}
	checkCopies(t, filepath.Join(root, "bench", backupsName))
	a.Entries = append([]job.Entry{kept}, a.Entries...)
	var again acknowledged
	if err := scene(t.Context(), root, disk{}, func(now acknowledged) { again = now }); err != nil {
		t.Fatalf("the next try: %v", err)
	}
	if !again.Backup || !again.Restored || !again.Imported || len(again.Entries) != 2 || len(again.Files) != 2 || again.Document == "" {
		t.Errorf("the next try kept only %+v", again)
	}
	a.Entries = append(a.Entries, again.Entries...)
	s := open(t, filepath.Join(root, "bench"), Options{Now: sceneNow, migrations: sceneHistory()})
	got, err := s.Entries(t.Context(), "job-0001")
	if err != nil {
		t.Fatal(err)
	}
	bySeq := map[int64]job.Entry{}
	for i, e := range got {
		if e.Seq != int64(i+1) {
			t.Errorf("entry %d has number %d", i+1, e.Seq)
		}
		bySeq[e.Seq] = e
	}
	for _, want := range a.Entries {
		if diff := cmp.Diff(want, bySeq[want.Seq]); diff != "" {
			t.Errorf("an acknowledged entry (-want +got):\n%s", diff)
		}
	}
	if a.Document != "" {
		if _, err := s.Document(t.Context(), a.Document); err != nil {
			t.Error(err)
		}
	}
	for _, sha := range append(a.Files, again.Files...) {
		if f, err := s.Open(t.Context(), sha); err != nil {
			t.Error(err)
		} else {
			_ = f.Close()
		}
	}
	checkFolder(t, s)
	if v, err := Verify(t.Context(), s.Dir()); err != nil || len(v.Problems) > 0 {
		t.Errorf("%+v, %v", v, err)
	}
	checkCopies(t, filepath.Join(s.Dir(), backupsName))
}

// checkCopies wants every named copy of the database to be whole.
func checkCopies(t *testing.T, folder string) {
	t.Helper()
	list, err := filepath.Glob(filepath.Join(folder, "bench-*.db"))
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range list {
		if strings.Contains(path, dailyPrefix+"203103") && !strings.Contains(path, dailyPrefix+"20310330") {
			continue // of sceneFolder
		}
		if err := errors.Join(checkHeader(path), checkCopy(t.Context(), path)); err != nil {
			t.Errorf("a copy: %v", err)
		}
	}
}

// killedScene plays a scene in another process that is killed at a step.
func killedScene(t *testing.T, root string, at step, how string) acknowledged {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^$")
	cmd.Env = append(os.Environ(), stepEnv+"="+strings.Join([]string{root, string(at), string(needs[at]), how}, "\n"))
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err == nil || cmd.ProcessState.Exited() {
		t.Fatalf("the child was not killed (%v): nothing in the scene comes to this step", err)
	}
	var a acknowledged
	for lines := bufio.NewScanner(bytes.NewReader(out)); lines.Scan(); {
		if err := json.Unmarshal(lines.Bytes(), &a); err != nil {
			t.Fatalf("the child says %q", lines.Text())
		}
	}
	return a
}

// playUntilKilled is the child of killedScene.
func playUntilKilled(order string) int {
	part := strings.Split(order, "\n")
	root, at, before, how := part[0], step(part[1]), step(part[2]), part[3]
	self, err := os.FindProcess(os.Getpid())
	if err != nil {
		return 1
	}
	d := disk{before: func(s step, part func()) error {
		switch {
		case s == at:
			if how == "half and kill" {
				part()
			}
			_ = self.Kill()
			select {}
		case before == s:
			return errDiskFull
		}
		return nil
	}}
	out := json.NewEncoder(os.Stdout)
	_ = scene(context.Background(), root, d, func(a acknowledged) { _ = out.Encode(a) })
	return 0
}
