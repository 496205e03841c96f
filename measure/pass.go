package measure

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"slices"
	"sync"

	"headstack/dsp"
	"headstack/testtape"
)

// take is what one pass over one capture keeps.
type take struct {
	name     string
	rate     float64
	tracks   []int // per channel, 0 unused
	order    []int // used channels, by track number
	sections []SectionFound
	warnings []string
	tones    map[int]*toneTake // by section index; every tone section has one
	silences map[int]*silenceTake
}

// toneTake is one tone section, channel by channel; channels is nil where there
// was nothing to measure, for the reason given.
type toneTake struct {
	reason   string
	partial  bool
	carrier  float64
	channels []*toneChannel // by channel, nil where unused
	common   *toneFit       // the phases of all channels together
}

// silenceTake is one silent section.
type silenceTake struct {
	reason   string
	partial  bool
	channels []*silentChannel
}

// listener takes the samples of one channel in one section.
type listener interface {
	feed(x []float64)
	finish()
}

// window is the stretch of one section that is measured, in frames.
type window struct {
	from, to int64
	ears     []listener // by channel
}

const (
	guardPart                 = 0.03 // of a section is left out at each end: its edges are known to a frame of the search
	guardLeast, guardMostPart = 0.3, 0.15
	shortest                  = 0.7 // seconds that must remain
	blockLen                  = 8192
)

