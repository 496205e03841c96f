package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/coder/websocket"

	"headstack/capture"
	"headstack/halfmade"
	"headstack/job"
	"headstack/store"
)

// TestKilledUnderLoad serves a bench by the program itself, gives it entries, captures,
// photographs, backups and the sound of a live capture at once, kills it at a moment that
// chance chooses, also while it starts, and starts it again on the same folder. After each
// kill everything acknowledged is there with its hash, nothing half-made is to be seen, and
// copies and backups that were finished are whole.
func TestKilledUnderLoad(t *testing.T) {
	if testing.Short() {
		t.Skip("short: the program is not killed over and over")
	}
	const seed = 20310417
	rounds := 20
	if os.Getenv("HEADSTACK_LONG") == "full" {
		rounds = 500
	}
	var n tortureCount
	began := time.Now()
	for bench := uint64(0); n.kills < rounds; bench++ {
		x := newTorture(t, seed, bench)
		// A new bench now and then, for one that has grown takes longer to look through than to kill.
		for round := range min(25, rounds-n.kills) {
			// At default length what 20 s allow: a busy machine kills less often, not longer.
			if rounds == 20 && round >= 5 && time.Since(began) > 20*time.Second {
				rounds = round
				break
			}
			x.round(round)
			x.check(false)
			if t.Failed() {
				t.Fatalf("round %d on bench %d of seed %d", round, bench, seed)
			}
		}
		x.check(true)
		n.add(x.count)
		t.Logf("%v: %d kills, %d of them while starting: acknowledged were %d entries (%d captures, %d photographs), %d backups and %.1f s of live sound in %d captures; %d copies of the day were whole; lost 0",
			time.Since(began).Round(time.Second), n.kills, n.starting, n.entries, n.captures, n.photographs, n.backups, n.soundS, n.live, n.copies)
		if t.Failed() {
			t.Fatalf("bench %d of seed %d", bench, seed)
		}
		_ = os.RemoveAll(x.root)
	}
	if n.entries < 2*rounds || n.captures == 0 || n.photographs == 0 || n.starting == 0 || n.copies == 0 || rounds >= 100 && (n.backups == 0 || n.live == 0) {
		t.Error("the kills came too early to show anything")
	}
}

// tortureCount is what was done and acknowledged.
type tortureCount struct {
	kills, starting, entries, captures, photographs, backups, copies, live int
	soundS                                                                 float64
}

func (n *tortureCount) add(m tortureCount) {
	n.kills, n.starting, n.entries, n.captures, n.photographs = n.kills+m.kills, n.starting+m.starting, n.entries+m.entries, n.captures+m.captures, n.photographs+m.photographs
	n.backups, n.copies, n.live, n.soundS = n.backups+m.backups, n.copies+m.copies, n.live+m.live, n.soundS+m.soundS
}

// told is an entry that was acknowledged.
type told struct {
	Seq        int64
	Job        string
	Kind       job.Kind
	Remark     string
	Capture    *struct{ SHA256 string }
	Photograph *struct{ SHA256 string }
}

type torture struct {
	t                     *testing.T
	program, root, folder string
	tape                  string
	rng                   *rand.Rand
	started               time.Duration // that the last start took

	mu      sync.Mutex
	entries map[int64]told
	fresh   []told // since the last check
	backups map[string]int
	whole   map[string]bool // files that were looked through
	days    int
	heard   struct {
		job, file string
		frames    int64 // acknowledged by the state of the capture
	}
	count tortureCount
}

func newTorture(t *testing.T, seed, bench uint64) *torture {
	program, err := exec.LookPath("headstack")
	if err != nil {
		t.Fatal(err)
	}
	root, err := os.MkdirTemp("/dev/shm", "headstack-torture-*") // a kill loses nothing that a file system has taken
	if err != nil {
		root = t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(root) })
	x := &torture{t: t, program: program, root: root, folder: filepath.Join(root, "bench"), tape: "pendle-brook-cassette", rng: rand.New(rand.NewPCG(seed, bench)),
		entries: map[int64]told{}, backups: map[string]int{}, whole: map[string]bool{}}
	return x
}

