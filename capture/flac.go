package capture

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
)

// flacSource decodes FLAC frames, RFC 9639.
//
// The decoder is ours although there is github.com/mewkiz/flac: its version
// 1.0.14 refuses 32 bits, prints a line to standard error for every frame at 24
// and 176.4 kHz, does not check that frames follow each other, allocates each
// frame anew and takes five times as long (8 channels of 24 bits, side by side).
// The tests use it as a reference.
type flacSource struct {
	r         *Reader
	bits      uint
	claim     int64 // frames by STREAMINFO; 0: not told
	br        bitReader
	block     [][]int64 // of the current FLAC frame; block[c][off:size] is to come
	off, size int
	frames1   int64  // samples per channel decoded
	next      uint64 // coded number expected
	begun     bool
}

// minFLACBits is the smallest sample that RFC 9639 section 8.2 allows.
const minFLACBits = 4

// openFLAC reads the metadata, RFC 9639 section 8.
func (r *Reader) openFLAC() error {
	if err := r.in.skip(4); err != nil {
		return r.ioError(err)
	}
	for first := true; ; first = false {
		at := r.in.offset()
		h, err := r.in.take(4)
		if err != nil {
			return r.ioError(err)
		}
		if len(h) < 4 {
			return r.fault(ErrDamaged, r.in.offset(), "the file ends inside the FLAC metadata", "a block header", hintAgain)
		}
		last, kind, size := h[0]&0x80 != 0, h[0]&0x7f, int64(binary.BigEndian.Uint32(h)&0xffffff)
		switch {
		case first && (kind != 0 || size != 34):
			return r.fault(ErrDamaged, at, fmt.Sprintf("a first metadata block of type %d with %d bytes", kind, size),
				"STREAMINFO (type 0) with 34", hintAgain)
		case first:
			err = r.streamInfo()
		case kind == 127:
			return r.fault(ErrDamaged, at, "a metadata block of the forbidden type 127", "0 to 126", hintAgain)
		default:
			err = r.ioSkip(size)
		}
		if err != nil {
			return err
		}
		if last {
			return nil
		}
	}
}

// ioSkip steps over metadata that must be there.
func (r *Reader) ioSkip(size int64) error {
	want := r.in.offset() + size
	if err := r.in.skip(size); err != nil {
		return r.ioError(err)
	}
	if r.in.offset() < want {
		return r.fault(ErrDamaged, r.in.offset(), "the file ends inside the FLAC metadata", fmt.Sprintf("%d bytes more", want-r.in.offset()), hintAgain)
	}
	return nil
}

func (r *Reader) streamInfo() error {
	at := r.in.offset()
	b, err := r.in.take(34)
	if err != nil {
		return r.ioError(err)
	}
	if len(b) < 34 {
		return r.fault(ErrDamaged, r.in.offset(), "the file ends inside STREAMINFO", "34 bytes", hintAgain)
	}
	v := binary.BigEndian.Uint64(b[10:])
	rate, channels, bits := int(v>>44), int(v>>41&7)+1, int(v>>36&31)+1
	if rate < 1 || rate > MaxSampleRate {
		return r.fault(ErrDamaged, at+10, fmt.Sprintf("a sample rate of %d Hz", rate), fmt.Sprintf("1 to %d Hz", MaxSampleRate), hintAgain)
	}
	if bits < minFLACBits {
		return r.fault(ErrDamaged, at+12, fmt.Sprintf("samples of %d bits", bits), fmt.Sprintf("%d to 32", minFLACBits), hintAgain)
	}
	if maxBlock := binary.BigEndian.Uint16(b[2:]); maxBlock < 16 {
		return r.fault(ErrDamaged, at+2, fmt.Sprintf("blocks of at most %d samples", maxBlock), "16 to 65535", hintAgain)
	}
	r.info = Info{Format: FLAC, Encoding: PCM, Bits: bits, Channels: channels, SampleRate: rate}
	r.src = &flacSource{r: r, bits: uint(bits), claim: int64(v & (1<<36 - 1)),
		br: bitReader{in: r.in}, block: make([][]int64, channels)}
	return nil
}