// takeSource finds the sections of one capture and measures them in a second pass.
func takeSource(ctx context.Context, src Source, opt Options, find locator, p progress) (*take, error) {
	t := &take{name: src.Name, tracks: src.Tracks, tones: map[int]*toneTake{}, silences: map[int]*silenceTake{}}
	var found finding
	half := progress{p.report, p.done, p.share / 2}
	err := withStream(ctx, src, half, func(s dsp.Stream) (err error) {
		if s.Channels() != len(src.Tracks) {
			return fmt.Errorf("%d channels, but tracks are given for %d: name one track per channel, 0 for a channel to leave out", s.Channels(), len(src.Tracks))
		}
		found, err = find(ctx, s, opt.Tape)
		return err
	})
	if err != nil {
		return nil, err
	}
	for c, track := range src.Tracks {
		if track > 0 {
			t.order = append(t.order, c)
		}
	}
	slices.SortStableFunc(t.order, func(a, b int) int { return t.tracks[a] - t.tracks[b] })
	for _, w := range found.warnings {
		t.warnings = append(t.warnings, src.Name+": "+w)
	}
	half.done += half.share
	return t, withStream(ctx, src, half, func(s dsp.Stream) error {
		t.rate = s.SampleRate()
		return t.listen(ctx, s, t.plan(opt.Tape, found))
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
func (t *take) plan(tp *testtape.Tape, found finding) []*window {
	for i, sec := range tp.Sections { // until found
		t.note(i, sec, "section not found")
	}
	ratio := found.ratio
	if !(ratio > 0) {
		ratio = 1
	}
	var windows []*window
	for _, pl := range found.places {
		sec := tp.Sections[pl.index]
		t.sections = append(t.sections, SectionFound{
			Name: sec.Name, Found: pl.found, Partial: pl.partial, StartS: pl.startS, EndS: pl.endS,
			ToneHz: sec.ToneHz, Capture: t.name, Reason: pl.reason,
		})
		if !pl.found {
			if pl.reason != "" {
				t.note(pl.index, sec, "section not found: "+pl.reason)
			}
			continue
		}
		if w := t.window(pl, sec, ratio); w != nil {
			windows = append(windows, w)
		}
	}
	slices.SortFunc(windows, func(a, b *window) int { return int(a.from - b.from) })
	return windows
}

// note records why a section is not measured.
func (t *take) note(index int, sec testtape.Section, reason string) {
	if sec.ToneHz > 0 {
		t.tones[index] = &toneTake{reason: reason}
	} else {
		t.silences[index] = &silenceTake{reason: reason}
	}
}

// window makes the listeners of one found section, or notes why there are none.
func (t *take) window(pl place, sec testtape.Section, ratio float64) *window {
	length := pl.endS - pl.startS
	guard := math.Min(math.Max(guardLeast, guardPart*length), guardMostPart*length)
	w := &window{from: int64(math.Ceil((pl.startS + guard) * t.rate)), to: int64((pl.endS - guard) * t.rate), ears: make([]listener, len(t.tracks))}
	if float64(w.to-w.from)/t.rate < shortest {
		t.note(pl.index, sec, fmt.Sprintf("section too short: %.2f s found, %.1f s needed", length, shortest/(1-2*guardMostPart)))
		return nil
	}
	if sec.ToneHz == 0 {
		st := &silenceTake{partial: pl.partial, channels: make([]*silentChannel, len(t.tracks))}
		for _, c := range t.order {
			st.channels[c] = newSilentChannel(t.rate)
			w.ears[c] = st.channels[c]
		}
		t.silences[pl.index] = st
		return w
	}
	band, ok := toneBand(sec.ToneHz*ratio, t.rate)
	if !ok {
		t.note(pl.index, sec, fmt.Sprintf("tone absent: %.0f Hz does not fit below half the sample rate of %.0f Hz", sec.ToneHz*ratio, t.rate))
		return nil
	}
	tt := &toneTake{partial: pl.partial, carrier: band.CarrierHz, channels: make([]*toneChannel, len(t.tracks))}
	for _, c := range t.order {
		tt.channels[c] = newToneChannel(t.rate, band)
		w.ears[c] = tt.channels[c]
	}
	t.tones[pl.index] = tt
	return w
}

// listen reads the stream once. While the channels of one block are worked on, the
// next block is read.
func (t *take) listen(ctx context.Context, s dsp.Stream, windows []*window) error {
	var bufs [2][][]float64
	for i := range bufs {
		bufs[i] = make([][]float64, s.Channels())
		for c := range bufs[i] {
			bufs[i][c] = make([]float64, blockLen)
		}
	}
	var wg sync.WaitGroup
	defer wg.Wait()
	pos := int64(0)
	for turn := 0; ; turn ^= 1 {
		if err := ctx.Err(); err != nil {
			return err
		}
		n, err := s.Read(bufs[turn])
		wg.Wait()
		if n > 0 {
			t.dispatch(&wg, bufs[turn], n, pos, windows)
			pos += int64(n)
			for len(windows) > 0 && windows[0].to <= pos {
				windows = windows[1:] // finished by dispatch; sections do not overlap
			}
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
	}
	wg.Wait()
	for _, w := range windows { // cut off by the end of the capture
		for _, e := range w.ears {
			if e != nil {
				e.finish()
			}
		}
	}
	return nil
}

// dispatch hands a block to one worker per processor, each with its own channels.
func (t *take) dispatch(wg *sync.WaitGroup, buf [][]float64, n int, pos int64, windows []*window) {
	end := pos + int64(n)
	var active []*window
	for _, w := range windows {
		if w.from < end && w.to > pos {
			active = append(active, w)
		}
	}
	if len(active) == 0 {
		return
	}
	workers := min(runtime.GOMAXPROCS(0), len(t.order))
	for k := range workers {
		wg.Go(func() {
			for i := k; i < len(t.order); i += workers {
				c := t.order[i]
				for _, w := range active {
					a, b := max(w.from-pos, 0), min(w.to-pos, int64(n))
					w.ears[c].feed(buf[c][a:b])
					if w.to <= end {
						w.ears[c].finish()
					}
				}
			}
		})
	}
}

// watched is a stream that tells how far it is read.
type watched struct {
	dsp.Stream
	ctx   context.Context
	total int64
	pos   int64
	p     progress
}

// watch wraps a stream for progress, where its length is known, and for ctx.
func watch(ctx context.Context, s dsp.Stream, p progress) dsp.Stream {
	w := &watched{Stream: s, ctx: ctx, p: p}
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
	n, err := w.Stream.Read(dst)
	before := w.pos
	w.pos += int64(n)
	if w.total > 0 && before>>18 != w.pos>>18 { // every quarter million frames is often enough
		w.p.at(float64(w.pos) / float64(w.total))
	}
	return n, err
}
