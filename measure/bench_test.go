package measure

import (
	"context"
	"io"
	"math"
	"runtime"
	"runtime/metrics"
	"testing"
	"time"

	"headstack/dsp"
)

// looped plays one second of a signal over and over: a long capture that needs no
// memory and next to no time, so that what is measured is the measuring.
type looped struct {
	rate   float64
	ch     [][]float64
	frames int64
	pos    int64
}

func (l *looped) Channels() int         { return len(l.ch) }
func (l *looped) SampleRate() float64   { return l.rate }
func (l *looped) Frames() (int64, bool) { return l.frames, true }
func (l *looped) Read(dst [][]float64) (int, error) {
	at := int(l.pos % int64(len(l.ch[0])))
	n := min(len(dst[0]), len(l.ch[0])-at)
	if l.pos+int64(n) > l.frames {
		n = int(l.frames - l.pos)
	}
	if n == 0 {
		return 0, io.EOF
	}
	for c := range dst {
		copy(dst[c][:n], l.ch[c][at:])
	}
	l.pos += int64(n)
	return n, nil
}

// longCapture is 8 tracks at 96 kHz: ten tones and a silence, all in the same loop so
// that every section meets its tone.
func longCapture(seconds float64) (Source, Options, finding) {
	tones := []float64{40, 100, 315, 1000, 3000, 6300, 8000, 10000, 12500, 16000, 0}
	tp := tapeOf(seconds/float64(len(tones)), tones...)
	const rate = 96000
	l := &looped{rate: rate, frames: int64(seconds * rate), ch: make([][]float64, 8)}
	for c := range l.ch {
		l.ch[c] = make([]float64, rate)
		for i := range l.ch[c] {
			for _, f := range tones {
				l.ch[c][i] += 0.05 * math.Sin(2*math.Pi*f*float64(i)/rate+float64(c)*0.01)
			}
			// A little that repeats every second but looks like noise.
			l.ch[c][i] += 1e-4 * math.Sin(float64(i)*float64(i)*0.37+float64(c))
		}
	}
	f := finding{ratio: 1}
	for i := range tones {
		f.places = append(f.places, place{index: i, found: true, startS: float64(i) * tp.Sections[0].Seconds, endS: float64(i+1) * tp.Sections[0].Seconds})
	}
	src := Source{Name: "long", Tracks: []int{1, 2, 3, 4, 5, 6, 7, 8}, Open: func() (dsp.Stream, func() error, error) {
		c := *l
		return &c, nil, nil
	}}
	return src, Options{Tape: tp, Geometry: heads(8)}, f
}

// Ten minutes of 8 tracks at 96 kHz must not need more than 150 MiB of heap, which leaves
// 50 of the 200 for the program itself, decoding and the search. How much of that is garbage
// not yet collected depends on when the collector comes round, later on a busy machine; so
// what is alive is held by itself, to what the collector's doubling keeps within the 150.
func TestMemoryOfALongCapture(t *testing.T) {
	const mostHeap, mostAlive = 150, 70 // MiB
	seconds := 600.0
	if testing.Short() || !atLength() {
		seconds = 33
	}
	src, opt, f := longCapture(seconds)
	heapNow := func() (heap, alive uint64) {
		s := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}, {Name: "/gc/heap/live:bytes"}}
		metrics.Read(s)
		return s[0].Value.Uint64(), s[1].Value.Uint64()
	}
	runtime.GC()
	heap0, alive0 := heapNow()
	var peak, alive uint64
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		tick := time.NewTicker(20 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-stop:
				return
			case <-tick.C:
				h, a := heapNow()
				peak, alive = max(peak, h-min(h, heap0)), max(alive, a-min(a, alive0))
			}
		}
	}()
	start := time.Now()
	rep, err := measureTape(context.Background(), []Source{src}, opt, known(f))
	took := time.Since(start)
	close(stop)
	<-done
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rep.Measures {
		if r.Refused != "" && r.Name == "level" {
			t.Errorf("%s of track %d in %q: %s", r.Name, r.Track, r.Section, r.Refused)
		}
	}
	const mib = 1 << 20
	t.Logf("%.0f s of 8 tracks at 96 kHz: heap grew by %d MiB, alive of it %d MiB, %.0f x realtime", seconds, peak/mib, alive/mib, seconds/took.Seconds())
	if peak > mostHeap*mib {
		t.Errorf("heap grew by %d MiB, want at most %d", peak/mib, mostHeap)
	}
	if alive > mostAlive*mib {
		t.Errorf("%d MiB of the heap were alive, want at most %d", alive/mib, mostAlive)
	}
}

// BenchmarkPass reports how fast 8 channels at 96 kHz, 24 bit, are measured, without
// decoding or searching, beside a plain read of the same stream.
func BenchmarkPass(b *testing.B) {
	const seconds = 66
	src, opt, f := longCapture(seconds)
	bytes := int64(seconds * 96000 * 8 * 3)
	report := func(b *testing.B, n int) {
		b.SetBytes(bytes)
		b.ReportMetric(float64(n)*seconds/b.Elapsed().Seconds(), "x-realtime")
	}
	b.Run("measure", func(b *testing.B) {
		n := 0
		for b.Loop() {
			if _, err := measureTape(context.Background(), []Source{src}, opt, known(f)); err != nil {
				b.Fatal(err)
			}
			n++
		}
		report(b, n)
	})
	b.Run("read", func(b *testing.B) {
		n := 0
		for b.Loop() {
			s, _, _ := src.Open()
			dst := make([][]float64, 8)
			for c := range dst {
				dst[c] = make([]float64, blockLen)
			}
			for {
				if _, err := s.Read(dst); err != nil {
					break
				}
			}
			n++
		}
		report(b, n)
	})
}
