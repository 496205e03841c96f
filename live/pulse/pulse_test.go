package pulse_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"headstack/capture"
	"headstack/dsp"
	"headstack/live"
	"headstack/live/pulse"
	"headstack/machine"
	"headstack/measure"
	"headstack/sim"
	"headstack/testtape"
)

// server runs a sound server of its own with one sink of eight channels.
func server(t *testing.T) {
	t.Helper()
	program, err := exec.LookPath("pulseaudio")
	if err == nil {
		_, err = exec.LookPath("pacat")
	}
	if err != nil {
		if os.Getenv("HEADSTACK_NEED_TOOLS") == "1" {
			t.Fatal("no pulseaudio or pacat, and HEADSTACK_NEED_TOOLS=1 asks for them; install Debian's pulseaudio and pulseaudio-utils")
		}
		t.Skip("NOT CHECKED: no pulseaudio or pacat (Debian's pulseaudio and pulseaudio-utils), so nothing was captured from a sound server")
	}
	dir, err := os.MkdirTemp("", "ps") // a socket's path must be short
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	socket := filepath.Join(dir, "s")
	cmd := exec.Command(program, "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--disable-shm=yes", "--high-priority=no",
		"--load=module-native-protocol-unix auth-anonymous=1 socket="+socket,
		"--load=module-null-sink sink_name=bench format=float32le rate=48000 channels=8 channel_map=aux0,aux1,aux2,aux3,aux4,aux5,aux6,aux7")
	cmd.Env = append(os.Environ(), "HOME="+dir, "XDG_RUNTIME_DIR="+dir, "PULSE_RUNTIME_PATH="+dir, "PULSE_STATE_PATH="+dir)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	t.Setenv("PULSE_SERVER", "unix:"+socket)
	t.Setenv("PULSE_COOKIE", filepath.Join(dir, "cookie"))
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		if d, err := pulse.Devices(); err == nil && len(d) > 0 {
			return
		} else if time.Now().After(end) {
			t.Fatalf("the sound server does not come up: %v", err)
		}
	}
}

// heard plays samples to the sound server and captures them from it.
func heard(t *testing.T, expect live.Expect, want []float32) (live.Kept, live.State) {
	t.Helper()
	src, err := pulse.Open(pulse.Options{Device: "bench.monitor"})
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	if src.Channels() != 8 || src.SampleRate() != 48000 || len(src.Warnings()) > 0 {
		t.Fatalf("%d channels at %d Hz, warnings %q", src.Channels(), src.SampleRate(), src.Warnings())
	}
	s, err := live.Start(live.Config{SampleRate: 48000, Channels: 8, Folder: t.TempDir(), Name: "x", Clocked: true, Expect: expect})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	go func() {
		defer stop()
		time.Sleep(300 * time.Millisecond)
		if err := playTo(t.Context(), want); err != nil {
			t.Errorf("playing: %v", err)
		}
		time.Sleep(500 * time.Millisecond)
	}()
	if err := src.Run(ctx, s); err != nil {
		t.Fatal(err)
	}
	k, err := s.Close()
	if err != nil {
		t.Fatal(err)
	}
	return k, s.State()
}

