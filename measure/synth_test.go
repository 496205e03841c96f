package measure

import (
	"context"
	"io"
	"math"
	"math/rand/v2"
	"testing"

	"headstack/dsp"
	"headstack/tape"
	"headstack/testtape"
	"headstack/unit"
)

// synth is a played test tape made of formulas: phase of the recorded tone at the
// place on the tape that passes the gap, plus noise. It shares nothing with the code
// under test.
type synth struct {
	rate   float64
	tape   *testtape.Tape
	tracks int
	speed  float64 // measured over nominal
	lines  []flutterLine
	amp    func(track, section int) float64 // peak
	behind []float64                        // per track: distance behind track 1 over nominal tape speed, s
	late   []float64                        // per track: time later than track 1, s
	invert []bool
	noise  float64                            // r.m.s., white over the whole band
	add    func(track int, t float64) float64 // anything else
	follow float64                            // level rises by follow·wobble (a 6 dB/octave slope is 1)
	seed   uint64
}

// flutterLine is one sinusoid of the tape speed, relative.
type flutterLine struct {
	hz, amp, phase float64
	cos0, dc, ds   float64 // kept by render
}

// flutterOf draws wow and flutter of the given r.m.s. as several sinusoids with
// random rates from 0.3 to 30 Hz and random phases.
func flutterOf(r *rand.Rand, rms float64) []flutterLine {
	n := 4 + r.IntN(5)
	ls := make([]flutterLine, n)
	sum := 0.0
	for i := range ls {
		ls[i] = flutterLine{hz: 0.3 * math.Pow(100, r.Float64()), amp: 0.3 + r.Float64(), phase: 2 * math.Pi * r.Float64()}
		sum += ls[i].amp * ls[i].amp / 2
	}
	for i := range ls {
		ls[i].amp *= rms / math.Sqrt(sum)
	}
	return ls
}

// motion steps through the tape's position by recurrence, set anew every 512 samples
// so that rounding does not grow.
type motion struct {
	s     *synth
	shift float64 // seconds
	i     int
	re    []float64
	im    []float64
}

// next returns tape position over nominal speed, in seconds, at the next sample, and
// the relative deviation of the speed.
func (m *motion) next() (u, wobble float64) {
	ls := m.s.lines
	t := float64(m.i)/m.s.rate - m.shift
	if m.i%512 == 0 {
		m.re, m.im = make([]float64, len(ls)), make([]float64, len(ls))
		for k, l := range ls {
			m.im[k], m.re[k] = math.Sincos(2*math.Pi*l.hz*t + l.phase)
		}
	}
	m.i++
	u = t
	for k, l := range ls {
		u -= l.amp / (2 * math.Pi * l.hz) * (m.re[k] - l.cos0)
		wobble += l.amp * m.im[k]
		m.re[k], m.im[k] = m.re[k]*l.dc-m.im[k]*l.ds, m.re[k]*l.ds+m.im[k]*l.dc
	}
	return u * m.s.speed, wobble
}

// stream is the capture as a dsp.Stream, and the places of its sections.
func (s *synth) render() (*memory, finding) {
	r := rand.New(rand.NewPCG(s.seed, 0x5eed))
	m := &memory{rate: s.rate, ch: make([][]float64, s.tracks)}
	f := finding{ratio: s.speed}
	n := 0
	for _, sec := range s.tape.Sections {
		n += int(sec.Seconds / s.speed * s.rate)
	}
	for k := range m.ch {
		m.ch[k] = make([]float64, n)
	}
	for k := range s.lines {
		l := &s.lines[k]
		l.cos0 = math.Cos(l.phase)
		l.ds, l.dc = math.Sincos(2 * math.Pi * l.hz / s.rate)
	}
	on := &motion{s: s}
	late := make([]*motion, s.tracks)
	for k := range s.late {
		late[k] = &motion{s: s, shift: s.late[k]}
	}
	pos := 0
	for i, sec := range s.tape.Sections {
		len := int(sec.Seconds / s.speed * s.rate)
		f.places = append(f.places, place{index: i, found: true, startS: float64(pos) / s.rate, endS: float64(pos+len) / s.rate})
		for j := pos; j < pos+len; j++ {
			t := float64(j) / s.rate
			u0, wob := on.next()
			for k := range s.tracks {
				x := 0.0
				u := u0
				if late[k] != nil {
					u, _ = late[k].next()
				}
				if sec.ToneHz > 0 {
					if s.behind != nil {
						u -= s.behind[k]
					}
					cycles := sec.ToneHz * u
					x = s.amp(k, i) * math.Sin(2*math.Pi*(cycles-math.Floor(cycles))) * (1 + s.follow*wob)
					if s.invert != nil && s.invert[k] {
						x = -x
					}
				}
				if s.noise > 0 {
					x += s.noise * r.NormFloat64()
				}
				if s.add != nil {
					x += s.add(k, t)
				}
				m.ch[k][j] = x
			}
		}
		pos += len
	}
	return m, f
}

