package capture_test

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"

	"pgregory.net/rapid"

	"headstack/capture"
)

// TestConformanceWriter: what the Writer writes passes the suite.
func TestConformanceWriter(t *testing.T) {
	for _, s := range written {
		for _, shape := range []struct{ channels, frames int }{{1, 1}, {1, 501}, {2, 700}, {8, 6000}, {256, 3}} {
			s.SampleRate = 88200
			t.Run(fmt.Sprintf("%s %d/%dx%d", s.Encoding, s.Bits, shape.channels, shape.frames), func(t *testing.T) {
				sig := testSignal(shape.channels, shape.frames, 41)
				file, err := os.ReadFile(write(t, s, sig))
				if err != nil {
					t.Fatal(err)
				}
				conform(t, file, quantised(s, sig), 0, capture.Info{Format: capture.WAV, Encoding: s.Encoding, Bits: s.Bits,
					Channels: shape.channels, SampleRate: 88200})
			})
		}
	}
}

// TestRoundTrip: any samples in any pieces come back quantised.
func TestRoundTrip(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(written).Draw(t, "spec")
		s.Channels, s.SampleRate = rapid.IntRange(1, 5).Draw(t, "channels"), rapid.IntRange(1, capture.MaxSampleRate).Draw(t, "rate")
		sig := planar(s.Channels, rapid.IntRange(1, 300).Draw(t, "frames"))
		for c := range sig {
			for i := range sig[c] {
				sig[c][i] = rapid.Float64Range(-1, 1).Draw(t, "x")
			}
		}
		f, err := os.Create(filepath.Join(dir, "x.wav"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		w, err := capture.NewWriter(f, s)
		if err != nil {
			t.Fatal(err)
		}
		for at, n := 0, len(sig[0]); at < n; {
			k := rapid.IntRange(0, n-at).Draw(t, "piece")
			part := make([][]float64, s.Channels)
			for c := range part {
				part[c] = sig[c][at:]
			}
			if err := w.Write(part, k); err != nil {
				t.Fatal(err)
			}
			at += k
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		r, err := capture.Open(f.Name())
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		got, err := readAll(r, 64)
		if err != nil || len(r.Warnings()) > 0 || len(got[0]) != len(sig[0]) {
			t.Fatalf("%d frames, %v, %q, want %d", len(got[0]), err, r.Warnings(), len(sig[0]))
		}
		want := quantised(s, sig)
		for c := range want {
			for i := range want[c] {
				if got[c][i] != want[c][i] {
					t.Fatalf("channel %d, frame %d: %v, want %v", c, i, got[c][i], want[c][i])
				}
			}
		}
	})
}

// TestClipping: counted, and written as the nearest sample there is.
func TestClipping(t *testing.T) {
	in := [][]float64{{0, 1, -1, 1.5, -1.5, 1e300, -1e300, 0.5}}
	for _, c := range []struct {
		spec    capture.Spec
		clipped int64
		want    []float64
	}{
		{capture.Spec{Encoding: capture.PCM, Bits: 16}, 5, []float64{0, 32767. / 32768, -1, 32767. / 32768, -1, 32767. / 32768, -1, 0.5}},
		{capture.Spec{Encoding: capture.Float, Bits: 32}, 2, []float64{0, 1, -1, 1.5, -1.5, math.MaxFloat32, -math.MaxFloat32, 0.5}},
		{capture.Spec{Encoding: capture.Float, Bits: 64}, 0, in[0]},
	} {
		path := filepath.Join(t.TempDir(), "x.wav")
		f, _ := os.Create(path)
		c.spec.Channels, c.spec.SampleRate = 1, 48000
		w, err := capture.NewWriter(f, c.spec)
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Write(in, 8); err != nil {
			t.Fatal(err)
		}
		if w.Clipped() != c.clipped || w.Frames() != 8 {
			t.Errorf("%v: %d clipped of %d, want %d of 8", c.spec, w.Clipped(), w.Frames(), c.clipped)
		}
		w.Close()
		f.Close()
		checkSamples(t, opened(t)(capture.Open(path)), [][]float64{c.want}, 0, 8)
	}
}

// TestUnfinished: a file whose writer died is read to its end, with a warning.
func TestUnfinished(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.wav")
	f, _ := os.Create(path)
	w, err := capture.NewWriter(f, capture.Spec{Encoding: capture.PCM, Bits: 24, Channels: 2, SampleRate: 48000})
	if err != nil {
		t.Fatal(err)
	}
	sig := testSignal(2, 100, 2)
	if err := w.Write(sig, 100); err != nil {
		t.Fatal(err)
	}
	f.Close()
	r := opened(t)(capture.Open(path))
	checkSamples(t, r, sig, math.Ldexp(1, -24), 30)
	checkWarnings(t, "unfinished", r.Warnings(), []string{"gives no length"})
}

// failing is a file whose writes fail from the n-th byte on.
type failing struct {
	left int
	at   int64
}

var errFull = errors.New("disk full")

func (f *failing) Write(p []byte) (int, error) {
	if f.left -= len(p); f.left < 0 {
		return 0, errFull
	}
	return len(p), nil
}

func (f *failing) Seek(at int64, whence int) (int64, error) {
	if whence == io.SeekCurrent {
		return f.at, nil
	}
	return at, nil
}

// TestDiskFull: at the header, the samples and the lengths.
func TestDiskFull(t *testing.T) {
	spec := capture.Spec{Encoding: capture.PCM, Bits: 16, Channels: 1, SampleRate: 48000}
	if _, err := capture.NewWriter(&failing{left: 10}, spec); !errors.Is(err, errFull) {
		t.Errorf("NewWriter on a full disk: %v", err)
	}
	w, _ := capture.NewWriter(&failing{left: 100}, spec)
	if err := w.Write(planar(1, 100), 100); !errors.Is(err, errFull) {
		t.Errorf("Write on a full disk: %v", err)
	}
	if err := w.Close(); !errors.Is(err, errFull) {
		t.Errorf("Close after a failed Write: %v", err)
	}
	// 80 bytes of header and 200 of samples fit, the first length too.
	w, _ = capture.NewWriter(&failing{left: 284}, spec)
	if err := w.Write(planar(1, 100), 100); err != nil {
		t.Errorf("Write: %v", err)
	}
	for range 2 {
		if err := w.Close(); !errors.Is(err, errFull) {
			t.Errorf("Close on a full disk: %v", err)
		}
	}
}

// TestWriterRefuses: what no file can hold, and samples that are no numbers.
func TestWriterRefuses(t *testing.T) {
	ok := capture.Spec{Encoding: capture.PCM, Bits: 24, Channels: 2, SampleRate: 48000}
	for name, edit := range map[string]func(*capture.Spec){
		"8 bits":         func(s *capture.Spec) { s.Bits = 8 },
		"float 16":       func(s *capture.Spec) { s.Encoding, s.Bits = capture.Float, 16 },
		"no encoding":    func(s *capture.Spec) { s.Encoding = "" },
		"no channels":    func(s *capture.Spec) { s.Channels = 0 },
		"257 channels":   func(s *capture.Spec) { s.Channels = 257 },
		"no rate":        func(s *capture.Spec) { s.SampleRate = 0 },
		"absurd rate":    func(s *capture.Spec) { s.SampleRate = capture.MaxSampleRate + 1 },
		"negative rate":  func(s *capture.Spec) { s.SampleRate = -1 },
		"negative width": func(s *capture.Spec) { s.Bits = -24 },
	} {
		s := ok
		edit(&s)
		if _, err := capture.NewWriter(discard{}, s); !errors.Is(err, capture.ErrSpec) {
			t.Errorf("%s: %v, want ErrSpec", name, err)
		}
	}
	for _, s := range written {
		s.Channels, s.SampleRate = 1, 48000
		for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
			w, err := capture.NewWriter(discard{}, s)
			if err != nil {
				t.Fatal(err)
			}
			if err := w.Write([][]float64{{0, 0, x}}, 3); err == nil || w.Frames() != 0 {
				t.Errorf("%v: writing %v gave %v with %d frames, want an error and none", s, x, err, w.Frames())
			}
		}
	}
	w, _ := capture.NewWriter(discard{}, ok)
	w.Close()
	if err := w.Write(planar(2, 1), 1); err == nil {
		t.Error("Write after Close gave no error")
	}
}
