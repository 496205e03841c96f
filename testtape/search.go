package testtape

import (
	"context"
	"fmt"
	"math"
	"runtime"

	"golang.org/x/sync/errgroup"

	"headstack/dsp"
)

// A Search finds the sections of a tape in a capture that is still growing. It hears
// what there is once, piece by piece, in the memory that [Find] takes, and says at
// any time where the sections lie in what it has heard. It is for one goroutine at a
// time.
//
// It hears whole blocks of half a second to one and a half only, so what is said of the end of the capture
// lags by as much, until End has heard the rest.
type Search struct {
	tape  *Tape
	f     *features
	ears  []*ear
	batch *batch
	next  int // block
}

// NewSearch begins a search in a capture of the given rate in hertz. The error is that of
// [Tape.Check]. It panics without channels or sample rate.
func NewSearch(t *Tape, rate float64, channels int) (*Search, error) {
	if err := t.Check(); err != nil {
		return nil, fmt.Errorf("finding sections: %w", err)
	}
	if channels < 1 || !(rate > 0) {
		panic("testtape: stream without channels or sample rate")
	}
	f, window := newFeatures(t, rate, channels)
	s := &Search{tape: t, f: f, batch: newBatch(f)}
	for c := range channels {
		s.ears = append(s.ears, newEar(f, c, window))
	}
	return s, nil
}

// Heard is the number of frames heard so far: where Hear goes on.
func (s *Search) Heard() int64 { return s.f.samples }

// Full reports whether no more is heard, as memory allows no more.
func (s *Search) Full() bool { return s.f.truncated }

// Seconds is the length of what was heard.
func (s *Search) Seconds() float64 { return s.f.duration() }

// Hear takes the next frames from a stream that begins at frame Heard of the capture and
// has frames more; it leaves what is no whole block for the next time.
func (s *Search) Hear(ctx context.Context, stream dsp.Stream, frames int64) error {
	if stream.Channels() != s.f.channels || math.Abs(stream.SampleRate()/s.f.captureRate()-1) > 1e-9 {
		panic("testtape: another stream than the one that the search began with")
	}
	packed := dsp.AsPacked(stream)
	var b dsp.Packed
	for {
		most := s.f.length(s.next)
		if int64(most) > frames || s.f.truncated {
			return nil
		}
		var err error
		if b, err = s.block(ctx, packed, most, b); err != nil || s.f.truncated {
			return err
		}
		if err = s.frames(most>>s.f.halvings/s.f.hop, b); err != nil {
			return s.failed(err)
		}
		s.next++
		frames -= int64(most)
	}
}

// End hears what is left when the capture is complete: the last frames, less than a block. Finding
// then gives exactly what [Find] gives of the whole capture. Nothing can be heard after.
func (s *Search) End(ctx context.Context, stream dsp.Stream, frames int64) error {
	end := s.Heard() + frames
	if err := s.Hear(ctx, stream, frames); err != nil || s.f.truncated {
		return err
	}
	var b dsp.Packed = nothing{}
	left := int(end - s.Heard())
	if left > 0 {
		var err error
		if b, err = s.block(ctx, dsp.AsPacked(stream), left, nil); err != nil || s.f.truncated {
			return err
		}
	}
	if err := s.frames(s.f.lastHops(s.next, left), b); err != nil {
		return s.failed(err)
	}
	return nil
}

// frames analyses hops frames of a block of every channel, side by side, and keeps them.
func (s *Search) frames(hops int, b dsp.Packed) error {
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for _, e := range s.ears {
		g.Go(func() error {
			err := e.listen(hops, b)
			s.batch.notFinite.Add(e.notFinite)
			e.give(s.batch.heard[e.channel][:hops])
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	s.batch.hops = hops
	s.f.take(s.batch)
	return nil
}

// block reads the next length frames, all of them.
func (s *Search) block(ctx context.Context, packed dsp.PackedStream, length int, reuse dsp.Packed) (dsp.Packed, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	b, err := packed.ReadPacked(length, reuse)
	if err == nil && b.Frames() < length {
		err = fmt.Errorf("%d frames are there of %d", b.Frames(), length)
	}
	if err != nil {
		return nil, s.failed(err)
	}
	s.f.samples += int64(length)
	s.f.truncated = s.f.tooLarge(s.f.frames)
	return b, nil
}

func (s *Search) failed(err error) error {
	return fmt.Errorf("finding sections of %q at %.1f s: %w", s.tape.Name, s.f.duration(), err)
}

// Finding says where the sections lie in what was heard so far, as [Find] would of a
// capture that ends there.
func (s *Search) Finding() *Finding {
	l := newLocator(s.tape, s.f)
	if s.f.frames > 0 {
		l.run()
	}
	return l.finding()
}