// command is the program, killed when ctx ends.
func (x *torture) command(ctx context.Context, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, x.program, args...)
	cmd.Env = append(os.Environ(), "HEADSTACK_BENCH="+x.folder, "TMPDIR="+x.root)
	return cmd
}

// round starts the program, loads it and kills it.
func (x *torture) round(n int) {
	x.t.Helper()
	x.ageCopy()
	ctx, kill := context.WithCancel(x.t.Context())
	defer kill()
	var said strings.Builder
	cmd := x.command(ctx, "serve", "--port", "0")
	cmd.Stderr = &said
	out, err := cmd.StdoutPipe()
	if err != nil {
		x.t.Fatal(err)
	}
	begin := time.Now()
	if err := cmd.Start(); err != nil {
		x.t.Fatal(err)
	}
	x.count.kills++
	if n > 0 && x.rng.IntN(5) == 0 {
		x.count.starting++
		time.Sleep(time.Duration(x.rng.Float64() * float64(x.started)))
		kill()
		_ = cmd.Wait()
		return
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	url := regexp.MustCompile(`http://[^ /]*`).FindString(line)
	if err != nil || url == "" {
		x.t.Fatalf("it says %q, %q, %v", line, said.String(), err)
	}
	x.started = time.Since(begin)
	x.load(ctx, kill, url+"/api/v1", n)
	if err := cmd.Wait(); err == nil || cmd.ProcessState.Exited() {
		x.t.Errorf("it was not killed: %v, %q", err, said.String())
	}
}

// ageCopy makes today's copy of the record one of a day long ago, so that each start makes
// one and, in time, removes the oldest.
func (x *torture) ageCopy() {
	list, _ := filepath.Glob(filepath.Join(x.folder, "backups", "bench-day-2*.db"))
	for _, path := range list {
		dir := x.t.TempDir()
		data, err := os.ReadFile(path)
		if err != nil {
			x.t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "bench.db"), data, 0o644); err != nil {
			x.t.Fatal(err)
		}
		v, err := store.Verify(x.t.Context(), dir)
		v.Problems = slices.DeleteFunc(v.Problems, func(p string) bool { return strings.Contains(p, " is gone: the file of ") }) // they are in the bench
		if err != nil || len(v.Problems) > 0 || v.Entries == 0 {
			x.t.Errorf("the copy of the day: %+v, %v", v, err)
		}
		x.days++
		x.count.copies++
		if err := os.Rename(path, filepath.Join(filepath.Dir(path), fmt.Sprintf("bench-day-1900%04d.db", x.days))); err != nil {
			x.t.Fatal(err)
		}
	}
}

