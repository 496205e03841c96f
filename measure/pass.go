package measure

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"headstack/dsp"
)

// take is what is kept of one capture; of a capture that holds several rounds of a
// programme, one take for each round.
type take struct {
	name     string
	round    int // of a programme, from 0
	rate     float64
	face     *Interface // that the capture came through, nil unknown
	tracks   []int      // per channel, 0 unused
	order    []int      // used channels, by track number
	sections []SectionFound
	warnings []string
	heard    map[string]map[int]*heard // by family, by section index
	missing  map[int]string            // by section index: why nothing was heard there
	tones    map[int]*toneTake         // by section index; every tone section has one
	speed    *speedTake                // the tone on which the speed is followed, nil none
	meter    *meterEar                 // a calibrated one that hears nothing, nil before the first silence
}

// listener takes the samples of one channel in one section, in order, then is told
// that there are no more.
type listener interface {
	feed(x []float64)
	finish()
}

// window is the stretch of one section that is heard, in frames.
type window struct {
	from, to int64
	ears     [][]listener // by channel
}

const (
	guardPart                 = 0.03 // of a section is left out at each end: its edges are known to a frame of the search
	guardLeast, guardMostPart = 0.3, 0.15
	shortest                  = 0.7 // seconds that must remain
	blockLen                  = 16384
	pieceLen                  = 4096 // decoded and heard at once: it stays in a first-level cache
	inFlight                  = 4    // blocks read and not yet heard by all channels
)

// takeSource finds the sections of one capture, round by round, and hears them in one
// further pass.
func takeSource(ctx context.Context, src Source, opt Options, rounds []round, p progress) ([]*take, error) {
	part := progress{p.report, p.done, p.share / float64(len(rounds)+1)}
	var takes []*take
	var found []finding
	for i, r := range rounds {
		t := &take{name: src.Name, round: i, face: opt.Interface, tracks: src.Tracks, heard: map[string]map[int]*heard{}, missing: map[int]string{}, tones: map[int]*toneTake{}}
		for c, track := range src.Tracks {
			if track > 0 && r.has(track) {
				t.order = append(t.order, c)
			}
		}
		if len(t.order) == 0 {
			continue
		}
		slices.SortStableFunc(t.order, func(a, b int) int { return t.tracks[a] - t.tracks[b] })
		err := withStream(ctx, src, part, func(s dsp.Stream) error {
			if s.Channels() != len(src.Tracks) {
				return fmt.Errorf("%d channels, but tracks are given for %d: name one track per channel, 0 for a channel to leave out", s.Channels(), len(src.Tracks))
			}
			t.rate = s.SampleRate()
			f, err := r.find(ctx, src, s)
			found = append(found, f)
			return err
		})
		if err != nil {
			return nil, err
		}
		part.done += part.share
		takes = append(takes, t)
	}
	if len(takes) == 0 {
		return nil, errors.New("none of its tracks is in the programme")
	}
	return takes, withStream(ctx, src, part, func(s dsp.Stream) error {
		var windows []*window
		for i, t := range takes {
			for _, w := range found[i].warnings {
				t.warnings = append(t.warnings, src.Name+": "+w)
			}
			windows = append(windows, t.plan(opt, found[i])...)
		}
		slices.SortFunc(windows, func(a, b *window) int { return cmp.Compare(a.from, b.from) })
		return listen(ctx, s, windows)
	})
}

// withStream opens a source, wraps it for progress and closes it.
func withStream(ctx context.Context, src Source, p progress, use func(dsp.Stream) error) (err error) {
	s, closer, err := src.Open()
	if err != nil {
		return err
	}
	defer func() {
		if closer != nil {
			err = errors.Join(err, closer())
		}
	}()
	if s.Channels() < 1 || !(s.SampleRate() > 0) {
		return fmt.Errorf("a stream of %d channels at %g Hz", s.Channels(), s.SampleRate())
	}
	return use(watch(ctx, s, p))
}

