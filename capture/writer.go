package capture

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// Spec says what a Writer writes.
type Spec struct {
	Encoding   Encoding // PCM or Float
	Bits       int      // PCM: 16, 24 or 32; Float: 32 or 64
	Channels   int      // 1 to MaxChannels
	SampleRate int      // hertz, 1 to MaxSampleRate
}

// A Writer writes a WAV file, or RF64 once it passes 4 GiB. Until Close has
// run the file says that its length is unknown, and [Open] still reads it.
type Writer struct {
	w        io.WriteSeeker
	spec     Spec
	encode   encoder
	base     int64 // offset of the file's start in w
	dataAt   int64 // offset of the first sample
	factAt   int64 // offset of the fact chunk's count; 0: there is none
	limit    uint64
	frames   int64
	clipped  int64
	buf      []byte
	err      error
	finished bool
}

// junkSize is the body of a ds64 chunk with an empty table. EBU Tech 3306,
// clause 3.5, has a writer reserve it as JUNK and rename it when it must.
const junkSize = 28

// ErrSpec is the error of NewWriter for a Spec that no WAV file can have.
var ErrSpec = errors.New("impossible WAV format")

// NewWriter starts a WAV file at the current position of w, which the caller
// closes after Close. The error is ErrSpec or that of w.
func NewWriter(w io.WriteSeeker, spec Spec) (*Writer, error) {
	enc := encoderFor(spec)
	switch {
	case enc == nil:
		return nil, fmt.Errorf("%w: %s of %d bits, want PCM of 16, 24 or 32 or float of 32 or 64", ErrSpec, spec.Encoding, spec.Bits)
	case spec.Channels < 1 || spec.Channels > MaxChannels:
		return nil, fmt.Errorf("%w: %d channels, want 1 to %d", ErrSpec, spec.Channels, MaxChannels)
	case spec.SampleRate < 1 || spec.SampleRate > MaxSampleRate:
		return nil, fmt.Errorf("%w: %d Hz, want 1 to %d", ErrSpec, spec.SampleRate, MaxSampleRate)
	}
	base, err := w.Seek(0, io.SeekCurrent)
	if err != nil {
		return nil, fmt.Errorf("starting WAV file: %w", err)
	}
	c := &Writer{w: w, spec: spec, encode: enc, base: base, limit: math.MaxUint32}
	head := c.header()
	c.dataAt = base + int64(len(head))
	if c.factAt > 0 {
		c.factAt += base
	}
	if _, err := w.Write(head); err != nil {
		return nil, fmt.Errorf("writing WAV header: %w", err)
	}
	frame := spec.Bits / 8 * spec.Channels
	c.buf = make([]byte, max(1, inputBuffer/frame)*frame)
	return c, nil
}

// header builds everything before the samples, with lengths unknown.
func (c *Writer) header() []byte {
	le := binary.LittleEndian
	s, bytes := c.spec, c.spec.Bits/8
	tag := uint16(tagPCM)
	if s.Encoding == Float {
		tag = tagFloat
	}
	extensible := s.Channels > 2 || s.Encoding == PCM && s.Bits > 16
	h := append([]byte("RIFF\xff\xff\xff\xffWAVEJUNK"), le.AppendUint32(nil, junkSize)...)
	h = append(h, make([]byte, junkSize)...)
	size, first := uint32(16), tag
	switch {
	case extensible:
		size, first = 40, tagExtensible
	case tag == tagFloat:
		size = 18
	}
	h = le.AppendUint32(append(h, "fmt "...), size)
	h = le.AppendUint16(h, first)
	h = le.AppendUint16(h, uint16(s.Channels))
	h = le.AppendUint32(h, uint32(s.SampleRate))
	h = le.AppendUint32(h, uint32(min(math.MaxUint32, int64(s.SampleRate)*int64(bytes*s.Channels))))
	h = le.AppendUint16(h, uint16(bytes*s.Channels))
	h = le.AppendUint16(h, uint16(s.Bits))
	switch size {
	case 18:
		h = le.AppendUint16(h, 0)
	case 40:
		h = le.AppendUint16(h, 22)
		h = le.AppendUint16(h, uint16(s.Bits))
		h = le.AppendUint32(h, 0) // tracks of a tape belong to no loudspeaker
		h = append(le.AppendUint16(h, tag), mediaSubtype...)
	}
	if first != tagPCM { // the 1991 specification asks for it in all but PCM
		h = le.AppendUint32(append(h, "fact"...), 4)
		c.factAt = int64(len(h))
		h = le.AppendUint32(h, unknown32)
	}
	return append(h, "data\xff\xff\xff\xff"...)
}