// frames gives STREAMINFO's word; how many samples a file really holds shows
// only at its end.
func (s *flacSource) frames() (int64, bool) { return s.claim, false }

func (s *flacSource) read(dst [][]float64) (int, error) {
	scale := math.Ldexp(1, 1-int(s.bits))
	for done := 0; ; {
		if done == len(dst[0]) {
			return done, nil
		}
		if s.off == s.size {
			if err := s.frame(); err != nil {
				return done, err
			}
		}
		k := min(len(dst[0])-done, s.size-s.off)
		for c := range dst {
			out := dst[c][done : done+k]
			for i, v := range s.block[c][s.off : s.off+k] {
				out[i] = float64(v) * scale
			}
		}
		s.off += k
		done += k
	}
}

// frame decodes the next FLAC frame into s.block; io.EOF at the end.
func (s *flacSource) frame() error {
	in := s.r.in
	in.fill(flacHeaderMax)
	at := in.offset()
	b := in.buf[in.off:min(in.end, in.off+flacHeaderMax)]
	if len(b) < flacHeaderMax && !isEOF(in.err) {
		return s.r.ioError(in.err)
	}
	if s.claim > 0 && s.frames1 == s.claim {
		// Tags of other formats may follow the last frame.
		if len(b) >= 2 && b[0] == 0xff && b[1]&0xfe == 0xf8 {
			s.r.notes.add("The FLAC header claims %d frames, but more follow at byte %d; they are left out.", s.claim, at)
		}
		return io.EOF
	}
	if len(b) < 2 {
		return s.ended(at)
	}
	h, what := s.parseHeader(b)
	if what == headerShort {
		return s.ended(at)
	}
	if what != "" {
		return s.damaged(at, what)
	}
	return s.body(h, at)
}

// body decodes the subframes behind a header.
func (s *flacSource) body(h flacHeader, at int64) error {
	s.br.start()
	s.r.in.off += h.length
	for c := range s.block {
		if cap(s.block[c]) < h.size {
			s.block[c] = make([]int64, h.size)
		}
		s.block[c] = s.block[c][:h.size]
		bits := s.bits
		if h.side == c {
			bits++
		}
		what := s.br.subframe(s.block[c], bits)
		if s.br.short {
			return s.cut(at)
		}
		if what != "" {
			return s.damaged(at, fmt.Sprintf("channel %d: %s", c+1, what))
		}
	}
	if !s.br.finish() {
		if s.br.short {
			return s.cut(at)
		}
		return s.damaged(at, "the FLAC frame's checksum (CRC-16) is wrong")
	}
	h.join(s.block)
	s.off, s.size = 0, h.size
	if s.claim > 0 && s.frames1+int64(h.size) > s.claim {
		s.size = int(s.claim - s.frames1)
		s.r.notes.add("The last FLAC frame goes beyond the %d frames that the header claims; the rest is left out.", s.claim)
	}
	s.frames1 += int64(s.size)
	return nil
}

// cut is the end of the input inside a frame, unless the source failed.
func (s *flacSource) cut(at int64) error {
	if in := s.r.in; !isEOF(in.err) {
		return s.r.ioError(in.err)
	}
	s.off, s.size = 0, 0
	s.r.notes.add("The last FLAC frame, at byte %d, is cut off and left out.", at)
	return s.ended(at)
}

// ended is the end of the input between frames.
func (s *flacSource) ended(at int64) error {
	if rate := float64(s.r.info.SampleRate); s.claim > s.frames1 {
		s.r.notes.add("The FLAC stream is cut short: the header claims %d frames (%.3f s), the file ends after %d (%.3f s); read as far as it goes.",
			s.claim, float64(s.claim)/rate, s.frames1, float64(s.frames1)/rate)
	}
	return io.EOF
}

func (s *flacSource) damaged(at int64, what string) error {
	s.off, s.size = 0, 0
	return s.r.fault(ErrDamaged, at, what, "a FLAC frame",
		fmt.Sprintf("the %d frames (%.3f s) before it are sound; %s", s.frames1, float64(s.frames1)/float64(s.r.info.SampleRate), hintAgain))
}
