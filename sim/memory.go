package sim

import (
	"context"
	"io"
	"slices"

	"headstack/dsp"
)

// Memory is a capture kept in memory as 32-bit floats, 4 bytes a sample, for the many
// captures of a statistic. The zero value is ready for Render. It may be opened
// several times at once.
type Memory struct {
	sampleRate float64
	channels   [][]float32
}

// Render is the function [Render] without a file: the samples are those of a 32-bit
// float WAV, whatever Encoding and Bits say, with nothing cut at full scale. It
// replaces what m held and uses its storage again, which is faster than fresh storage.
func (m *Memory) Render(ctx context.Context, sc Scenario) (Truth, error) {
	if err := sc.check(); err != nil {
		return Truth{}, err
	}
	r := newRenderer(&sc)
	m.sampleRate = r.rate
	m.channels = slices.Grow(m.channels[:0], len(r.out))[:len(r.out)]
	for c, x := range m.channels {
		m.channels[c] = slices.Grow(x[:0], int(r.total))
	}
	err := r.run(ctx, func(block [][]float64, n int) error {
		for c, o := range block {
			to := m.channels[c][:len(m.channels[c])+n]
			for i, x := range o[:n] {
				to[len(to)-n+i] = float32(x)
			}
			m.channels[c] = to
		}
		return nil
	})
	if err != nil {
		return Truth{}, err
	}
	return r.truth(), nil
}

// Open reads the capture from its start; the function returned does nothing. It fits
// measure.Source.
func (m *Memory) Open() (dsp.Stream, func() error, error) {
	return &memoryStream{m: m}, func() error { return nil }, nil
}

type memoryStream struct {
	m  *Memory
	at int
}

func (s *memoryStream) Channels() int       { return len(s.m.channels) }
func (s *memoryStream) SampleRate() float64 { return s.m.sampleRate }

func (s *memoryStream) Read(dst [][]float64) (int, error) {
	n := min(len(dst[0]), len(s.m.channels[0])-s.at)
	if n == 0 {
		return 0, io.EOF
	}
	for c, o := range dst {
		o := o[:n]
		for i, x := range s.m.channels[c][s.at : s.at+n] {
			o[i] = float64(x)
		}
	}
	s.at += n
	return n, nil
}
