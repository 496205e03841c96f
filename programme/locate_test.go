package programme

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"testing"
)

func standard(t testing.TB, o Options) *Programme {
	t.Helper()
	p, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Every part of a seeded replay lies within 0.1 s of the truth: speed off by up to
// 6 %, level by 10 dB, head or tail cut, drop-outs, a dead track, hum.
func TestLocateSeeded(t *testing.T) {
	seeds := 8
	if testing.Short() {
		seeds = 3
	}
	switch os.Getenv("HEADSTACK_LONG") {
	case "":
	case "full":
		seeds = 100
	default:
		seeds = 30
	}
	worst, lost := 0.0, 0
	for seed := range uint64(seeds) {
		rng := rand.New(rand.NewPCG(seed, 0x10ca7e))
		o := Options{Tracks: 3, SpeedCmS: []float64{4.7625, 9.525, 19.05, 38.1}[rng.IntN(4)]}
		if rng.IntN(2) == 0 {
			o.Kinds = Kinds()
		}
		p := standard(t, o)
		ratio := 0.94 + 0.12*rng.Float64()
		lead := 10 * rng.Float64()
		cut, seconds := 0.0, 0.0
		switch rng.IntN(3) {
		case 0:
			cut = lead + 60*rng.Float64()
		case 1:
			seconds = lead + p.Seconds()/ratio*(0.5+0.5*rng.Float64())
		}
		r := play(p, 0, 44100, ratio, lead, cut, seconds, seed)
		level := math.Pow(10, (20*rng.Float64()-10)/20)
		for c := range r.gain {
			r.gain[c] = level
			for range 20 {
				from := rng.Int64N(r.total)
				r.dropouts[c] = append(r.dropouts[c], hole{from, from + rng.Int64N(13000)})
			}
		}
		r.gain[rng.IntN(3)] = 0
		r.dull[rng.IntN(3)] = 0.2 // a corner at 1.5 kHz
		r.hum = 0.003
		name := fmt.Sprintf("seed %d: %g cm/s, ratio %.4f, lead %.1f, cut %.1f, %.1f s", seed, o.SpeedCmS, ratio, lead, cut, seconds)
		total := float64(r.total) / r.rate
		f, err := p.Locate(context.Background(), r, []int{1, 2, 3}, 0)
		if err != nil {
			t.Fatal(name, err)
		}
		if math.Abs(f.SpeedRatio/ratio-1) > 5e-4 {
			t.Errorf("%s: speed ratio %.5f, want %.5f; %v", name, f.SpeedRatio, ratio, f.Warnings)
		}
		for i, got := range f.Parts {
			start := lead - cut + p.Start(i)/ratio
			end := start + p.Parts[i].Seconds/ratio
			start, whole := max(0, start), start > -0.1 && end < total+0.1
			end = min(end, total)
			if end-start < 0.6 {
				if got.Found && end-start < 0.3 {
					t.Errorf("%s: part %q found at %.2f s, it has %.2f s in the capture", name, p.Parts[i].Name, got.StartS, end-start)
				}
				continue
			}
			if !got.Found {
				lost++
				t.Errorf("%s: part %q not found: %s", name, p.Parts[i].Name, got.Reason)
				continue
			}
			off := max(math.Abs(got.StartS-start), math.Abs(got.EndS-end))
			worst = max(worst, off)
			if off > 0.1 {
				t.Errorf("%s: part %q at %.3f to %.3f s, want %.3f to %.3f", name, p.Parts[i].Name, got.StartS, got.EndS, start, end)
			}
			if whole == got.Partial && math.Min(math.Abs(lead-cut+p.Start(i)/ratio), math.Abs(lead-cut+(p.Start(i)+p.Parts[i].Seconds)/ratio-total)) > 0.2 {
				t.Errorf("%s: part %q partial %v, want %v", name, p.Parts[i].Name, got.Partial, !whole)
			}
		}
	}
	t.Logf("%d captures: worst place %.3f s off, %d parts not found", seeds, worst, lost)
}

// A capture of noise, of music, or of hum shows nothing.
func TestLocateNothing(t *testing.T) {
	p := standard(t, Options{Tracks: 2, SpeedCmS: 9.525})
	seeds := uint64(3)
	if testing.Short() {
		seeds = 1
	}
	for seed := range seeds {
		for _, kind := range []string{"noise", "music", "hum"} {
			s := &music{kind: kind, rate: 44100, left: 44100 * 100, rng: rand.New(rand.NewPCG(seed, 3))}
			f, err := p.Locate(context.Background(), s, []int{1, 2}, 0)
			if err != nil {
				t.Fatal(err)
			}
			for i, part := range f.Parts {
				if part.Found || part.Reason == "" {
					t.Errorf("%s, seed %d: part %q found in it (reason %q)", kind, seed, p.Parts[i].Name, part.Reason)
				}
			}
			if f.SpeedRatio != 0 || len(f.Warnings) == 0 {
				t.Errorf("%s: speed ratio %v, warnings %v", kind, f.SpeedRatio, f.Warnings)
			}
		}
	}
}

// music is noise, or chords of decaying notes in noise, or hum.
type music struct {
	kind  string
	rate  float64
	at    int
	left  int
	notes [4]float64
	rng   *rand.Rand
}

func (m *music) Channels() int       { return 2 }
func (m *music) SampleRate() float64 { return m.rate }
func (m *music) Read(dst [][]float64) (int, error) {
	if m.left == 0 {
		return 0, io.EOF
	}
	n := min(len(dst[0]), m.left)
	for i := range n {
		if m.at%20000 == 0 {
			for k := range m.notes {
				m.notes[k] = 110 * math.Exp2(float64(m.rng.IntN(60))/12)
			}
		}
		t, u := float64(m.at)/m.rate, float64(m.at%20000)/20000
		x := 0.001 * m.rng.NormFloat64()
		switch m.kind {
		case "noise":
			x = 0.2 * m.rng.NormFloat64()
		case "hum":
			x += 0.2*math.Sin(2*math.Pi*50*t) + 0.05*math.Sin(2*math.Pi*150*t)
		default:
			for _, hz := range m.notes {
				x += 0.15 * math.Exp(-4*u) * (math.Sin(2*math.Pi*hz*t) + 0.3*math.Sin(4*math.Pi*hz*t))
			}
		}
		dst[0][i], dst[1][i] = x, 0.7*x
		m.at++
	}
	m.left -= n
	return n, nil
}

// A recording that stops before its end: parts beyond are not claimed, though the
// capture goes on.
func TestLocateStopped(t *testing.T) {
	p := standard(t, Options{Tracks: 1, SpeedCmS: 19.05})
	r := play(p, 0, 44100, 1.01, 2, 0, 0, 5)
	end := 0
	for i, part := range p.Parts {
		if part.Name == "two tones" {
			end = i
		}
	}
	stop := int64((2 + p.Start(end)/1.01) * r.rate)
	r.dropouts[0] = []hole{{stop, r.total}}
	r.gain[0] = 1
	f, err := p.Locate(context.Background(), &cutOff{replay: r, at: stop}, []int{1}, 0)
	if err != nil {
		t.Fatal(err)
	}
	for i, got := range f.Parts {
		if got.Found != (i < end) {
			t.Errorf("part %d %q: found %v (%s), the recording ends before part %d", i, p.Parts[i].Name, got.Found, got.Reason, end)
		}
	}
}

// cutOff has nothing but noise from a frame on.
type cutOff struct {
	*replay
	at   int64
	done int64
}

func (c *cutOff) Read(dst [][]float64) (int, error) {
	n, err := c.replay.Read(dst)
	for i := range dst[0][:n] {
		if c.done+int64(i) >= c.at {
			dst[0][i] = 1e-4 * c.rng.NormFloat64()
		}
	}
	c.done += int64(n)
	return n, err
}

func TestLocateRounds(t *testing.T) {
	p := standard(t, Options{Tracks: 4, SpeedCmS: 19.05, TracksPerRound: 2, Kinds: []Kind{Tone, Identity}})
	r := play(p, 1, 44100, 0.99, 1, 0, 0, 5)
	f, err := p.Locate(context.Background(), r, []int{4, 3}, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, got := range f.Parts {
		if want := 1 + p.Start(got.Index)/0.99; !got.Found || math.Abs(got.StartS-want) > 0.1 {
			t.Errorf("part %d: %+v, want at %.2f s", got.Index, got, want)
		}
	}
	for _, c := range []struct {
		channels []int
		round    int
		want     error
	}{{[]int{1, 2}, 1, ErrChannels}, {[]int{1, 0}, 1, ErrChannels}, {[]int{3}, 1, ErrChannels}, {[]int{3, 4}, 2, ErrRound}, {[]int{3, 4}, -1, ErrRound}} {
		r := play(p, 1, 44100, 1, 1, 0, 0, 5)
		if _, err := p.Locate(context.Background(), r, c.channels, c.round); !errors.Is(err, c.want) {
			t.Errorf("channels %v, round %d: error %v, want %v", c.channels, c.round, err, c.want)
		}
	}
}

func TestLocateStops(t *testing.T) {
	p := standard(t, Options{Tracks: 1, SpeedCmS: 19.05})
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := p.Locate(ctx, play(p, 0, 44100, 1, 0, 0, 0, 1), []int{1}, 0); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want %v", err, context.Canceled)
	}
}
