package capture_test

import (
	"bytes"
	"io"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"headstack/capture"
)

// endless repeats a block of samples behind a header.
type endless struct {
	head, block []byte
	at          int
}

func (e *endless) Read(p []byte) (n int, err error) {
	if len(e.head) > 0 {
		n = copy(p, e.head)
		e.head = e.head[n:]
		return n, nil
	}
	n = copy(p, e.block[e.at:])
	e.at = (e.at + n) % len(e.block)
	return n, nil
}

// benchRead reads blocks of 4096 frames and reports the speed of the file
// format, and how much faster than the tape it runs.
func benchRead(b *testing.B, r *capture.Reader, bytesPerFrame float64) {
	dst := planar(r.Channels(), 4096)
	var frames int64
	for b.Loop() {
		n, err := r.Read(dst)
		if err != nil {
			b.Fatal(err)
		}
		frames += int64(n)
	}
	s := b.Elapsed().Seconds()
	b.ReportMetric(float64(frames)*bytesPerFrame/s/1e6, "MB/s")
	b.ReportMetric(float64(frames)/r.SampleRate()/s, "x-realtime")
}

// BenchmarkWAV decodes 8 channels at 96 kHz without end.
func BenchmarkWAV(b *testing.B) {
	for _, e := range encodings {
		b.Run(e.name, func(b *testing.B) {
			sig := testSignal(8, 1<<14, 11)
			w := wav{enc: e, channels: 8, rate: 96000, data: e.encode(sig)}
			whole := w.build()
			body := len(whole) - len(w.data)
			head := append([]byte(nil), whole[:body]...)
			copy(head[4:], "\xff\xff\xff\xff")
			copy(head[body-4:], "\xff\xff\xff\xff")
			r, err := capture.NewReader(&endless{head: head, block: w.data}, "bench")
			if err != nil {
				b.Fatal(err)
			}
			benchRead(b, r, float64(e.bytes()*8))
		})
	}
}

// BenchmarkFLAC decodes 8 channels at 96 kHz and 24 bits, a stream of 2 s over
// and over. The signal is a tone in noise at -60 dBFS: about 14 bits a sample.
func BenchmarkFLAC(b *testing.B) {
	const frames = 2 * 96000
	sig := planar(8, frames)
	rng := rand.New(rand.NewPCG(1, 2))
	for c := range sig {
		for i := range sig[c] {
			sig[c][i] = 0.5*math.Sin(float64(i)*0.05*float64(c+1)) + 1e-3*rng.NormFloat64()
		}
	}
	file := toolFLAC(b, sig, 24, 96000)
	dst := planar(8, 4096)
	var n int64
	for b.Loop() {
		r, err := capture.NewReader(bytes.NewReader(file), "bench")
		if err != nil {
			b.Fatal(err)
		}
		for {
			k, err := r.Read(dst)
			n += int64(k)
			if err == io.EOF {
				break
			}
			if err != nil {
				b.Fatal(err)
			}
		}
	}
	s := b.Elapsed().Seconds()
	b.ReportMetric(float64(n)*24/s/1e6, "MB/s") // of 24-bit samples, to compare with WAV
	b.ReportMetric(float64(n)/96000/s, "x-realtime")
	b.ReportMetric(float64(len(file))/frames/8*8, "bits/sample")
}

// BenchmarkWriter encodes 8 channels at 96 kHz.
func BenchmarkWriter(b *testing.B) {
	for _, s := range []capture.Spec{{Encoding: capture.PCM, Bits: 24}, {Encoding: capture.Float, Bits: 32}} {
		s.Channels, s.SampleRate = 8, 96000
		b.Run(string(s.Encoding), func(b *testing.B) {
			w, err := capture.NewWriter(discard{}, s)
			if err != nil {
				b.Fatal(err)
			}
			sig := testSignal(8, 4096, 3)
			for b.Loop() {
				if err := w.Write(sig, 4096); err != nil {
					b.Fatal(err)
				}
			}
			t := b.Elapsed().Seconds()
			b.ReportMetric(float64(w.Frames())*float64(s.Bits)/t/1e6, "MB/s")
			b.ReportMetric(float64(w.Frames())/96000/t, "x-realtime")
		})
	}
}

// discard is a file that forgets.
type discard struct{}

func (discard) Write(p []byte) (int, error)         { return len(p), nil }
func (discard) Seek(at int64, _ int) (int64, error) { return at, nil }

// TestReadAllocates: reading allocates nothing once it runs, and a long stream
// holds no more memory than a short one.
func TestReadAllocates(t *testing.T) {
	sig := testSignal(8, 1<<14, 5)
	var pcm24 = encodings[2]
	w := wav{enc: pcm24, channels: 8, rate: 96000, data: pcm24.encode(sig)}
	head := w.build()
	head = head[:len(head)-len(w.data)]
	copy(head[4:], "\xff\xff\xff\xff")
	copy(head[len(head)-4:], "\xff\xff\xff\xff")
	r, err := capture.NewReader(&endless{head: head, block: w.data}, "endless")
	if err != nil {
		t.Fatal(err)
	}
	dst := planar(8, 1000)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	var frames int64
	for frames*24 < 64<<20 {
		n, err := r.Read(dst)
		if err != nil {
			t.Fatal(err)
		}
		frames += int64(n)
	}
	runtime.ReadMemStats(&after)
	if got := after.TotalAlloc - before.TotalAlloc; got > 64<<10 {
		t.Errorf("reading 64 MiB of WAV allocated %d bytes, want at most 64 KiB", got)
	}
	if got := testing.AllocsPerRun(100, func() { r.Read(dst) }); got != 0 {
		t.Errorf("Read of WAV allocates %v times, want 0", got)
	}
}

// TestFLACAllocates: the same for FLAC, whose block is made at the first frame.
func TestFLACAllocates(t *testing.T) {
	file := libraryFLAC(t, testSignal(2, 60*4096, 6), 16, 48000)
	r, err := capture.NewReader(bytes.NewReader(file), "long")
	if err != nil {
		t.Fatal(err)
	}
	dst := planar(2, 1000)
	r.Read(dst)
	if got := testing.AllocsPerRun(200, func() {
		if n, err := r.Read(dst); n == 0 {
			t.Fatal(err)
		}
	}); got != 0 {
		t.Errorf("Read of FLAC allocates %v times, want 0", got)
	}
}
