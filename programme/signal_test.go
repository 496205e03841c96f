package programme

import (
	"errors"
	"io"
	"math"
	"math/cmplx"
	"testing"

	"headstack/dsp"
)

// samples reads a stream in blocks of a size.
func samples(t testing.TB, s dsp.Stream, block int) [][]float64 {
	t.Helper()
	out := make([][]float64, s.Channels())
	buf := make([][]float64, s.Channels())
	for c := range buf {
		buf[c] = make([]float64, block)
	}
	for {
		n, err := s.Read(buf)
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil || n < 1 {
			t.Fatalf("%d frames, error %v", n, err)
		}
		for c := range buf {
			out[c] = append(out[c], buf[c][:n]...)
		}
	}
}

// want is a part's sound at one moment, straight from the definition.
func (p *Programme) want(track int, t float64) float64 {
	i := 0
	for i+1 < len(p.Parts) && t >= p.Start(i+1)-1e-9 {
		i++
	}
	part, u := p.Parts[i], t-p.Start(i)
	sum := 0.0
	for _, s := range part.On(track) {
		sum += math.Pow(10, (p.ReferenceDBFS+s.LevelDB)/20) * math.Sin(2*math.Pi*s.Hz*u+s.PhaseDeg*math.Pi/180)
	}
	edge := min(u, part.Seconds-u)
	if part.Kind == Staircase {
		off := math.Abs(math.Remainder(u, part.StepSeconds))
		if k := math.Round(u / part.StepSeconds); k > 0 && k < part.Seconds/part.StepSeconds-1e-9 {
			edge = min(edge, off-MarkSeconds/2)
		}
	}
	switch {
	case edge <= 0:
		return 0
	case edge < RampSeconds:
		sum *= 0.5 - 0.5*math.Cos(math.Pi*edge/RampSeconds)
	}
	return sum
}

// The signal is the sum of sines that the programme says, at every sample, whatever
// the rate and the blocks.
func TestSignalIsTheProgramme(t *testing.T) {
	p := standard(t, Options{Tracks: 3, SpeedCmS: 9.525, Kinds: Kinds(), Rounds: [][]int{{1}, {3, 2}}})
	for _, rate := range []float64{44100, 48000.37} {
		s, err := p.Signal(1, rate)
		if err != nil {
			t.Fatal(err)
		}
		n, known := s.(interface{ Frames() (int64, bool) }).Frames()
		x := samples(t, s, 4999)
		if !known || n != int64(len(x[0])) || len(x) != 2 || math.Abs(float64(n)/rate-p.Seconds()) > 1.001/rate {
			t.Fatalf("%d channels, %d frames, stated %d (%v), want 2 and %.0f", len(x), len(x[0]), n, known, p.Seconds()*rate)
		}
		for k, track := range []int{3, 2} {
			for i := 0; i < len(x[k]); i += 211 {
				if want := p.want(track, float64(i)/rate); math.Abs(x[k][i]-want) > 1e-7 {
					t.Fatalf("rate %v, track %d, %.4f s: got %v, want %v", rate, track, float64(i)/rate, x[k][i], want)
				}
			}
		}
	}
}

func TestSignalNeverClips(t *testing.T) {
	for _, o := range []Options{{Tracks: 2, SpeedCmS: 4.7625, Kinds: Kinds()}, {Tracks: 1, SpeedCmS: 38.1, Kinds: Kinds()}} {
		p := standard(t, o)
		s, err := p.Signal(0, 48000)
		if err != nil {
			t.Fatal(err)
		}
		peak := 0.0
		for _, c := range samples(t, s, 4096)[:1] {
			for _, v := range c {
				peak = max(peak, math.Abs(v))
			}
		}
		if db := 20 * math.Log10(peak); db > -1.9 || db < -2.1 { // -12 dBFS and +10 dB
			t.Errorf("%g cm/s: peak %.2f dBFS, want -2", o.SpeedCmS, db)
		}
	}
}

