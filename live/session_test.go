package live

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"sync"
	"syscall"
	"testing"
	"time"
)

func hashOf(t testing.TB, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:])
}

// sines are interleaved frames of one tone a channel in noise.
func sines(rate, channels int, seconds, hz, noise float64) []float32 {
	rng := rand.New(rand.NewPCG(3, 4))
	x := make([]float32, channels*int(seconds*float64(rate)))
	for i := range x {
		x[i] = float32(0.3*math.Sin(2*math.Pi*hz*float64(i/channels)/float64(rate)) + noise*rng.NormFloat64())
	}
	return x
}

// full is a file on a disk with room for so many bytes.
type full struct {
	*os.File
	room int
}

func (f *full) Write(b []byte) (int, error) {
	n := min(len(b), f.room)
	f.room -= n
	k, err := f.File.Write(b[:n])
	if err == nil && n < len(b) {
		err = syscall.ENOSPC
	}
	return k, err
}

// TestDiskFull: it is said at once, what fitted is kept to the last whole frame, and the file is in order.
func TestDiskFull(t *testing.T) {
	x := sines(48000, 2, 4, 1000, 0.001)
	path := t.TempDir() + "/full.wav"
	f, err := create(path)
	if err != nil {
		t.Fatal(err)
	}
	s, err := start(Config{SampleRate: 48000, Channels: 2, Folder: "-", Name: "-"}, path, &full{f.(*os.File), 500_003}, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	var failed *FileError
	for at := 0; at < len(x) && err == nil; at += 9600 {
		err = s.Write(x[at : at+9600])
	}
	if !errors.As(err, &failed) || !errors.Is(err, syscall.ENOSPC) || failed.Hint() == "" {
		t.Fatalf("the error is %v", err)
	}
	if st := s.State(); st.Phase != PhaseFailed || st.Error == "" {
		t.Errorf("phase %q, error %q", st.Phase, st.Error)
	}
	if again := s.Write(x[:2]); !errors.Is(again, syscall.ENOSPC) {
		t.Errorf("the next Write gives %v", again)
	}
	s.file.file.(*full).room = 100 // for the lengths in the header: they are overwritten in place
	k, err := s.Close()
	if !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("Close gives %v", err)
	}
	if want := int64(500_003-len(s.file.head)) / 8; k.Frames != want || k.SHA256 == "" {
		t.Errorf("%d frames kept, want %d; hash %q", k.Frames, want, k.SHA256)
	}
	checkKept(t, k, x[:k.Frames*2], 2)
}

// TestNothingOverwritten: a name that is taken, or is none, is refused.
func TestNames(t *testing.T) {
	dir := t.TempDir()
	cfg := Config{SampleRate: 48000, Channels: 1, Folder: dir, Name: "a.WAV"}
	s := begin(t, cfg)
	if _, err := Start(cfg); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a second capture under one name gives %v", err)
	}
	for _, name := range []string{"", ".", "..", "../x", `a\b`, "x/y", ".hidden"} {
		cfg.Name = name
		if _, err := Start(cfg); err == nil {
			t.Errorf("%q is taken as a name", name)
		}
	}
	for _, c := range []Config{{Channels: 1, Name: "b"}, {SampleRate: 48000, Name: "b"}, {SampleRate: 48000, Channels: 2, Name: "b", Expect: Expect{Tracks: []int{1}}}} {
		c.Folder = dir
		if _, err := Start(c); err == nil {
			t.Errorf("%+v is taken", c)
		}
	}
	if e, _ := os.ReadDir(dir); len(e) != 1 {
		t.Errorf("%d files are left, want the one", len(e))
	}
	if err := s.Write(make([]float32, 3)); err != nil {
		t.Error(err)
	}
	k, _ := s.Close()
	if err := s.Write(make([]float32, 3)); !errors.Is(err, ErrClosed) || k.Frames != 3 {
		t.Errorf("after Close: %v, %d frames", err, k.Frames)
	}
	if again, err := s.Close(); err != nil || again.SHA256 != k.SHA256 {
		t.Errorf("closed twice: %v", err)
	}
}

// TestLevels: levels, clipping, a silent channel, a sample that is no number and a gap of zeros.
func TestLevels(t *testing.T) {
	x := sines(48000, 3, 6, 997, 1e-4)
	n := 3
	for i := 0; i < len(x); i += n {
		x[i+2] = 0 // dead
	}
	for _, at := range []int{10000, 20000} { // 5 samples flat at full scale
		for i := range 5 {
			x[(at+i)*n] = 1
		}
	}
	x[30000*n+1] = float32(math.NaN())
	for i := 40000 * n; i < 40960*n; i++ {
		x[i] = 0
	}
	s := begin(t, Config{SampleRate: 48000, Channels: n, Folder: t.TempDir(), Name: "x"})
	push(t, s, x)
	k, err := s.Close()
	if err != nil {
		t.Fatal(err)
	}
	st := s.State()
	want := 20 * math.Log10(0.3)
	a, dead := st.Channels[0], st.Channels[2]
	if math.Abs(a.RMSDBFS-want) > 0.02 || math.Abs(a.PeakDBFS-want) > 0.05 || a.MaxPeakDBFS != 0 {
		t.Errorf("levels %+v, want %.3f", a, want)
	}
	if a.Clipped != 10 || len(a.ClippedAtS) != 2 || math.Abs(a.ClippedAtS[1]-20000./48000) > 1e-6 || st.Channels[1].Clipped != 0 {
		t.Errorf("clipping: %+v", a)
	}
	if !dead.Silent || a.Silent || dead.RMSDBFS != FloorDB {
		t.Errorf("silence: %+v, %+v", dead, a)
	}
	var number, zeros, other int
	for _, v := range k.Voids {
		switch {
		case v.FromS < 30000./48000 && v.ToS > 30000./48000 && v.Frames == 0:
			number++
		case v.FromS < 40000./48000 && v.ToS > 40960./48000 && v.Frames == 960:
			zeros++
		default:
			other++
		}
	}
	// The tone also jumps into and out of the zeros; that lies in the same void.
	if number != 1 || zeros != 1 || other > 1 {
		t.Errorf("voids: %+v", k.Voids)
	}
	x[30000*n+1] = 0
	checkKept(t, k, x, n)
	if _, err := json.Marshal(st); err != nil {
		t.Error(err)
	}
}

