package testtape

import (
	"errors"
	"io"
	"math"
	"testing"
	"time"

	"headstack/dsp"
)

// loop is a stream that repeats one rendered minute on every channel.
type loop struct {
	rate     float64
	channels int
	x        []float64
	at, left int
}

func (l *loop) Channels() int       { return l.channels }
func (l *loop) SampleRate() float64 { return l.rate }
func (l *loop) Read(dst [][]float64) (int, error) {
	if l.left == 0 {
		return 0, io.EOF
	}
	n := min(len(dst[0]), len(l.x)-l.at, l.left)
	for c := range dst {
		copy(dst[c][:n], l.x[l.at:l.at+n])
	}
	l.at = (l.at + n) % len(l.x)
	l.left -= n
	return n, nil
}

func newLoop(b *testing.B, tape *Tape, rate float64, channels int, seconds float64) dsp.Stream {
	b.Helper()
	sc := &scene{rate: rate, channels: 1, ratio: 1, noiseDB: refDBFS - 45, pieces: scenePieces(tape, 1, 0.3), seed: 1}
	x := sc.render().(*planar).data[0]
	return &loop{rate: rate, channels: channels, x: x, left: int(math.Round(seconds * rate))}
}

// BenchmarkFind reports, for 8 channels of 96 kHz, speed against real time, and
// nanoseconds per sample besides what reading alone takes. Both are times by the
// clock on all cores: beside other work, compare the processor's time instead.
func BenchmarkFind(b *testing.B) {
	tape, err := Builtin("pendle-brook-cassette")
	if err != nil {
		b.Fatal(err)
	}
	const seconds = 120.
	s := newLoop(b, tape, 96000, 8, seconds).(*loop)
	b.ReportAllocs()
	var finding, reading time.Duration
	for b.Loop() {
		again := *s
		start := time.Now()
		if _, err := Find(b.Context(), &again, tape); err != nil {
			b.Fatal(err)
		}
		finding += time.Since(start)
		b.StopTimer()
		again = *s
		start = time.Now()
		readOnly(b, &again)
		reading += time.Since(start)
		b.StartTimer()
	}
	runs := float64(b.N)
	b.ReportMetric(seconds*runs/finding.Seconds(), "x-realtime")
	b.ReportMetric(float64(finding-reading)/runs/(seconds*s.rate*float64(s.channels)), "ns/sample")
}

// readOnly reads a stream in blocks as Find does.
func readOnly(b *testing.B, s dsp.Stream) {
	b.Helper()
	block := make([][]float64, s.Channels())
	for c := range block {
		block[c] = make([]float64, 4096*leastHops)
	}
	for {
		if _, err := s.Read(block); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			b.Fatal(err)
		}
	}
}
