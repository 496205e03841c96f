package testtape

import (
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

// BenchmarkFind reports speed against real time for 8 channels of 96 kHz.
func BenchmarkFind(b *testing.B) {
	tape, err := Builtin("pendle-brook-cassette")
	if err != nil {
		b.Fatal(err)
	}
	const seconds = 120.
	s := newLoop(b, tape, 96000, 8, seconds).(*loop)
	b.ReportAllocs()
	start := time.Now()
	for b.Loop() {
		again := *s
		if _, err := Find(b.Context(), &again, tape); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(seconds*float64(b.N)/time.Since(start).Seconds(), "x-realtime")
}