func TestSignalRefuses(t *testing.T) {
	p := standard(t, Options{Tracks: 2, SpeedCmS: 38.1})
	for _, c := range []struct {
		round int
		rate  float64
		want  error
	}{{1, 48000, ErrRound}, {-1, 48000, ErrRound}, {0, 32000, ErrRate}, {0, 0, ErrRate}, {0, math.NaN(), ErrRate}, {0, 1e9, ErrRate}} {
		if _, err := p.Signal(c.round, c.rate); !errors.Is(err, c.want) {
			t.Errorf("round %d, %g Hz: error %v, want %v", c.round, c.rate, err, c.want)
		}
	}
	if _, err := (&Programme{}).Signal(0, 48000); err == nil {
		t.Error("an empty programme has a signal")
	}
}

// At 38 cm/s all third-octaves stand in the comb; its peak is as low as said.
func TestCombPeak(t *testing.T) {
	p := standard(t, Options{Tracks: 1, SpeedCmS: 38.1, Kinds: []Kind{Comb}})
	for i, part := range p.Parts {
		if part.Kind != Comb {
			continue
		}
		if len(part.All) != 28 {
			t.Errorf("%d tones, want 28 third-octaves from 31.5 Hz to 16 kHz", len(part.All))
		}
		for k, s := range part.All {
			// ISO 266 / IEC 61260-1: mid-bands 1000·10^(n/10) Hz.
			if exact := 1000 * math.Pow(10, float64(k-15)/10); math.Abs(s.Hz/exact-1) > 0.04 {
				t.Errorf("tone %g Hz is %.1f %% off the third-octave %g Hz", s.Hz, 100*(s.Hz/exact-1), exact)
			}
			for _, o := range part.All[:k] {
				for n := 2.0; n <= 5; n++ {
					if math.Abs(n*o.Hz-s.Hz) < 2.5 {
						t.Errorf("harmonic %g of %g Hz falls on %g Hz", n, o.Hz, s.Hz)
					}
				}
			}
		}
		s, err := p.Signal(0, 65536)
		if err != nil {
			t.Fatal(err)
		}
		x := samples(t, s, 8192)[0]
		from := int(p.Start(i)*65536) + 6554
		peak, square := 0.0, 0.0
		for _, v := range x[from : from+2*65536] {
			peak, square = max(peak, math.Abs(v)), square+v*v/(2*65536)
		}
		if crest := peak / math.Sqrt(square); crest > 3.95 {
			t.Errorf("peak is %.3f of r.m.s., want 3.94", crest)
		}
	}
}

// The tall peaks of an identity tone point up; of a reversed track down; and the angle
// tells, whatever the delay.
func TestIdentityPolarity(t *testing.T) {
	hz := IdentityHz(3, 6)
	for _, delay := range []float64{0, 1e-5, 3.3e-4, 0.0271} {
		for _, sign := range []float64{1, -1} {
			var one, two complex128
			high, low := 0.0, 0.0
			const n, rate = 48000, 48000.0
			for i := range n {
				u := 2 * math.Pi * hz * (float64(i)/rate - delay)
				x := sign * (math.Sin(u) + math.Pow(10, (identitySecondDB-identityDB)/20)*math.Sin(2*u+secondPhaseDeg*math.Pi/180))
				high, low = max(high, x), min(low, x)
				w := 2 * math.Pi * hz * float64(i) / rate
				one += complex(x, 0) * cmplx.Rect(1, -w)
				two += complex(x, 0) * cmplx.Rect(1, -2*w)
			}
			deg := func(z complex128) float64 { return cmplx.Phase(z*1i) * 180 / math.Pi }
			reversed, sure := Reversed(IdentityPhase(deg(one), deg(two)))
			if reversed != (sign < 0) || !sure {
				t.Errorf("sign %v, delay %v: reversed %v, sure %v", sign, delay, reversed, sure)
			}
			if (high > -low) != (sign > 0) {
				t.Errorf("sign %v: peaks at %.2f and %.2f", sign, high, low)
			}
		}
	}
	if _, sure := Reversed(10); sure {
		t.Error("an angle of 10° is sure")
	}
}