// load sends all kinds of work at once, and kills the program some time after the first
// acknowledgement.
func (x *torture) load(ctx context.Context, kill func(), api string, n int) {
	c := &caller{ctx: ctx, api: api, t: x.t, client: &http.Client{Transport: &http.Transport{}}}
	defer c.client.CloseIdleConnections()
	var opened struct{ ID string }
	if !c.post("/jobs", "application/json", js(map[string]any{"definition": "hexastrand", "serial": fmt.Sprint(n)}), &opened) {
		x.t.Fatal("no job could be opened")
	}
	x.keepHeard(c)
	id := opened.ID
	// Up to as long as a start takes: that tells how fast the machine is just now.
	after := 30*time.Millisecond + time.Duration(x.rng.Float64()*float64(x.started))
	var once sync.Once
	acked := func(e told) {
		x.mu.Lock()
		x.entries[e.Seq] = e
		x.fresh = append(x.fresh, e)
		x.count.entries++
		x.mu.Unlock()
		once.Do(func() { time.AfterFunc(after, kill) })
	}
	var w sync.WaitGroup
	loop := func(do func(i int) bool) {
		w.Go(func() {
			for i := 0; ctx.Err() == nil && do(i); i++ {
			}
		})
	}
	for k := range 2 {
		loop(func(i int) bool {
			var e told
			ok := c.post("/jobs/"+id+"/notes", "application/json", js(map[string]any{"text": fmt.Sprintf("note %d of writer %d in round %d", i, k, n)}), &e)
			if ok {
				acked(e)
			}
			return ok
		})
	}
	loop(func(i int) bool {
		var e told
		ok := c.post(fmt.Sprintf("/jobs/%s/photographs?name=%d.png&layer=closed&caption=photograph+%d+of+round+%d", id, i, i, n), "image/png", snapshot(n, i), &e)
		if ok {
			acked(e)
			x.count.photographs++
		}
		return ok
	})
	loop(func(i int) bool {
		var a struct{ Entry told }
		ok := c.post(fmt.Sprintf("/jobs/%s/captures?name=%d.wav&tape=%s&tracks=1,2&remark=capture+%d+of+round+%d", id, i, x.tape, i, n), "audio/wav", sound(n, i), &a)
		if ok {
			acked(a.Entry)
			x.count.captures++
		}
		return ok
	})
	loop(func(i int) bool {
		x.mu.Lock()
		had := len(x.entries)
		x.mu.Unlock()
		file := filepath.Join(x.root, fmt.Sprintf("backup-%d-%d.zip", n, i))
		said, err := x.command(ctx, "backup", file).CombinedOutput()
		if err != nil && ctx.Err() == nil {
			x.t.Errorf("backup: %v: %s", err, said)
		}
		if err == nil {
			x.mu.Lock()
			x.backups[file] = had
			x.count.backups++
			x.mu.Unlock()
		}
		return err == nil
	})
	w.Go(func() { x.listen(ctx, c, id) })
	w.Wait()
}

// caller calls the program until it is killed.
type caller struct {
	ctx    context.Context
	t      *testing.T
	api    string
	client *http.Client
}

// post tells whether the call was acknowledged; into takes the answer.
func (c *caller) post(path, kind string, body []byte, into any) bool {
	return c.call("POST", path, kind, body, http.StatusCreated, into)
}

func (c *caller) call(method, path, kind string, body []byte, want int, into any) bool {
	r, err := http.NewRequestWithContext(c.ctx, method, c.api+path, bytes.NewReader(body))
	if err != nil {
		c.t.Error(err)
		return false
	}
	r.Header.Set("Content-Type", kind)
	res, err := c.client.Do(r)
	if err != nil {
		if c.ctx.Err() == nil {
			c.t.Errorf("%s: %v", path, err)
		}
		return false
	}
	defer res.Body.Close()
	data, err := io.ReadAll(res.Body)
	if err == nil && res.StatusCode != want {
		c.t.Errorf("%s: %s: %s", path, res.Status, data)
		return false
	}
	return err == nil && json.Unmarshal(data, into) == nil
}

func js(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return b
}

// snapshot is a PNG of its own.
func snapshot(n, i int) []byte {
	m := image.NewNRGBA(image.Rect(0, 0, 40, 30))
	for k := range 40 * 30 {
		m.SetNRGBA(k%40, k/40, color.NRGBA{byte(n), byte(n >> 8), byte(i + k), 255})
	}
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		panic(err)
	}
	return b.Bytes()
}

// sound is a short WAV file of its own, with nothing of a tape on it.
func sound(n, i int) []byte {
	const frames = 2000
	b := []byte("RIFF\x00\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x02\x00\x80\xbb\x00\x00\x00\xee\x02\x00\x04\x00\x10\x00data")
	b = binary.LittleEndian.AppendUint32(b, 4*frames)
	for k := range frames {
		b = binary.LittleEndian.AppendUint32(b, uint32(n)<<20^uint32(i)<<10^uint32(k))
	}
	binary.LittleEndian.PutUint32(b[4:], uint32(len(b)-8))
	return b
}

// heardSample is what the live capture is given.
func heardSample(frame int64) float32 { return float32(frame%8191) / 16384 }

