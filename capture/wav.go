package capture

import (
	"fmt"
	"io"
	"math"

	"headstack/dsp"
)

// wavSource decodes the samples of a data chunk.
type wavSource struct {
	r              *Reader
	f              wavFormat
	decode, unpack decoder // of a block in the cache, of a block that is shared
	start          int64   // offset of the first sample
	left           int64   // bytes still to come at most; MaxInt64: to the end of the input
	claim          int64   // bytes the header claims; below 0: none
	sure           bool    // left was checked against the file's size
}

// newWAV settles how many bytes the samples have. A size field is believed
// only as far as the file bears it out.
func (r *Reader) newWAV(w *riff) *wavSource {
	s := &wavSource{r: r, f: *w.format, start: w.dataAt}
	s.decode, s.unpack = decoderFor(s.f), unpackerFor(s.f)
	size := int64(min(w.dataSize, math.MaxInt64-1))
	open := s.lengthOpen(w)
	if open {
		r.notes.add("The header gives no length, as a recorder does that was cut off or wrote to a pipe; read to the end of the file, chunks behind the samples included.")
		s.claim, s.left = -1, math.MaxInt64
	} else {
		s.claim, s.left = size, size
	}
	if r.in.size < 0 {
		return s
	}
	s.sure = true
	remain := max(0, r.in.size-w.dataAt)
	if open {
		s.left = remain
	} else if w.id == "RIFF" && remain-size >= 1<<32 {
		// A plain RIFF longer than its 32 bits: the count went round. What follows
		// cannot be 4 GiB of notes.
		s.left += (remain - size) >> 32 << 32
		r.notes.add("The data length wrapped at 4 GiB: the header says %d bytes, the file holds %d; read as %d bytes.", size, remain, s.left)
	} else if size > remain {
		s.left = remain
		s.truncated(remain)
	}
	s.partial(s.left)
	return s
}

// lengthOpen tells a length that was never filled in. Zero is also the honest
// length of an empty capture: then the size of the whole file agrees.
func (s *wavSource) lengthOpen(w *riff) bool {
	size := s.r.in.size
	switch {
	case w.dataSize == unknown32 && w.id == "RIFF", w.dataSize == unknown32 && !w.long, w.dataSize == math.MaxUint64:
		return true
	case w.dataSize == 0 && size >= 0:
		return size > w.dataAt && w.riffSize != uint64(size-8) && w.riffSize != uint64(size-7)
	case w.dataSize == 0:
		return w.riffSize < uint64(w.dataAt-8) || w.riffSize == unknown32
	case w.id == "RIFF" && w.dataSize >= 1<<31-1<<16 && w.dataSize < 1<<31 && size >= 0:
		// Some writers to a pipe claim just under 2 GiB.
		return w.dataSize > uint64(size)
	}
	return false
}

func (s *wavSource) truncated(got int64) {
	fb := int64(s.f.frameBytes())
	rate := float64(s.f.sampleRate)
	s.r.notes.add("The data chunk is cut short: the header claims %d frames (%.3f s), the file ends after %d (%.3f s) at byte %d; read as far as it goes.",
		s.claim/fb, float64(s.claim/fb)/rate, got/fb, float64(got/fb)/rate, s.start+got)
}

// partial warns of bytes that make no whole frame.
func (s *wavSource) partial(bytes int64) {
	if fb := int64(s.f.frameBytes()); bytes%fb != 0 {
		s.r.notes.add("The last %d bytes of the samples make no whole frame of %d bytes and are left out.", bytes%fb, fb)
	}
}

func (s *wavSource) frames() (int64, bool) {
	switch fb := int64(s.f.frameBytes()); {
	case s.sure:
		return s.given() + s.left/fb, true
	case s.claim >= 0:
		return s.claim / fb, false
	}
	return 0, false
}

