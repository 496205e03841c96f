package live

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.uber.org/goleak"

	"headstack/capture"
	"headstack/dsp"
	"headstack/machine"
	"headstack/measure"
	"headstack/sim"
	"headstack/testtape"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// tapeOf is a built-in tape with sections of a share of their lengths.
func tapeOf(t testing.TB, name string, share float64) *testtape.Tape {
	t.Helper()
	tape, err := testtape.Builtin(name)
	if err != nil {
		t.Fatal(err)
	}
	for i := range tape.Sections {
		tape.Sections[i].Seconds *= share
	}
	return tape
}

// played is a simulated replay with interleaved frames.
type played struct {
	tape   *testtape.Tape
	def    *machine.Definition
	rate   int
	frames []float32
	n      int // channels
	truth  sim.Truth
}

// play renders a recorder with flutter, noise, an azimuth error and one dull track, all its tracks.
func play(t testing.TB, machineName, tapeName string, share float64, change func(*sim.Scenario)) played {
	t.Helper()
	def, ok := machine.Builtin(machineName)
	if !ok {
		t.Fatalf("no machine %q", machineName)
	}
	p := played{tape: tapeOf(t, tapeName, share), def: def, n: def.Tracks.Count}
	sc := sim.Perfect(p.tape, def.Geometry())
	sc.SampleRate, sc.SpeedErrorPercent, sc.AzimuthArcmin, sc.Seed = 48000, 0.6, 3, 5
	sc.LeadInS, sc.GapS, sc.TailS = 2, 0.4, 2
	sc.RandomFlutter = sim.RandomFlutter{RMSPercent: 0.04, LowHz: 0.5, HighHz: 60}
	for i := range sc.Tracks {
		sc.Tracks[i].Noise = &sim.Noise{LevelDBFS: -62}
	}
	sc.Tracks[3].SpacingUm = 1
	if change != nil {
		change(&sc)
	}
	var m sim.Memory
	var err error
	if p.truth, err = m.Render(t.Context(), sc); err != nil {
		t.Fatal(err)
	}
	p.rate = sc.SampleRate
	s, _, _ := m.Open()
	p.n = s.Channels()
	block := make([][]float64, p.n)
	for c := range block {
		block[c] = make([]float64, 4096)
	}
	for {
		k, err := s.Read(block)
		if err != nil {
			return p
		}
		for i := range k {
			for c := range block {
				p.frames = append(p.frames, float32(block[c][i]))
			}
		}
	}
}

func (p played) config(t testing.TB) Config {
	return Config{SampleRate: p.rate, Channels: p.n, Folder: t.TempDir(), Name: "tape",
		Expect: Expect{Tape: p.tape, Machine: p.def, Case: measure.CaseClosed}}
}

// push writes frames in blocks of odd lengths.
func push(t testing.TB, s *Session, frames []float32) {
	t.Helper()
	n := s.cfg.Channels
	for k := 700; len(frames) > 0; k = (k*7+13)%9000 + 1 {
		m := min(k*n, len(frames))
		if err := s.Write(frames[:m]); err != nil {
			t.Fatal(err)
		}
		frames = frames[m:]
	}
}

