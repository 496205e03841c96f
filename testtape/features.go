package testtape

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"sort"

	"golang.org/x/sync/errgroup"

	"headstack/dsp"
)

const (
	// searchWidth is how far from its nominal frequency a tone is looked for:
	// the promised 6 % of speed and a little for flutter.
	searchWidth = 0.07
	// frameSeconds is the least length of a spectrum. At 0.08 s a 31.5 Hz tone
	// has 2.5 cycles, the least that its frequency can be read from.
	frameSeconds = 0.08
	// blockHops is the most hops that are read at a time; the first and last frame
	// of a block are always analysed.
	blockHops = 16
	// memoryLimit bounds what is kept of a capture.
	memoryLimit = 64 << 20
	// levelFloorDB is the level kept for nothing at all; levels are kept in half
	// decibels above it.
	levelFloorDB = -125.
	// hissHz is where tape noise is told from hum.
	hissHz = 1000.
	// humTopHz is where hum and its strong harmonics end.
	humTopHz = 220.
)

// features is what is kept of a capture: for each frame (centred at frame·hop)
// and each distinct tone of the tape, the strongest spectral line within
// searchWidth of the nominal frequency.
type features struct {
	rate     float64 // after halving
	halvings int     // how often the capture's rate was halved
	channels int
	tones    []float64 // distinct nominal frequencies, rising
	hop      int       // samples at rate
	binHz    float64
	frames   int
	samples  int64 // at the capture's own rate

	// Per frame and tone, from the channel where the line stands out most.
	offset  []int16 // (line/nominal - 1)·1e5
	snr     []uint8 // half dB above the spectrum around it; 0 for no line
	channel []uint8
	over    []uint8 // half dB above any other line above humTopHz
	// Per frame, tone and channel.
	level []uint8 // half dB above levelFloorDB re a full-scale sine
	// Per frame and channel.
	total []uint8
	// Per frame and channel: the same above hissHz, which hum hardly reaches.
	hiss []uint8
	// Per frame: frequency of the strongest line of all, any channel.
	loudest []float32

	truncated bool  // the capture was longer than memory allows
	notFinite int64 // samples that were NaN or infinite
}

func (f *features) seconds(frame int) float64 { return float64(frame) * float64(f.hop) / f.rate }
func (f *features) captureRate() float64      { return f.rate * float64(int(1)<<f.halvings) }
func (f *features) duration() float64         { return float64(f.samples) / f.captureRate() }
func (f *features) perSecond() float64        { return f.rate / float64(f.hop) }

// toneIndex is the place of a frequency in tones.
func (f *features) toneIndex(hz float64) int { return sort.SearchFloat64s(f.tones, hz) }

// levelDB is a tone's level in a frame and channel, dBFS.
func (f *features) levelDB(frame, tone, channel int) float64 {
	return levelFloorDB + 0.5*float64(f.level[(frame*len(f.tones)+tone)*f.channels+channel])
}

// perChannelDB reads total or hiss.
func (f *features) perChannelDB(of []uint8, frame, channel int) float64 {
	return levelFloorDB + 0.5*float64(of[frame*f.channels+channel])
}

func distinctTones(t *Tape) []float64 {
	var tones []float64
	for _, s := range t.Sections {
		if s.Silent() {
			continue
		}
		k := sort.SearchFloat64s(tones, s.ToneHz)
		if k == len(tones) || tones[k] != s.ToneHz {
			tones = append(tones, 0)
			copy(tones[k+1:], tones[k:])
			tones[k] = s.ToneHz
		}
	}
	return tones
}

// newFeatures are those of a capture of which nothing is heard yet, and n, the length of a
// frame in samples.
func newFeatures(t *Tape, rate float64, channels int) (f *features, n int) {
	f = &features{channels: channels, tones: distinctTones(t)}
	f.halvings = halvings(rate, f.tones[len(f.tones)-1])
	f.rate = rate / float64(int(1)<<f.halvings)
	n = 64
	for float64(n) < frameSeconds*f.rate {
		n *= 2
	}
	f.hop, f.binHz = n/2, f.rate/float64(n)
	return f, n
}

