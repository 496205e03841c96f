package live

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"headstack/capture"
)

// RawFormat is what samples without a header are: whole frames, one channel after the other,
// low byte first.
type RawFormat struct {
	Encoding   capture.Encoding
	Bits       int // PCM: 16, 24 or 32, signed; float: 32
	SampleRate int // hertz
	Channels   int
}

// rawNames are the encodings by the names that tools of the trade give them.
var rawNames = map[string]RawFormat{
	"s16le": {Encoding: capture.PCM, Bits: 16},
	"s24le": {Encoding: capture.PCM, Bits: 24},
	"s32le": {Encoding: capture.PCM, Bits: 32},
	"f32le": {Encoding: capture.Float, Bits: 32},
}

// ParseRaw reads "FORMAT,RATE,CHANNELS", such as "s24le,48000,8". FORMAT is s16le, s24le (three
// bytes), s32le or f32le.
func ParseRaw(s string) (RawFormat, error) {
	f := strings.Split(s, ",")
	if len(f) != 3 {
		return RawFormat{}, fmt.Errorf("%q: want FORMAT,RATE,CHANNELS such as s24le,48000,8", s)
	}
	r, ok := rawNames[strings.ToLower(strings.TrimSpace(f[0]))]
	if !ok {
		return RawFormat{}, fmt.Errorf("%q: %q is no format read here: want s16le, s24le, s32le or f32le", s, f[0])
	}
	var err error
	if r.SampleRate, err = strconv.Atoi(strings.TrimSpace(f[1])); err != nil || r.SampleRate < 1000 || r.SampleRate > capture.MaxSampleRate {
		return RawFormat{}, fmt.Errorf("%q: %q is no sample rate from 1000 to %d Hz", s, f[1], capture.MaxSampleRate)
	}
	if r.Channels, err = strconv.Atoi(strings.TrimSpace(f[2])); err != nil || r.Channels < 1 || r.Channels > capture.MaxChannels {
		return RawFormat{}, fmt.Errorf("%q: %q is no number of channels from 1 to %d", s, f[2], capture.MaxChannels)
	}
	return r, nil
}

// PartialFrameError says that raw samples ended inside a frame. All whole frames are kept.
type PartialFrameError struct {
	Bytes, Frame int   // there are, and a frame has
	Frames       int64 // whole ones before
}

func (e *PartialFrameError) Error() string {
	return fmt.Sprintf("the input ends after %d frames with %d bytes of a frame of %d", e.Frames, e.Bytes, e.Frame)
}

// Hint says what to do.
func (e *PartialFrameError) Hint() string {
	return "the whole frames are kept; if every channel looks wrong, format or number of channels are not those of the source"
}

// Feed reads raw samples and writes them to w until the input ends, which is no error, w
// fails or ctx ends. Integers of N bits are divided by 2^(N-1); of 32 bits the lowest eight are
// rounded, all others arrive exactly. A read that waits for input when ctx ends is left waiting.
func Feed(ctx context.Context, r io.Reader, f RawFormat, w interface{ Write([]float32) error }) error {
	type chunk struct {
		b   []byte
		err error
	}
	chunks, free := make(chan chunk), make(chan []byte, 2)
	free <- make([]byte, 1<<16)
	free <- make([]byte, 1<<16)
	quit := make(chan struct{})
	defer close(quit)
	go func() {
		for {
			var b []byte
			select {
			case b = <-free:
			case <-quit:
				return
			}
			n, err := r.Read(b[:cap(b)])
			select {
			case chunks <- chunk{b[:n], err}:
			case <-quit:
				return
			}
			if err != nil {
				return
			}
		}
	}()
	size := f.Bits / 8 * f.Channels
	var rest []byte // of a frame
	var frames int64
	var x []float32
	for {
		var c chunk
		select {
		case c = <-chunks:
		case <-ctx.Done():
			return ctx.Err()
		}
		b := c.b
		if len(rest) > 0 {
			k := min(size-len(rest), len(b))
			rest = append(rest, b[:k]...)
			b = b[k:]
			if len(rest) == size {
				x = f.decode(x[:0], rest)
				rest = rest[:0]
				if err := w.Write(x); err != nil {
					return err
				}
				frames++
			}
		}
		whole := len(b) / size * size
		if whole > 0 {
			x = f.decode(x[:0], b[:whole])
			if err := w.Write(x); err != nil {
				return err
			}
			frames += int64(whole / size)
		}
		rest = append(rest, b[whole:]...)
		if c.err != nil {
			switch {
			case !errors.Is(c.err, io.EOF):
				return fmt.Errorf("reading raw samples after %d frames: %w", frames, c.err)
			case len(rest) > 0:
				return &PartialFrameError{Bytes: len(rest), Frame: size, Frames: frames}
			}
			return nil
		}
		free <- c.b
	}
}

// decode appends the samples of whole frames.
func (f RawFormat) decode(x []float32, b []byte) []float32 {
	le := binary.LittleEndian
	switch {
	case f.Encoding == capture.Float:
		for ; len(b) >= 4; b = b[4:] {
			x = append(x, math.Float32frombits(le.Uint32(b)))
		}
	case f.Bits == 16:
		for ; len(b) >= 2; b = b[2:] {
			x = append(x, float32(int16(le.Uint16(b)))/(1<<15))
		}
	case f.Bits == 24:
		for ; len(b) >= 3; b = b[3:] {
			v := int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24) >> 8
			x = append(x, float32(v)/(1<<23))
		}
	default:
		for ; len(b) >= 4; b = b[4:] {
			x = append(x, float32(float64(int32(le.Uint32(b)))/(1<<31)))
		}
	}
	return x
}