func begin(t testing.TB, cfg Config) *Session {
	t.Helper()
	s, err := Start(cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// measured is what `headstack measure` makes of a file.
func measured(t testing.TB, p played, path string) measure.Report {
	t.Helper()
	tracks := make([]int, p.n)
	for c := range tracks {
		tracks[c] = c + 1
	}
	rep, err := measure.TestTape(t.Context(), []measure.Source{{Name: path, Tracks: tracks, Open: func() (dsp.Stream, func() error, error) {
		r, err := capture.Open(path)
		if err != nil {
			return nil, nil, err
		}
		return r, r.Close, nil
	}}}, measure.Options{Tape: p.tape, Geometry: p.def.Geometry(), Case: measure.CaseClosed})
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// checkFigures: every figure of the state equals that of the report of the file.
func checkFigures(t *testing.T, st State, rep measure.Report, levelTol float64) (compared int) {
	t.Helper()
	tols := map[string]float64{"dBFS": levelTol, "dB": levelTol, "%": 0.002, "µs": 0.1, "arcmin": 0.05}
	all := slices.Clone(st.Azimuth)
	if st.Speed != nil {
		all = append(all, *st.Speed)
	}
	for _, s := range st.Sections {
		all = append(all, s.Figures...)
	}
	for _, got := range all {
		i := slices.IndexFunc(rep.Measures, func(r measure.Result) bool {
			return r.Name == got.Name && r.Section == got.Section && r.Track == got.Track && r.TrackB == got.TrackB
		})
		if i < 0 {
			t.Errorf("the file has no %s of track %d in %q", got.Name, got.Track, got.Section)
			continue
		}
		want := rep.Measures[i]
		tol := tols[got.Unit]
		if (got.Refused == "") != (want.Refused == "") || math.Abs(got.Value-want.Value) > tol || math.Abs(got.Lo-want.Lo) > tol || math.Abs(got.Hi-want.Hi) > tol {
			t.Errorf("%s of track %d, %d in %q: %.4f (%.4f to %.4f) %s live, %.4f (%.4f to %.4f) of the file; refused %q, %q",
				got.Name, got.Track, got.TrackB, got.Section, got.Value, got.Lo, got.Hi, got.Unit, want.Value, want.Lo, want.Hi, got.Refused, want.Refused)
		}
		compared++
	}
	return compared
}

// TestFollowsTape: pushed faster than real time, a simulated replay is kept bit for bit, its sections
// are found, and the figures are those that measuring the file gives.
func TestFollowsTape(t *testing.T) {
	p := play(t, "hexastrand", "pendle-brook-cassette", 0.5, nil)
	s := begin(t, p.config(t))
	push(t, s, p.frames)
	kept, err := s.Close()
	if err != nil {
		t.Fatal(err)
	}
	checkKept(t, kept, p.frames, p.n)
	st := s.State()
	if st.SHA256 != kept.SHA256 || st.Phase != PhaseClosed || st.LateS != 0 || len(st.Voids) != 0 {
		t.Errorf("at the end: hash %q, phase %q, %g s late, voids %v, warnings %q", st.SHA256, st.Phase, st.LateS, st.Voids, st.Warnings)
	}
	for i, x := range st.Sections {
		want := p.truth.Sections[i]
		tol := 0.1
		if x.ToneHz == 0 {
			tol = 0.5 // silence and the blank tape on either side sound the same
		}
		if x.Stage != Heard || math.Abs(x.StartS-want.StartS) > tol || math.Abs(x.EndS-want.EndS) > tol || x.Voided {
			t.Errorf("%q is %s from %.2f to %.2f s (%s), want heard from %.2f to %.2f", x.Name, x.Stage, x.StartS, x.EndS, x.Reason, want.StartS, want.EndS)
		}
		if x.Enough == (x.Lacks != "") {
			t.Errorf("%q: enough %v, lacks %q", x.Name, x.Enough, x.Lacks)
		}
	}
	rep := measured(t, p, kept.Path)
	if n := checkFigures(t, st, rep, 1e-6); n < 6*9*3 {
		t.Errorf("only %d figures were compared", n)
	}
	// 10 s of the speed tone are half of what the default wants, and 0.9 of the section is enough.
	if !st.Enough {
		for _, x := range st.Sections {
			t.Errorf("%q lacks %s", x.Name, x.Lacks)
		}
	}
}

// checkKept: the file holds the frames bit for bit under its hash.
func checkKept(t testing.TB, k Kept, frames []float32, channels int) {
	t.Helper()
	if int64(len(frames)/channels) != k.Frames {
		t.Errorf("%d frames kept of %d", k.Frames, len(frames)/channels)
	}
	if got := hashOf(t, k.Path); got != k.SHA256 {
		t.Errorf("the file's hash is %s, said %s", got, k.SHA256)
	}
	r, err := capture.Open(k.Path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if n, known := r.Frames(); n != k.Frames || !known || len(r.Warnings()) > 0 {
		t.Errorf("the header says %d frames (%v), warnings %q", n, known, r.Warnings())
	}
	checkSamples(t, r, frames)
}

func checkSamples(t testing.TB, r *capture.Reader, frames []float32) (got int) {
	t.Helper()
	n := r.Channels()
	block := make([][]float64, n)
	for c := range block {
		block[c] = make([]float64, 4096)
	}
	for {
		k, err := r.Read(block)
		if err != nil {
			return got
		}
		for i := range k {
			for c := range block {
				if want := frames[(got+i)*n+c]; math.Float32bits(float32(block[c][i])) != math.Float32bits(want) {
					t.Fatalf("frame %d of channel %d is %v, want %v", got+i, c+1, block[c][i], want)
				}
			}
		}
		got += k
	}
}

// TestRunning: in steps of a second of the tape, each section is seen to run with figures that close in on
// those of the file.
func TestRunning(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without goroutines of its own")
	}
	p := play(t, "hexastrand", "pendle-brook-cassette", 0.5, func(sc *sim.Scenario) { sc.Channels = []int{1, 6} })
	cfg := p.config(t)
	cfg.Expect.Tracks = []int{1, 6}
	s := begin(t, cfg)
	f := &follower{}
	running, seen := map[string]int{}, 0
	frames := p.frames
	for len(frames) > 0 {
		m := min(p.rate*p.n, len(frames))
		push(t, s, frames[:m])
		frames = frames[m:]
		// A round of its own at a known place beside those by the clock.
		if f.s == nil {
			g, err := newFollower(s)
			if err != nil {
				t.Fatal(err)
			}
			f = g
		}
		if err := f.round(t.Context(), false); err != nil {
			t.Fatal(err)
		}
		for _, x := range f.sections {
			if x.Stage == Running && len(x.Figures) > 0 {
				running[x.Name]++
				for _, r := range x.Figures {
					if r.Name == "level" && r.Refused == "" {
						want := levelOf(t, p.truth, r.Track, x.Index)
						if math.Abs(r.Value-want) > 0.15+(r.Hi-r.Lo) {
							t.Errorf("at %.1f s %q reads %.3f (%.3f to %.3f) dBFS on track %d, true %.3f", f.search.Seconds(), x.Name, r.Value, r.Lo, r.Hi, r.Track, want)
						}
						seen++
					}
				}
			}
		}
	}
	if len(running) < 9 || seen < 40 {
		t.Errorf("seen running with figures: %v, %d levels", running, seen)
	}
}

func levelOf(t testing.TB, truth sim.Truth, track, section int) float64 {
	t.Helper()
	if v, ok := truth.Find("level", track, 0, truth.Sections[section].Name); ok {
		return v
	}
	t.Fatalf("no true level of track %d in section %d", track, section)
	return 0
}

// slipped pushes a replay with frames dropped (above 0) or repeated (below) at a second of it, and gives
// the voids.
func slipped(t *testing.T, p played, atS []float64, by []int) (State, Kept) {
	t.Helper()
	s := begin(t, p.config(t))
	from := 0
	for i, a := range atS {
		at := int(a * float64(p.rate))
		push(t, s, p.frames[from*p.n:at*p.n])
		from = at + by[i]
	}
	push(t, s, p.frames[from*p.n:])
	k, err := s.Close()
	if err != nil {
		t.Fatal(err)
	}
	return s.State(), k
}

// TestSlips: samples dropped and repeated in every tone of the tape are found, at their place,
// and the figures are those without them.
func TestSlips(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without goroutines of its own")
	}
	p := play(t, "hexastrand", "pendle-brook-cassette", 0.5, nil)
	for _, by := range []int{480, 1024, 37, -480, -1024, -37} {
		t.Run(fmt.Sprint(by), func(t *testing.T) {
			var at []float64
			var bys, where []int
			for i, sec := range p.tape.Sections {
				if sec.ToneHz > 0 && missesPhase(sec.ToneHz*1.006, by, p.rate) {
					at = append(at, p.truth.Sections[i].StartS+1.2)
					bys, where = append(bys, by), append(where, i)
				}
			}
			st, _ := slipped(t, p, at, bys)
			shift := 0.
			for i, a := range at {
				a -= shift
				hit := slices.ContainsFunc(st.Voids, func(v Void) bool { return v.FromS < a+0.02 && v.ToS > a-0.02 && v.Channel == 0 })
				if !hit {
					t.Errorf("a slip of %d frames in %q at %.3f s was not seen", by, p.tape.Sections[where[i]].Name, a)
				} else if !st.Sections[where[i]].Voided {
					t.Errorf("%q is not called voided", p.tape.Sections[where[i]].Name)
				}
				shift += float64(by) / float64(p.rate)
			}
			if len(st.Voids) != len(at) {
				t.Errorf("%d voids for %d slips: %+v", len(st.Voids), len(at), st.Voids)
			}
			for _, v := range st.Voids {
				if by <= -480 && v.Frames != int64(by) { // shorter ones hide behind the edge
					t.Errorf("the slip at %.2f s is said to be of %d frames, want %d: %s", v.FromS, v.Frames, by, v.Reason)
				}
			}
			for _, x := range st.Sections {
				for _, r := range x.Figures {
					if r.Name == "level" && r.Refused == "" {
						if want := levelOf(t, p.truth, r.Track, x.Index); math.Abs(r.Value-want) > 0.1+(r.Hi-r.Lo)/2 {
							t.Errorf("level of track %d in %q is %.3f beside a slip, true %.3f", r.Track, x.Name, r.Value, want)
						}
					}
				}
			}
		})
	}
}

// missesPhase: a slip of so many frames moves the phase of a tone by 0.25 rad or more.
func missesPhase(hz float64, by, rate int) bool {
	return math.Abs(wrap(2*math.Pi*hz*float64(by)/float64(rate))) > 0.25
}

// TestNoSlips: a worn recorder with flicker, drop-outs, hum and more flutter is no slip, on any track.
func TestNoSlips(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without goroutines of its own")
	}
	p := play(t, "hexastrand", "pendle-brook-cassette", 0.5, func(sc *sim.Scenario) {
		sc.RandomFlutter.RMSPercent = 0.25
		sc.Tracks[1].Flicker = sim.Flicker{DepthDB: 4, RateHz: 2, TrebleOnly: true}
		sc.Tracks[2].Flicker = sim.Flicker{DepthDB: 3, RateHz: 2.6}
		for _, at := range []float64{4, 9, 14, 25, 33, 41} {
			sc.Tracks[0].DropOuts = append(sc.Tracks[0].DropOuts, sim.DropOut{AtS: at, LengthS: 0.08, DepthDB: 15})
		}
		sc.Tracks[4].Hum = &sim.Hum{LevelDBFS: -55, HarmonicsDB: []float64{-10, -4}}
		sc.Tracks[5].Noise = &sim.Noise{LevelDBFS: -40}
	})
	s := begin(t, p.config(t))
	push(t, s, p.frames)
	if _, err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if v := s.State().Voids; len(v) > 0 {
		t.Errorf("%d voids in a capture without slips: %+v", len(v), v)
	}
}

// TestKilled: the file of a session that never ended is read, and mended to what a session that ended
// would have left.
func TestKilled(t *testing.T) {
	p := play(t, "hexastrand", "pendle-brook-cassette", 0.05, func(sc *sim.Scenario) { sc.Channels = []int{1, 6, 2} })
	cfg := p.config(t)
	cfg.Expect = Expect{}
	s := begin(t, cfg)
	push(t, s, p.frames)
	for _, cut := range []int{0, 5, 12 * 100} {
		whole, err := os.ReadFile(s.State().File)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(t.TempDir(), "killed.wav")
		if err := os.WriteFile(path, whole[:len(whole)-cut], 0o666); err != nil {
			t.Fatal(err)
		}
		want := len(p.frames)/3 - (cut+11)/12
		if r, err := capture.Open(path); err != nil {
			t.Fatal(err)
		} else {
			if got := checkSamples(t, r, p.frames); got != want {
				t.Errorf("cut by %d bytes, %d frames are read, want %d", cut, got, want)
			}
			r.Close()
		}
		m, err := Mend(path)
		if err != nil || !m.Changed || m.Frames != int64(want) || m.CutOff != int64((12-cut%12)%12) {
			t.Errorf("cut by %d bytes: mended %+v, %v, want %d frames", cut, m, err, want)
		}
		checkKept(t, Kept{Path: path, SHA256: hashOf(t, path), Frames: int64(want)}, p.frames[:want*3], 3)
		if again, err := Mend(path); err != nil || again.Changed || again.Frames != int64(want) {
			t.Errorf("mended twice: %+v, %v", again, err)
		}
	}
	k, err := s.Close()
	if err != nil {
		t.Fatal(err)
	}
	checkKept(t, k, p.frames, 3)
}

// TestMendLong: a file that was killed beyond 4 GiB becomes RF64. It is a sparse one: nothing of it is read.
func TestMendLong(t *testing.T) {
	s := begin(t, Config{SampleRate: 96000, Channels: 8, Folder: t.TempDir(), Name: "long"})
	const frames = 140_000_000
	path := s.State().File
	if err := os.Truncate(path, int64(len(s.file.head))+frames*32+7); err != nil {
		t.Skipf("no room for a sparse file of 4.5 GB: %v", err)
	}
	m, err := Mend(path)
	if err != nil || m.Frames != frames || m.CutOff != 7 || !m.Changed {
		t.Fatalf("mended %+v, %v", m, err)
	}
	r, err := capture.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if n, known := r.Frames(); n != frames || !known || r.Info().Format != capture.RF64 || len(r.Warnings()) > 0 {
		t.Errorf("%s of %d frames (%v), warnings %q", r.Info(), n, known, r.Warnings())
	}
	if again, err := Mend(path); err != nil || again.Changed {
		t.Errorf("mended twice: %+v, %v", again, err)
	}
	os.Remove(path) // Close would read 4.5 GB of nothing for its hash
	s.file.file = &nowhere{}
}

func TestMendRefuses(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notes.wav")
	if err := os.WriteFile(path, []byte("reel 4, side A, heads cleaned\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := Mend(path); err == nil || !strings.Contains(err.Error(), "not a capture") {
		t.Errorf("mending a text gives %v", err)
	}
	if b, _ := os.ReadFile(path); string(b) != "reel 4, side A, heads cleaned\n" {
		t.Errorf("the text is now %q", b)
	}
}