// tooLarge reports whether as much is kept as may be.
func (f *features) tooLarge() bool { return len(f.level)+len(f.offset)*5 > memoryLimit }

// listen reads the whole stream into features.
func listen(ctx context.Context, s dsp.Stream, t *Tape) (*features, error) {
	f, n := newFeatures(t, s.SampleRate(), s.Channels())
	l := newListener(f, n)
	packed := dsp.AsPacked(s)
	var blocks [2]dsp.Packed
	var analysis errgroup.Group // of the block before, while the next is read
	defer analysis.Wait()       //nolint:errcheck // on another error this one does not matter
	for i := 0; ; i++ {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		most := l.length(i)
		b, err := packed.ReadPacked(most, blocks[i%2])
		if errors.Is(err, io.EOF) {
			b, err = nothing{}, nil
		}
		if err == nil {
			err = analysis.Wait()
		}
		if err != nil {
			return nil, fmt.Errorf("reading at %.1f s: %w", f.duration(), err)
		}
		got := b.Frames()
		f.samples += int64(got)
		if f.tooLarge() {
			f.truncated = true
			return f, nil
		}
		if got < most {
			if _, err := packed.ReadPacked(1, nil); !errors.Is(err, io.EOF) && err != nil {
				return nil, fmt.Errorf("reading at %.1f s: %w", f.duration(), err)
			}
			return f, l.finish(i, b)
		}
		blocks[i%2] = b
		analysis = errgroup.Group{}
		analysis.Go(func() error { return l.frames(got>>f.halvings/f.hop, b) })
	}
}

// nothing is what comes after the end of a stream.
type nothing struct{}

func (nothing) Frames() int                      { return 0 }
func (nothing) Unpack(int, int, []float64) error { return nil }

// listener turns blocks of samples into frames. The stream is taken as preceded
// by half a frame of nothing, so that frame k is centred at sample k·hop.
type listener struct {
	f    *features
	ears []*ear
}

func newListener(f *features, n int) *listener {
	l := &listener{f: f}
	window := make([]float64, n)
	for i := range window {
		window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
	}
	for c := range f.channels {
		l.ears = append(l.ears, newEar(f, c, window))
	}
	return l
}

// length of block i in frames of the capture. Blocks differ in length, so that the
// frames always analysed do not beat with flutter.
func (l *listener) length(i int) int {
	return (l.f.hop << l.f.halvings) * (blockHops - 3*i%5)
}

// finish analyses the last, short block and keeps the frames whose centres lie inside
// the capture; silence follows.
func (l *listener) finish(i int, b dsp.Packed) error {
	hop := l.f.hop << l.f.halvings
	return l.frames(min(b.Frames()/hop+1, l.length(i)/hop), b)
}

// frames analyses hops frames of a block of every channel, in parallel, and merges them.
func (l *listener) frames(hops int, b dsp.Packed) error {
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for _, e := range l.ears {
		g.Go(func() error { return e.listen(hops, b) })
	}
	if err := g.Wait(); err != nil {
		return err
	}
	for h := range hops {
		l.merge(h + 1)
	}
	for _, e := range l.ears {
		l.f.notFinite += e.notFinite
		e.notFinite = 0
		e.next(hops)
	}
	return nil
}

// merge adds frame h of the block to the features.
func (l *listener) merge(h int) {
	f := l.f
	k := len(f.tones)
	var loud, loudHz float64
	for _, e := range l.ears {
		s := &e.heard[h]
		f.total = append(f.total, s.total)
		f.hiss = append(f.hiss, s.hiss)
		if s.loud > loud {
			loud, loudHz = s.loud, s.loudHz
		}
	}
	f.loudest = append(f.loudest, float32(loudHz))
	for i := range k {
		best := 0
		for c, e := range l.ears {
			line := e.heard[h].lines[i]
			f.level = append(f.level, line.level)
			if line.snr > l.ears[best].heard[h].lines[i].snr {
				best = c
			}
		}
		line := l.ears[best].heard[h].lines[i]
		f.offset = append(f.offset, line.offset)
		f.snr = append(f.snr, line.snr)
		f.over = append(f.over, line.over)
		f.channel = append(f.channel, uint8(min(best, 255)))
	}
	f.frames++
}