// No identity tone is near another, nor near any harmonic or product of two up to the
// third order: by trying all.
func TestIdentityTones(t *testing.T) {
	for tracks := 1; tracks <= MaxTracks; tracks++ {
		least := map[bool]float64{true: 60, false: 20}[tracks <= 8]
		if tracks > 16 {
			least = 6.5
		}
		f := make([]float64, tracks)
		for i := range f {
			if f[i] = IdentityHz(i+1, tracks); f[i] < 300 || f[i] > 3000 {
				t.Errorf("%d tracks: tone %d is %v Hz", tracks, i+1, f[i])
			}
		}
		clear := func(product float64, what ...any) {
			for i, g := range f {
				if math.Abs(product-g) < least {
					t.Errorf("%d tracks: %v = %v Hz is near tone %d of %v Hz", tracks, what, product, i+1, g)
				}
			}
		}
		for i, a := range f {
			clear(2*a, "2·", i+1)
			clear(3*a, "3·", i+1)
			for j, b := range f {
				if i == j {
					continue
				}
				if math.Abs(a-b) < 3*least {
					t.Errorf("%d tracks: tones %d and %d are %v Hz apart", tracks, i+1, j+1, math.Abs(a-b))
				}
				clear(a+b, i+1, "+", j+1)
				clear(math.Abs(a-b), i+1, "-", j+1)
				clear(2*a+b, "2·", i+1, "+", j+1)
				clear(math.Abs(2*a-b), "2·", i+1, "-", j+1)
			}
		}
	}
	for _, c := range [][2]int{{0, 4}, {5, 4}, {1, 33}} {
		if hz := IdentityHz(c[0], c[1]); hz != 0 {
			t.Errorf("track %d of %d has %v Hz", c[0], c[1], hz)
		}
	}
}

func TestErasePass(t *testing.T) {
	p := standard(t, Options{Tracks: 4, SpeedCmS: 19.05, TracksPerRound: 2})
	e, err := p.ErasePass(1, 48000)
	if err != nil {
		t.Fatal(err)
	}
	part := p.Parts[e.Part]
	if part.Kind != Erase || e.Part != len(p.Parts)-1 || e.FromS-e.StartS != part.Seconds/2 || math.Abs(e.ToS-p.Seconds()) > 1e-9 {
		t.Errorf("erase pass %+v, want the second half of the last part", e)
	}
	x := samples(t, e.Silence, 1000)
	if len(x) != 2 || float64(len(x[0]))/48000 < e.ToS-e.FromS {
		t.Errorf("%d channels, %d frames of silence", len(x), len(x[0]))
	}
	for _, v := range x[1] {
		if v != 0 {
			t.Fatal("silence is not")
		}
	}
	for _, c := range []struct {
		p     *Programme
		round int
		rate  float64
		want  error
	}{{p, 2, 48000, ErrRound}, {p, 0, -1, ErrRate}, {standard(t, Options{Tracks: 1, SpeedCmS: 19.05, Kinds: []Kind{Comb}}), 0, 48000, ErrNoErase}} {
		if _, err := c.p.ErasePass(c.round, c.rate); !errors.Is(err, c.want) {
			t.Errorf("error %v, want %v", err, c.want)
		}
	}
}

// Cutting the blocks otherwise changes nothing but rounding.
func TestSignalBlocks(t *testing.T) {
	p := standard(t, Options{Tracks: 2, SpeedCmS: 9.525, Kinds: []Kind{Identity}})
	read := func(block int) [][]float64 {
		s, err := p.Signal(0, 40000)
		if err != nil {
			t.Fatal(err)
		}
		return samples(t, s, block)
	}
	want := read(4096)
	for _, block := range []int{7, 1024, 100000} {
		got := read(block)
		for c := range want {
			if len(got[c]) != len(want[c]) {
				t.Fatalf("blocks of %d: %d frames, want %d", block, len(got[c]), len(want[c]))
			}
			for i, v := range want[c] {
				if math.Abs(got[c][i]-v) > 1e-10 {
					t.Fatalf("blocks of %d, frame %d: %v, want %v", block, i, got[c][i], v)
				}
			}
		}
	}
}
