package testtape

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"headstack/dsp"
)

const (
	// leastHops and mostHops bound how many hops are read at a time; the first and last
	// frame of a block are always analysed.
	leastHops, mostHops = 16, 36
	// inFlight is how many blocks are read and not yet analysed on all channels.
	inFlight = 4
	// memoryLimit bounds what is kept of a capture, in bytes.
	memoryLimit = 64 << 20
)

// listen reads the whole stream into features. Each channel is analysed by a goroutine
// of its own, block after block, while the next blocks are read: so no processor waits
// for the slowest channel of a block. The stream is taken as preceded by half a frame of
// nothing, so that frame k is centred at sample k·hop.
func listen(ctx context.Context, s dsp.Stream, t *Tape) (*features, error) {
	f, window := newFeatures(t, s.SampleRate(), s.Channels())
	l := &listening{f: f, stream: dsp.AsPacked(s), free: make(chan *batch, inFlight)}
	for range inFlight {
		l.free <- newBatch(f)
	}
	g, ctx := errgroup.WithContext(ctx)
	for c := range f.channels {
		lane := make(chan *batch, inFlight) // room for all, so that sending never waits
		l.lanes = append(l.lanes, lane)
		g.Go(func() error { return l.hear(newEar(f, c, window), lane) })
	}
	g.Go(func() error { return l.read(ctx) })
	if err := g.Wait(); err != nil {
		return nil, err
	}
	return f, nil
}

// newFeatures are those of a capture of which nothing is heard yet, and the window of a
// frame.
func newFeatures(t *Tape, rate float64, channels int) (f *features, window []float64) {
	f = &features{channels: channels, tones: distinctTones(t)}
	f.halvings = halvings(rate, f.tones[len(f.tones)-1])
	f.rate = rate / float64(int(1)<<f.halvings)
	n := 64
	for float64(n) < frameSeconds*f.rate {
		n *= 2
	}
	f.hop, f.binHz = n/2, f.rate/float64(n)
	f.blockHops = blockHops(t, f.seconds(1))
	window = make([]float64, n)
	for i := range window {
		window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
	}
	return f, window
}

// listening is one pass over a capture.
type listening struct {
	f      *features
	stream dsp.PackedStream
	free   chan *batch   // that every channel is done with
	lanes  []chan *batch // to the channels
}

// batch is a block on its way through the channels, and what they hear in it.
type batch struct {
	block     dsp.Packed
	hops      int     // to be analysed
	atS       float64 // where it begins
	heard     [][]sound
	notFinite atomic.Int64
	unheard   atomic.Int32 // channels that are not done
}

func newBatch(f *features) *batch {
	b := &batch{heard: make([][]sound, f.channels)}
	for c := range b.heard {
		b.heard[c] = newSounds(f, f.blockHops)
	}
	return b
}

// looksPerSection is how often a section is analysed at the least: so that its speed is
// the mean over the swings of flutter, and no section lies between two looks.
const looksPerSection = 15

// blockHops is how many hops of so many seconds a block has at most.
func blockHops(t *Tape, hopS float64) int {
	shortest := math.Inf(1)
	for _, s := range t.Sections {
		shortest = min(shortest, s.Seconds)
	}
	return int(max(leastHops, min(mostHops, shortest/looksPerSection/hopS)))
}

// length of block i in frames of the capture. Blocks differ in length, so that the
// frames always analysed do not beat with flutter.
func (f *features) length(i int) int {
	return (f.hop << f.halvings) * (f.blockHops - 3*i%5)
}

// lastHops is how many frames the last block, of got frames of the capture, is analysed
// in: those whose centres lie inside the capture. Silence follows.
func (f *features) lastHops(i, got int) int {
	hop := f.hop << f.halvings
	return min(got/hop+1, f.length(i)/hop)
}

// tooLarge reports whether so many frames take more memory than they may.
func (f *features) tooLarge(frames int) bool {
	return frames*len(f.tones)*(f.channels+5) > memoryLimit
}

// read hands block after block to the channels, to the end of the capture or of memory.
func (l *listening) read(ctx context.Context) error {
	defer func() {
		for _, lane := range l.lanes {
			close(lane)
		}
	}()
	f, hop := l.f, l.f.hop<<l.f.halvings
	frames := 0 // handed on
	for i := 0; ; i++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		var b *batch
		select {
		case b = <-l.free:
		case <-ctx.Done():
			return ctx.Err()
		}
		b.atS = f.duration()
		most := f.length(i)
		block, err := l.stream.ReadPacked(most, b.block)
		if errors.Is(err, io.EOF) {
			block, err = nothing{}, nil
		}
		if err != nil {
			return fmt.Errorf("reading at %.1f s: %w", b.atS, err)
		}
		got := block.Frames()
		f.samples += int64(got)
		if f.tooLarge(frames) {
			f.truncated = true
			return nil
		}
		b.block, b.hops = block, got/hop
		if got < most {
			if _, err := l.stream.ReadPacked(1, nil); !errors.Is(err, io.EOF) && err != nil {
				return fmt.Errorf("reading at %.1f s: %w", f.duration(), err)
			}
			b.hops = f.lastHops(i, got)
		}
		frames += b.hops
		b.unheard.Store(int32(len(l.lanes)))
		for _, lane := range l.lanes {
			lane <- b
		}
		if got < most {
			return nil
		}
	}
}

// hear is the work of one channel. The last to be done with a block merges it; as every
// channel takes the blocks in their order, so does the merging.
func (l *listening) hear(e *ear, lane <-chan *batch) error {
	for b := range lane {
		if err := e.listen(b.hops, b.block); err != nil {
			return fmt.Errorf("reading at %.1f s: %w", b.atS, err)
		}
		b.notFinite.Add(e.notFinite)
		e.give(b.heard[e.channel][:b.hops])
		if b.unheard.Add(-1) == 0 {
			l.f.take(b)
			l.free <- b
		}
	}
	return nil
}

// take adds what was heard in a block to the features.
func (f *features) take(b *batch) {
	frame := make([]*sound, len(b.heard))
	for h := range b.hops {
		for c := range frame {
			frame[c] = &b.heard[c][h]
		}
		f.merge(frame)
	}
	f.notFinite += b.notFinite.Swap(0)
}

// nothing is what comes after the end of a stream.
type nothing struct{}

func (nothing) Frames() int                      { return 0 }
func (nothing) Unpack(int, int, []float64) error { return nil }