// TestEightChannels: a simulated replay of eight tracks goes through a sound server in real time, arrives bit
// for bit, and is measured live as measuring the rendered samples says.
func TestEightChannels(t *testing.T) {
	server(t)
	tape, err := testtape.Builtin("carrow-fell-open-reel")
	if err != nil {
		t.Fatal(err)
	}
	tape.Sections = tape.Sections[:3]
	for i := range tape.Sections {
		tape.Sections[i].Seconds = 3
	}
	def, _ := machine.Builtin("octogrange")
	sc := sim.Perfect(tape, def.Geometry())
	sc.SampleRate, sc.LeadInS, sc.GapS, sc.TailS, sc.Seed = 48000, 0.5, 0.2, 0.5, 9
	for i := range sc.Tracks {
		sc.Tracks[i].Noise, sc.Tracks[i].GainDB = &sim.Noise{LevelDBFS: -70}, -0.3*float64(i)
	}
	var m sim.Memory
	if _, err := m.Render(t.Context(), sc); err != nil {
		t.Fatal(err)
	}
	want := interleaved(t, &m)

	// A machine that has no time for its sound server loses samples on the way. Then the
	// session says so, and it is played again; what is lost without a word fails.
	var st live.State
	for try := 1; ; try++ {
		var k live.Kept
		k, st = heard(t, live.Expect{Tape: tape, Machine: def}, want)
		same, of := bitExact(t, k.Path, want)
		t.Logf("%d of %d frames bit for bit; %.1f s captured; voids %+v", same, of, k.Seconds, st.Voids)
		if same >= of-480 && st.VoidCount == 0 {
			break
		}
		if same < of-480 && st.VoidCount == 0 {
			t.Fatalf("%d of %d frames arrived bit for bit, and no word of it", same, of)
		}
		if try == 4 {
			t.Fatal("this machine lost sound four times")
		}
	}
	tracks := []int{1, 2, 3, 4, 5, 6, 7, 8}
	rep, err := measure.TestTape(t.Context(), []measure.Source{{Name: "rendered", Tracks: tracks, Open: m.Open}}, measure.Options{Tape: tape, Geometry: def.Geometry()})
	if err != nil {
		t.Fatal(err)
	}
	levels, worst := 0, 0.
	for _, sec := range st.Sections {
		for _, r := range sec.Figures {
			i := slices.IndexFunc(rep.Measures, func(x measure.Result) bool {
				return x.Name == r.Name && x.Section == r.Section && x.Track == r.Track && x.TrackB == r.TrackB
			})
			if r.Name != "level" || i < 0 {
				continue
			}
			levels++
			worst = max(worst, math.Abs(r.Value-rep.Measures[i].Value))
		}
	}
	t.Logf("%d levels, at most %.5f dB from those of the rendered samples", levels, worst)
	if levels != 24 || worst > 0.02 {
		t.Errorf("%d levels, the worst %.4f dB off, want 24 within 0.02 dB", levels, worst)
	}
}

func interleaved(t *testing.T, m *sim.Memory) []float32 {
	s, _, _ := m.Open()
	var out []float32
	eachBlock(s, func(x [][]float64, n int) {
		for i := range n {
			for c := range x {
				out = append(out, float32(x[c][i]))
			}
		}
	})
	return out
}

func eachBlock(s dsp.Stream, f func(x [][]float64, n int)) {
	x := make([][]float64, s.Channels())
	for c := range x {
		x[c] = make([]float64, 4096)
	}
	for {
		n, err := s.Read(x)
		if err != nil {
			return
		}
		f(x, n)
	}
}

// playTo plays frames to the sink, 100 ms of silence before them: the server may lose the start.
func playTo(ctx context.Context, frames []float32) error {
	raw := make([]byte, 4*8*4800, 4*8*4800+4*len(frames))
	for _, x := range frames {
		raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(x))
	}
	cmd := exec.CommandContext(ctx, "pacat", "--playback", "--raw", "--device=bench", "--format=float32le", "--rate=48000", "--channels=8",
		"--channel-map=aux0,aux1,aux2,aux3,aux4,aux5,aux6,aux7", "--no-remap", "--no-remix", "--latency-msec=500")
	cmd.Stdin = bytes.NewReader(raw)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%w: %s", err, out)
	}
	return nil
}

// bitExact counts the frames of a file that are those played, from the first one on.
func bitExact(t *testing.T, path string, want []float32) (same, of int) {
	t.Helper()
	r, err := capture.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var got []float32
	eachBlock(r, func(x [][]float64, n int) {
		for i := range n {
			for c := range x {
				got = append(got, float32(x[c][i]))
			}
		}
	})
	start := -1
	for i := 0; i+8 <= len(got) && start < 0; i += 8 {
		if got[i] == want[0] && got[i+1] == want[1] && got[i+7] == want[7] {
			start = i
		}
	}
	if start < 0 {
		return 0, len(want) / 8
	}
	for i := 0; i+8 <= min(len(want), len(got)-start); i += 8 {
		if slices.Equal(got[start+i:start+i+8], want[i:i+8]) {
			same++
		}
	}
	return same, len(want) / 8
}

// TestWrong: no server, no such device, too many channels.
func TestWrong(t *testing.T) {
	t.Setenv("PULSE_SERVER", "unix:/nonexistent/socket")
	if _, err := pulse.Devices(); err == nil || err.(interface{ Hint() string }).Hint() == "" {
		t.Errorf("without a server: %v", err)
	}
	server(t)
	for _, o := range []pulse.Options{{Device: "nothing"}, {Device: "bench.monitor", Channels: 9}} {
		if s, err := pulse.Open(o); err == nil {
			s.Close()
			t.Errorf("%+v opens", o)
		}
	}
	d, err := pulse.Devices()
	if err != nil || len(d) != 1 || d[0].ID != "bench.monitor" || d[0].Channels != 8 || d[0].SampleRate != 48000 {
		t.Errorf("devices: %+v, %v", d, err)
	}
}