// memory is a capture in memory.
type memory struct {
	rate  float64
	ch    [][]float64
	pos   int
	chunk int // frames per read at most, 0 any
}

func (m *memory) Channels() int       { return len(m.ch) }
func (m *memory) SampleRate() float64 { return m.rate }
func (m *memory) Read(dst [][]float64) (int, error) {
	n := min(len(dst[0]), len(m.ch[0])-m.pos)
	if m.chunk > 0 {
		n = min(n, m.chunk)
	}
	if n == 0 {
		return 0, io.EOF
	}
	for c := range dst {
		copy(dst[c][:n], m.ch[c][m.pos:])
	}
	m.pos += n
	return n, nil
}

func (m *memory) source(name string, tracks ...int) Source {
	if tracks == nil {
		for c := range m.ch {
			tracks = append(tracks, c+1)
		}
	}
	return Source{Name: name, Tracks: tracks, Open: func() (dsp.Stream, func() error, error) {
		return &memory{rate: m.rate, ch: m.ch, chunk: m.chunk}, nil, nil
	}}
}

// locator finds the sections of a tape in a stream.
type locator func(ctx context.Context, s dsp.Stream, t *testtape.Tape) (finding, error)

// measureTape is TestTape with the locator given.
func measureTape(ctx context.Context, sources []Source, opt Options, find locator) (Report, error) {
	return measureRounds(ctx, sources, opt, []round{{find: func(ctx context.Context, _ Source, s dsp.Stream) (finding, error) { return find(ctx, s, opt.Tape) }}})
}

// known is a locator that has been told.
func known(f finding) locator {
	return func(context.Context, dsp.Stream, *testtape.Tape) (finding, error) { return f, nil }
}

// tapeOf makes a per-track test tape at 9.525 cm/s with the reference tone first.
func tapeOf(seconds float64, tones ...float64) *testtape.Tape {
	t := &testtape.Tape{Format: 1, Name: "test", SpeedCmS: 9.525, TrackLayout: testtape.PerTrack}
	t.Reference = testtape.Reference{FluxivityNWbM: 250, ToneHz: 315, Convention: "short-circuit"}
	t.EqualisationUs = testtape.Equalisation{High: 70}
	for i, f := range tones {
		t.Sections = append(t.Sections, testtape.Section{Name: string(rune('a' + i)), ToneHz: f, Seconds: seconds})
	}
	return t
}

// heads is a head of n tracks, 0.62 mm apart.
func heads(n int) tape.Geometry {
	g := tape.Geometry{TapeWidth: 3.81e-3}
	for i := range n {
		g.Tracks = append(g.Tracks, tape.TrackPlace{Centre: unit.Metre(0.3e-3 + 0.62e-3*float64(i)), Width: 0.38e-3})
	}
	return g
}

func constant(a float64) func(int, int) float64 { return func(int, int) float64 { return a } }

// run measures a synthetic capture whose places are known.
func (s *synth) run(t testing.TB) Report {
	t.Helper()
	m, f := s.render()
	rep, err := measureTape(context.Background(), []Source{m.source("synthetic")}, Options{Tape: s.tape, Geometry: heads(s.tracks)}, known(f))
	if err != nil {
		t.Fatalf("measuring: %v", err)
	}
	return rep
}

// get returns the one result asked for.
func get(t testing.TB, rep Report, name, section string, track, trackB int) Result {
	t.Helper()
	for _, r := range rep.Measures {
		if r.Name == name && r.Section == section && r.Track == track && r.TrackB == trackB {
			return r
		}
	}
	t.Fatalf("no %s of track %d, %d in section %q", name, track, trackB, section)
	return Result{}
}