// given is the number of frames handed out so far.
func (s *wavSource) given() int64 {
	return (s.r.in.offset() - s.start) / int64(s.f.frameBytes())
}

func (s *wavSource) read(dst [][]float64) (int, error) {
	in, fb := s.r.in, s.f.frameBytes()
	for done := 0; ; {
		want := min(int64(len(dst[0])-done), s.left/int64(fb))
		if done == len(dst[0]) {
			return done, nil
		}
		if want == 0 {
			if !s.sure {
				s.partial(s.left)
			}
			return done, io.EOF
		}
		in.fill(fb)
		k := int(min(want, int64((in.end-in.off)/fb)))
		if k == 0 {
			return done, s.ended()
		}
		// The slack behind the buffer lets decoders load whole words.
		if bad := s.decodeAll(in.buf[in.off:in.off+k*fb+slack], dst, done, k); bad >= 0 {
			return done + bad/s.f.channels, s.notNumber(in.offset(), bad)
		}
		in.off += k * fb
		s.left -= int64(k * fb)
		done += k
	}
}

// decodeAll decodes k frames channel by channel, over a block that stays in the cache.
// It returns -1, or the interleaved index of the first sample that is no number.
func (s *wavSource) decodeAll(b []byte, dst [][]float64, at, k int) int {
	first := -1
	for c := range dst {
		bad := s.decode(b, dst[c][at:at+k], c*s.f.container, s.f.frameBytes())
		if i := bad*s.f.channels + c; bad >= 0 && (first < 0 || i < first) {
			first = i
		}
	}
	return first
}

// wavBlock is a block of samples as they stand in the file.
type wavBlock struct {
	s      *wavSource
	raw    []byte // slack bytes longer than the frames
	frames int
	at     int64 // offset of raw in the file
}

// readPacked reads whole frames past the buffer.
func (s *wavSource) readPacked(most int, reuse dsp.Packed) (dsp.Packed, error) {
	fb := s.f.frameBytes()
	want := int(min(int64(most), s.left/int64(fb)))
	if want == 0 {
		if !s.sure {
			s.partial(s.left)
		}
		return nil, io.EOF
	}
	b, ok := reuse.(*wavBlock)
	if !ok || len(b.raw) < want*fb+slack {
		b = &wavBlock{raw: make([]byte, most*fb+slack)}
	}
	b.s, b.at = s, s.r.in.offset()
	b.frames = s.r.in.readInto(b.raw[:want*fb]) / fb
	s.left -= int64(b.frames * fb)
	if b.frames == 0 {
		return nil, s.ended()
	}
	return b, nil
}

// Frames is the length of the block.
func (b *wavBlock) Frames() int { return b.frames }

// Unpack decodes a channel.
func (b *wavBlock) Unpack(c, from int, dst []float64) error {
	fb := b.s.f.frameBytes()
	if bad := b.s.unpack(b.raw, dst[:min(len(dst), b.frames-from)], from*fb+c*b.s.f.container, fb); bad >= 0 {
		return b.s.notNumber(b.at, (from+bad)*b.s.f.channels+c)
	}
	return nil
}

// ended tells why the input stopped before the chunk did.
func (s *wavSource) ended() error {
	in := s.r.in
	if !isEOF(in.err) {
		return s.r.ioError(in.err)
	}
	got := in.offset() - s.start + int64(in.end-in.off)
	if s.claim >= 0 {
		s.truncated(got)
	}
	s.partial(got)
	return io.EOF
}

// notNumber is the error for the bad-th sample of a block that starts at an offset.
func (s *wavSource) notNumber(block int64, bad int) error {
	at := block + int64(bad*s.f.container)
	frame := (at - s.start) / int64(s.f.frameBytes())
	return s.r.fault(ErrDamaged, at, fmt.Sprintf("the sample of frame %d, channel %d is no finite number", frame, bad%s.f.channels+1),
		"a number", "the file may be cut or not be floating point; "+hintAgain)
}