// plan lists what to listen to, and records the sections found and not found.
func (t *take) plan(opt Options, found finding) []*window {
	for i := range opt.Tape.Sections { // until found
		t.missing[i] = "section not found"
	}
	ratio := found.ratio
	if !(ratio > 0) {
		ratio = 1
	}
	var windows []*window
	reference, hasReference := (&session{opt: opt, prog: opt.programme}).referenceSection()
	speedIndex := speedSection(opt.programme, opt.Tape, found)
	for _, pl := range found.places {
		sec := opt.Tape.Sections[pl.index]
		t.sections = append(t.sections, SectionFound{
			Name: sec.Name, Found: pl.found, Partial: pl.partial, StartS: pl.startS, EndS: pl.endS,
			ToneHz: sec.ToneHz, Capture: t.name, Reason: pl.reason,
		})
		if !pl.found {
			if pl.reason != "" {
				t.missing[pl.index] = "section not found: " + pl.reason
			}
			continue
		}
		at := stretch{index: pl.index, section: sec, kind: kindOf(opt.programme, sec, pl.index), ratio: ratio, partial: pl.partial, rate: t.rate, startS: pl.startS, endS: pl.endS}
		at.atRef = hasReference && pl.index == reference
		if opt.programme != nil {
			at.part = &opt.programme.Parts[pl.index]
		}
		at.speed = pl.index == speedIndex
		if w := t.window(at); w != nil {
			windows = append(windows, w)
		}
	}
	return windows
}

// inside is the window of a section without its edges, and notes its length in at; nil,
// with a note why, when hardly anything remains.
func (t *take) inside(at *stretch) *window {
	length := at.endS - at.startS
	guard := math.Min(math.Max(guardLeast, guardPart*length), guardMostPart*length)
	w := &window{from: int64(math.Ceil((at.startS + guard) * t.rate)), to: int64((at.endS - guard) * t.rate), ears: make([][]listener, len(t.tracks))}
	at.seconds, at.fromS = float64(w.to-w.from)/t.rate, float64(w.from)/t.rate
	if at.seconds < shortest {
		t.missing[at.index] = fmt.Sprintf("section too short: %.2f s found, %.1f s needed", length, shortest/(1-2*guardMostPart))
		return nil
	}
	delete(t.missing, at.index)
	return w
}

// window makes the listeners of one found section, or notes why there are none.
func (t *take) window(at stretch) *window {
	w := t.inside(&at)
	if w == nil {
		return nil
	}
	for _, f := range families {
		if f.hear == nil {
			continue
		}
		h := &heard{at: at, ears: make([]listener, len(t.tracks))}
		any := false
		for _, c := range t.order {
			if l := f.hear(t, at, c); l != nil {
				h.ears[c], any = l, true
				w.ears[c] = append(w.ears[c], l)
			}
		}
		if any {
			if t.heard[f.name] == nil {
				t.heard[f.name] = map[int]*heard{}
			}
			t.heard[f.name][at.index] = h
		}
	}
	return w
}

// listen reads the stream once. Each channel is decoded and heard by a goroutine of its
// own, block after block, while the next blocks are read: so no processor waits for the
// slowest channel of a block. windows ascend by their start.
func listen(ctx context.Context, s dsp.Stream, windows []*window) error {
	h := &hearing{stream: dsp.AsPacked(s), windows: windows, free: make(chan *batch, inFlight)}
	for range inFlight {
		h.free <- &batch{}
	}
	g, ctx := errgroup.WithContext(ctx)
	for c := range s.Channels() {
		lane := make(chan *batch, inFlight) // room for all, so that sending never waits
		h.lanes = append(h.lanes, lane)
		g.Go(func() error { return h.hear(c, lane) })
	}
	g.Go(func() error { return h.read(ctx) })
	return g.Wait()
}

// hearing is one pass over a capture.
type hearing struct {
	stream  dsp.PackedStream
	windows []*window
	free    chan *batch   // that nobody hears any more
	lanes   []chan *batch // to the channels
	ended   bool          // the capture was read to its end,
	frames  int64         // at so many frames
}

