package live

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"runtime"
	"testing"
	"time"
)

// nowhere is a file that keeps its header and forgets the rest.
type nowhere struct {
	head bytes.Buffer
	size int64
}

func (f *nowhere) Write(b []byte) (int, error) {
	if f.head.Len() < 1024 {
		f.head.Write(b)
	}
	f.size += int64(len(b))
	return len(b), nil
}

func (f *nowhere) Seek(at int64, whence int) (int64, error) {
	if whence != io.SeekStart {
		at += f.size
	}
	return at, nil
}

func (f *nowhere) ReadAt(b []byte, at int64) (int, error) {
	return bytes.NewReader(f.head.Bytes()).ReadAt(b, at)
}
func (f *nowhere) Close() error         { return nil }
func (f *nowhere) Sync() error          { return nil }
func (f *nowhere) Truncate(int64) error { return nil }

func intoNowhere(t testing.TB, channels int) *Session {
	t.Helper()
	s, err := start(Config{SampleRate: 48000, Channels: channels}, "nowhere", &nowhere{}, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func heap() int64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}

// TestMemory: eight channels for minutes, faster than real time, with a meter: the heap stays as it is.
// HEADSTACK_LONG=1: ten minutes, else one.
func TestMemory(t *testing.T) {
	minutes := 1
	if os.Getenv("HEADSTACK_LONG") != "" {
		minutes = 10
	}
	s := intoNowhere(t, 8)
	m, err := s.Meter(MeterConfig{Channel: 1, Against: 8, ToneHz: 1000})
	if err != nil {
		t.Fatal(err)
	}
	x := sines(48000, 8, 5, 1000, 1e-3)
	push(t, s, x)
	before := heap()
	start := time.Now()
	for range minutes * 12 {
		push(t, s, x)
		<-m.C
	}
	took := time.Since(start)
	grown := heap() - before
	runtime.KeepAlive(x)
	t.Logf("%d min of 8 channels in %.1f s: heap grew by %d bytes", minutes, took.Seconds(), grown)
	if grown > 256<<10 {
		t.Errorf("the heap grew by %d bytes, want 256 KiB at most", grown)
	}
	if f := s.State().Seconds; f < float64(minutes*60) {
		t.Errorf("%.1f s were taken", f)
	}
}

// TestWriteAllocates: what Write allocates is a state ten times a second, no samples.
func TestWriteAllocates(t *testing.T) {
	s := intoNowhere(t, 8)
	x := sines(48000, 8, 0.1, 1000, 1e-3)
	if n := testing.AllocsPerRun(50, func() { s.Write(x) }); n > 40 {
		t.Errorf("0.1 s of 8 channels allocates %v times, want 40 at most", n)
	}
}

// BenchmarkWrite is the taking of 8 and 24 channels at 48 kHz with all watches and a file that costs nothing.
func BenchmarkWrite(b *testing.B) {
	for _, channels := range []int{8, 24} {
		b.Run(fmt.Sprintf("%d channels", channels), func(b *testing.B) {
			s := intoNowhere(b, channels)
			x := sines(48000, channels, 0.1, 1000, 1e-3)
			b.ReportAllocs()
			for b.Loop() {
				if err := s.Write(x); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N)*0.1/b.Elapsed().Seconds(), "x-realtime")
			b.ReportMetric(b.Elapsed().Seconds()*1e9/float64(b.N)/float64(len(x)), "ns/sample")
		})
	}
}

// BenchmarkFollow is everything, figures of six tracks too: a minute pushed as fast as it is taken, to the
// end of Close.
func BenchmarkFollow(b *testing.B) {
	p := play(b, "hexastrand", "pendle-brook-cassette", 0.5, nil)
	for b.Loop() {
		cfg := p.config(b)
		s, err := Start(cfg)
		if err != nil {
			b.Fatal(err)
		}
		push(b, s, p.frames)
		k, err := s.Close()
		if err != nil {
			b.Fatal(err)
		}
		b.StopTimer()
		os.Remove(k.Path)
		b.StartTimer()
	}
	b.ReportMetric(float64(len(p.frames)/p.n)/float64(p.rate)*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