// listen gives the program the sound of a browser, and notes how much of it the program says
// to have.
func (x *torture) listen(ctx context.Context, c *caller, id string) {
	var h struct{ Sound, File string }
	if !c.post("/jobs/"+id+"/listening", "application/json", js(map[string]any{"via": "browser", "sample_rate": 48000, "tape": x.tape, "tracks": "1,2"}), &h) {
		return
	}
	ws, _, err := websocket.Dial(ctx, strings.Replace(strings.TrimSuffix(c.api, "/api/v1"), "http", "ws", 1)+h.Sound, nil)
	if err != nil {
		if ctx.Err() == nil {
			x.t.Errorf("the way of the sound: %v", err)
		}
		return
	}
	defer ws.CloseNow() //nolint:errcheck // the program is dead by then
	const frames = 4096
	for n := uint32(0); ; n++ {
		b := binary.LittleEndian.AppendUint32(nil, n)
		b = binary.LittleEndian.AppendUint32(b, frames)
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(float64(n)*frames))
		for range 2 {
			for k := range frames {
				b = binary.LittleEndian.AppendUint32(b, math.Float32bits(heardSample(int64(n)*frames+int64(k))))
			}
		}
		if ws.Write(ctx, websocket.MessageBinary, b) != nil {
			return
		}
		var a struct {
			Heard *struct{ State struct{ Frames int64 } }
		}
		if !c.call("GET", "/jobs/"+id+"/listening", "application/json", nil, http.StatusOK, &a) || a.Heard == nil {
			return
		}
		x.mu.Lock()
		x.heard.job, x.heard.file, x.heard.frames = id, h.File, a.Heard.State.Frames
		x.mu.Unlock()
		select {
		case <-time.After(frames * time.Second / 48000):
		case <-ctx.Done():
			return
		}
	}
}

// keepHeard keeps the sound that the last kill cut off, and wants it to be what was sent.
func (x *torture) keepHeard(c *caller) {
	h := x.heard
	x.heard.job = ""
	if h.job == "" || h.frames == 0 {
		return
	}
	var a struct{ Entry told }
	if !c.post("/jobs/"+h.job+"/listening/keep", "application/json", js(map[string]any{"file": h.file}), &a) {
		x.t.Errorf("%s cannot be kept", h.file)
		return
	}
	x.entries[a.Entry.Seq] = a.Entry
	x.fresh = append(x.fresh, a.Entry)
	x.count.entries++
	r, err := capture.Open(filepath.Join(x.folder, "captures", a.Entry.Capture.SHA256))
	if err != nil {
		x.t.Error(err)
		return
	}
	defer r.Close()
	block, at := [][]float64{make([]float64, 4096), make([]float64, 4096)}, int64(0)
	for {
		n, err := r.Read(block)
		for k := range n {
			if want := float64(heardSample(at + int64(k))); block[0][k] != want || block[1][k] != want {
				x.t.Errorf("frame %d of %s: %v and %v, sent was %v", at+int64(k), h.file, block[0][k], block[1][k], want)
				return
			}
		}
		at += int64(n)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			x.t.Error(err)
			return
		}
	}
	if at < h.frames {
		x.t.Errorf("%s has %d frames, acknowledged were %d", h.file, at, h.frames)
	}
	x.count.live++
	x.count.soundS += float64(h.frames) / 48000
}