// TestGapsOfZeros: a gap is seen where the tone crosses zero at both of its ends, at any place, across
// the blocks in which the sound comes; a tone that fades into silence and out of it is none.
func TestGapsOfZeros(t *testing.T) {
	const rate, hz = 44100, 1000 // 441 frames are ten periods
	for _, c := range []struct {
		name     string
		from, to int // frames of zeros
		fade     bool
		want     int64
	}{
		{"between zero crossings", 13230, 13671, false, 441},
		{"off them", 13241, 13700, false, 459},
		{"short", 13230, 13262, false, 32},
		{"too short", 13230, 13250, false, 0},
		{"faded", 13230, 17640, true, 0},
	} {
		x := make([]float32, rate)
		for i := range x {
			a := 0.025
			if c.fade {
				a *= min(1, math.Abs(float64(max(c.from-i, i-c.to, 0)))/8820)
			}
			if i < c.from || i >= c.to {
				x[i] = float32(a * math.Sin(2*math.Pi*hz*float64(i)/rate))
			}
		}
		for _, block := range []int{1, 64, 441, 1000} {
			w := newWatch(rate, 1)
			var got []Void
			planar := [][]float64{make([]float64, block)}
			for i := 0; i < len(x); i += block {
				n := min(block, len(x)-i)
				for k := range n {
					planar[0][k] = float64(x[i+k])
				}
				w.hear(planar, n)
				got = append(got, w.gaps()...)
			}
			if c.want == 0 && len(got) > 0 || c.want > 0 && (len(got) != 1 || got[0].Frames != c.want || got[0].FromS > float64(c.from)/rate || got[0].ToS < float64(c.to)/rate) {
				t.Errorf("%s, blocks of %d: %+v", c.name, block, got)
			}
		}
	}
}

// TestClock: a device that loses frames is found out by the clock, one that is merely late now and then
// is not.
func TestClock(t *testing.T) {
	for _, c := range []struct {
		name       string
		lose       int // frames, at 15 s
		stall      float64
		ppm        float64
		wantFrames int64
	}{
		{"steady", 0, 0, 0, 0},
		{"fast crystal", 0, 0, 150, 0},
		{"slow crystal", 0, 0, -150, 0},
		{"stalls and catches up", 0, 1.5, 0, 0},
		{"loses 50 ms", 2400, 0, 100, 2400},
		{"loses 300 ms", 14400, 0, -100, 14400},
	} {
		k := newClock(48000)
		rng := rand.New(rand.NewPCG(1, 2))
		begun := time.Unix(1000, 0)
		var voids []Void
		sent := int64(0)
		for ms := 0; ms < 60_000; ms += 10 {
			now := float64(ms) / 1000
			if c.stall > 0 && now > 15 && now < 15+c.stall || rng.Float64() < 0.3 {
				continue // delivered late, with the next
			}
			due := int64(now * 48000 * (1 + c.ppm*1e-6))
			if now > 15 {
				due -= int64(c.lose)
			}
			sent = max(sent, due)
			if v, ok := k.came(begun.Add(time.Duration(ms)*time.Millisecond), sent); ok {
				voids = append(voids, v)
			}
		}
		if c.wantFrames == 0 {
			if len(voids) > 0 {
				t.Errorf("%s: %+v", c.name, voids)
			}
			continue
		}
		if len(voids) != 1 || math.Abs(float64(voids[0].Frames-c.wantFrames)) > 240 || voids[0].FromS > 15 || voids[0].ToS < 15-0.3 {
			t.Errorf("%s: %+v", c.name, voids)
		}
	}
}

// TestWait: one who waits is told of changes, in order, and of the end.
func TestWait(t *testing.T) {
	s := begin(t, Config{SampleRate: 48000, Channels: 2, Folder: t.TempDir(), Name: "x"})
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			last := uint64(0)
			for {
				st, err := s.Wait(t.Context(), last)
				if err != nil || st.Phase == PhaseClosed {
					if err != nil || st.Frames != 96000 || st.SHA256 == "" {
						t.Errorf("at the end: %v, %+v", err, st)
					}
					return
				}
				if st.Seq <= last {
					t.Errorf("Seq %d after %d", st.Seq, last)
				}
				last = st.Seq
			}
		})
	}
	push(t, s, sines(48000, 2, 2, 440, 0.01))
	ctx, stop := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer stop()
	if _, err := s.Wait(ctx, s.State().Seq); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("waiting for nothing gives %v", err)
	}
	s.Missed(480, "the source says that it lost 480 frames")
	if st := s.State(); st.VoidCount != 1 || st.Voids[0].Frames != 480 || math.Abs(st.Voids[0].FromS-1.9) > 1e-6 {
		t.Errorf("missed frames: %+v", st.Voids)
	}
	if _, err := s.Close(); err != nil {
		t.Error(err)
	}
	wg.Wait()
}