// batch is a block on its way through the channels.
type batch struct {
	block  dsp.Packed
	pos    int64 // in the capture
	active []*window
	unread atomic.Int32 // channels that have not heard it
}

// scratch are buffers for decoded samples: by way of the pool each processor meets its
// own, still in its cache.
var scratch = sync.Pool{New: func() any { return new([pieceLen]float64) }}

// read hands block after block to the channels.
func (h *hearing) read(ctx context.Context) error {
	defer func() {
		for _, lane := range h.lanes {
			close(lane)
		}
	}()
	rest := slices.Clone(h.windows)
	for pos := int64(0); ; {
		var b *batch
		select {
		case b = <-h.free:
		case <-ctx.Done():
			return ctx.Err()
		}
		block, err := h.stream.ReadPacked(blockLen, b.block)
		if errors.Is(err, io.EOF) {
			h.ended, h.frames = true, pos
			return nil
		}
		if err != nil {
			return err
		}
		b.block, b.pos, b.active = block, pos, b.active[:0]
		pos += int64(block.Frames())
		for _, w := range rest {
			if w.from < pos {
				b.active = append(b.active, w)
			}
		}
		// Windows of several rounds may overlap, so those that end are not the first.
		rest = slices.DeleteFunc(rest, func(w *window) bool { return w.to <= pos })
		b.unread.Store(int32(len(h.lanes)))
		for _, lane := range h.lanes {
			lane <- b
		}
	}
}

// hear is the work of channel c.
func (h *hearing) hear(c int, lane <-chan *batch) error {
	for b := range lane {
		if err := b.hear(c); err != nil {
			return err
		}
		if b.unread.Add(-1) == 0 {
			h.free <- b
		}
	}
	for _, w := range h.windows {
		if h.ended && w.to > h.frames { // cut off by the end of the capture
			for _, e := range w.ears[c] {
				e.finish()
			}
		}
	}
	return nil
}

// hear lets channel c hear the block.
func (b *batch) hear(c int) error {
	end := b.pos + int64(b.block.Frames())
	buf := scratch.Get().(*[pieceLen]float64)
	defer scratch.Put(buf)
	for _, w := range b.active {
		if len(w.ears[c]) == 0 {
			continue
		}
		to := min(w.to-b.pos, end-b.pos)
		for from := max(w.from-b.pos, 0); from < to; from += int64(len(buf)) {
			x := buf[:min(int64(len(buf)), to-from)]
			if err := b.block.Unpack(c, int(from), x); err != nil {
				return err
			}
			for _, e := range w.ears[c] {
				e.feed(x)
			}
		}
		if w.to <= end {
			for _, e := range w.ears[c] {
				e.finish()
			}
		}
	}
	return nil
}

// watched is a stream that tells how far it is read.
type watched struct {
	dsp.PackedStream
	ctx   context.Context
	total int64
	pos   int64
	p     progress
}

// watch wraps a stream for progress, where its length is known, and for ctx.
func watch(ctx context.Context, s dsp.Stream, p progress) dsp.Stream {
	w := &watched{PackedStream: dsp.AsPacked(s), ctx: ctx, p: p}
	if f, ok := s.(interface{ Frames() (int64, bool) }); ok {
		if n, known := f.Frames(); known {
			w.total = n
		}
	}
	return w
}

func (w *watched) Read(dst [][]float64) (int, error) {
	if err := w.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := w.PackedStream.Read(dst)
	w.moved(n)
	return n, err
}

func (w *watched) ReadPacked(most int, reuse dsp.Packed) (dsp.Packed, error) {
	if err := w.ctx.Err(); err != nil {
		return nil, err
	}
	b, err := w.PackedStream.ReadPacked(most, reuse)
	if err == nil {
		w.moved(b.Frames())
	}
	return b, err
}

// moved tells the progress every quarter million frames, which is often enough.
func (w *watched) moved(n int) {
	before := w.pos
	w.pos += int64(n)
	if w.total > 0 && before>>18 != w.pos>>18 {
		w.p.at(float64(w.pos) / float64(w.total))
	}
}