// Write appends planar[c][:n] of each channel c. PCM is rounded to the nearest step,
// ties to even, and clipped at full scale. A sample that is NaN or infinite is
// an error, and nothing from its block on is written. It panics unless planar
// has the channels of the Spec, each of at least n samples.
func (c *Writer) Write(planar [][]float64, n int) error {
	if len(planar) != c.spec.Channels {
		panic(fmt.Sprintf("capture: Write of %d channels, want %d", len(planar), c.spec.Channels))
	}
	for i := range planar {
		if n < 0 || len(planar[i]) < n {
			panic(fmt.Sprintf("capture: Write of %d frames from %d", n, len(planar[i])))
		}
	}
	if c.finished && c.err == nil {
		return errors.New("writing WAV file: it is closed")
	}
	frame := c.spec.Bits / 8 * c.spec.Channels
	for at := 0; at < n && c.err == nil; {
		k := min(n-at, len(c.buf)/frame)
		clipped, bad := c.encode(c.buf, planar, at, k)
		if bad >= 0 {
			c.err = fmt.Errorf("writing WAV file: the sample of frame %d is no finite number", c.frames+int64(bad))
			break
		}
		if _, err := c.w.Write(c.buf[:k*frame]); err != nil {
			c.err = fmt.Errorf("writing WAV samples: %w", err)
			break
		}
		c.clipped += int64(clipped)
		c.frames += int64(k)
		at += k
	}
	return c.err
}

// Frames is the number of frames written.
func (c *Writer) Frames() int64 { return c.frames }

// Clipped is the number of samples that did not fit and were written as the
// nearest that does.
func (c *Writer) Clipped() int64 { return c.clipped }

// Close fills in the lengths and leaves w at the end of the file. After an
// error of Write it fills in what was written and returns that error again.
func (c *Writer) Close() error {
	if c.finished {
		return c.err
	}
	c.finished = true
	if err := c.finish(); err != nil && c.err == nil {
		c.err = fmt.Errorf("finishing WAV file: %w", err)
	}
	return c.err
}

func (c *Writer) finish() error {
	le := binary.LittleEndian
	data := uint64(c.frames) * uint64(c.spec.Bits/8*c.spec.Channels)
	end := c.dataAt + int64(data)
	if _, err := c.w.Seek(end, io.SeekStart); err != nil {
		return err
	}
	if data&1 == 1 {
		if _, err := c.w.Write([]byte{0}); err != nil {
			return err
		}
		end++
	}
	base := c.base
	riffSize := uint64(end-base) - 8
	long := riffSize > c.limit
	frames := uint32(min(c.frames, unknown32))
	type patch struct {
		at int64
		b  []byte
	}
	patches := []patch{
		{base + 4, le.AppendUint32(nil, uint32(riffSize))},
		{c.dataAt - 4, le.AppendUint32(nil, uint32(data))},
	}
	if long {
		frames = unknown32
		ds := le.AppendUint32([]byte("ds64"), junkSize)
		for _, v := range []uint64{riffSize, data, uint64(c.frames)} {
			ds = le.AppendUint64(ds, v)
		}
		patches = []patch{{base + 12, ds}, {c.dataAt - 4, []byte("\xff\xff\xff\xff")}, {base, []byte("RF64\xff\xff\xff\xff")}}
	}
	if c.factAt > 0 {
		patches = append(patches, patch{c.factAt, le.AppendUint32(nil, frames)})
	}
	for _, p := range patches {
		if _, err := c.w.Seek(p.at, io.SeekStart); err != nil {
			return err
		}
		if _, err := c.w.Write(p.b); err != nil {
			return err
		}
	}
	_, err := c.w.Seek(end, io.SeekStart)
	return err
}