// check opens the folder that the kill left and holds it against what was acknowledged: since
// the last check, or with all everything.
func (x *torture) check(all bool) {
	t := x.t
	t.Helper()
	s, err := store.Open(x.folder, store.Options{})
	if err != nil {
		t.Error(err)
		return
	}
	want := x.fresh
	if all {
		want = nil
		for _, e := range x.entries {
			want = append(want, e)
		}
	}
	x.fresh = nil
	kept := map[string][]job.Entry{}
	for _, e := range want {
		if kept[e.Job] == nil {
			if kept[e.Job], err = s.Entries(t.Context(), e.Job); err != nil {
				t.Error(err)
			}
		}
		i := slices.IndexFunc(kept[e.Job], func(k job.Entry) bool { return k.Seq == e.Seq })
		if i < 0 {
			t.Errorf("entry %d, %s %q, was acknowledged and is gone", e.Seq, e.Kind, e.Remark)
			continue
		}
		k, sha := kept[e.Job][i], ""
		switch {
		case k.Kind != e.Kind || k.Remark != e.Remark:
			t.Errorf("entry %d is %s %q, acknowledged was %s %q", e.Seq, k.Kind, k.Remark, e.Kind, e.Remark)
		case k.Capture != nil:
			if sha = k.Capture.SHA256; e.Capture == nil || e.Capture.SHA256 != sha {
				t.Errorf("entry %d is of file %s", e.Seq, sha)
			}
		case k.Photograph != nil:
			if sha = k.Photograph.SHA256; e.Photograph == nil || e.Photograph.SHA256 != sha {
				t.Errorf("entry %d is of file %s", e.Seq, sha)
			}
		}
		if sha != "" && !x.whole[sha] {
			if f, err := s.Open(t.Context(), sha); err != nil {
				t.Errorf("the file of entry %d: %v", e.Seq, err)
			} else {
				_ = f.Close()
				x.whole[sha] = true
			}
		}
	}
	list, err := os.ReadDir(filepath.Join(x.folder, "captures"))
	if err != nil {
		t.Error(err)
	}
	for _, e := range list {
		if name := e.Name(); !x.whole[name] {
			f, err := s.Open(t.Context(), name)
			if err != nil {
				t.Errorf("%s in the captures folder: %v", name, err)
				continue
			}
			_ = f.Close()
			x.whole[name] = true
		}
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	x.checkBackups()
	if all {
		x.checkNumbers()
	}
}

// checkNumbers looks through every byte, and for a number that is missing.
func (x *torture) checkNumbers() {
	v, err := store.Verify(x.t.Context(), x.folder)
	if err != nil || len(v.Problems) > 0 {
		x.t.Errorf("%+v, %v", v, err)
	}
	if v.Entries < len(x.entries) {
		x.t.Errorf("%d entries are kept, %d were acknowledged", v.Entries, len(x.entries))
	}
	for seq := range x.entries {
		if seq > int64(v.Entries) {
			x.t.Errorf("entry %d of %d: a number was left out", seq, v.Entries)
		}
	}
}

// checkBackups wants each backup that has a name to be whole and to have what was
// acknowledged before it was begun; and removes it.
func (x *torture) checkBackups() {
	list, err := filepath.Glob(filepath.Join(x.root, "backup-*.zip"))
	if err != nil {
		x.t.Fatal(err)
	}
	for _, path := range list {
		data, err := os.ReadFile(path)
		if err != nil {
			x.t.Fatal(err)
		}
		dir := filepath.Join(x.root, "restored")
		if _, err := store.Restore(x.t.Context(), bytes.NewReader(data), int64(len(data)), dir); err != nil {
			x.t.Errorf("%s: %v", path, err)
			continue
		}
		if v, err := store.Verify(x.t.Context(), dir); err != nil || len(v.Problems) > 0 || v.Entries < x.backups[path] {
			x.t.Errorf("%s: %+v, %v; %d entries were acknowledged before", path, v, err, x.backups[path])
		}
		if err := errors.Join(os.RemoveAll(dir), os.Remove(path)); err != nil {
			x.t.Fatal(err)
		}
		delete(x.backups, path)
	}
	if len(x.backups) > 0 {
		x.t.Errorf("backups that were made are gone: %v", x.backups)
		clear(x.backups)
	}
	if _, _, err := halfmade.Clear(x.root, time.Now().Add(2*halfmade.Rest)); err != nil { // of backups that were killed
		x.t.Error(err)
	}
	if parts, _ := filepath.Glob(filepath.Join(x.root, ".headstack-*")); len(parts) > 0 {
		x.t.Errorf("left of backups that were killed, and not known as such: %v", parts)
	}
}
