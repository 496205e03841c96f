package capture

import (
	"errors"
	"fmt"
	"io"
	"os"

	"headstack/dsp"
)

// MaxChannels is the largest number of channels that is read or written. No
// tape machine comes near it: more means a damaged header.
const MaxChannels = 256

// MaxSampleRate is the highest rate in hertz that is read or written: 32 times
// 48 kHz, above any converter used for audio. More means a damaged header.
const MaxSampleRate = 1_536_000

// A Format is the kind of file a capture comes in.
type Format string

// The formats that are read.
const (
	WAV  Format = "WAV"
	RF64 Format = "RF64"
	BW64 Format = "BW64"
	FLAC Format = "FLAC"
)

// An Encoding is how samples are stored.
type Encoding string

// The encodings.
const (
	PCM   Encoding = "PCM"   // integers; unsigned at 8 bits and below in WAV
	Float Encoding = "float" // IEEE 754 binary32 or binary64
)

// Info describes a capture as its header does.
type Info struct {
	Format     Format
	Encoding   Encoding
	Bits       int // of a sample; valid bits where the container is larger
	Channels   int
	SampleRate int // hertz
}

// String is such as "WAV, PCM 24 bit, 8 channels, 96000 Hz".
func (i Info) String() string {
	s := "s"
	if i.Channels == 1 {
		s = ""
	}
	return fmt.Sprintf("%s, %s %d bit, %d channel%s, %d Hz", i.Format, i.Encoding, i.Bits, i.Channels, s, i.SampleRate)
}

// A Reader streams one capture from front to back. It is not safe for use by
// several goroutines at once.
type Reader struct {
	name   string
	in     *input
	src    source
	info   Info
	notes  notes
	file   io.Closer // nil when the caller owns the input
	pos    int64     // frames given so far
	err    error     // what the next Read returns
	closed bool
}

// Reader is what the measures read.
var _ dsp.PackedStream = (*Reader)(nil)

// A source decodes one format.
type source interface {
	// read fills dst as dsp.Stream.Read does; n is short of len(dst[0]) only
	// together with an error, which is io.EOF at the end.
	read(dst [][]float64) (n int, err error)
	// frames is the length as far as the header tells; sure if the file size
	// bears it out.
	frames() (n int64, sure bool)
}

// Open opens a capture file. The name "-" is standard input. The error is an
// [*Error] if the content is at fault, else the operating system's.
func Open(path string) (*Reader, error) {
	if path == "-" {
		return NewReader(os.Stdin, "standard input")
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("opening capture: %w", err)
	}
	if st, err := f.Stat(); err == nil && st.IsDir() {
		f.Close()
		return nil, &Error{Kind: ErrNotCapture, File: path, Offset: -1, What: "this is a folder",
			Want: "a WAV or FLAC file", Hint: "name the files in it"}
	}
	r, err := NewReader(f, path)
	if err != nil {
		f.Close()
		return nil, err
	}
	r.file = f
	return r, nil
}

// NewReader reads a capture from r, starting where r stands; name is used in
// errors and warnings. If r also seeks (a file, not a pipe), lengths are checked against its
// size at once, and a data chunk may come before its format. The caller keeps r
// and closes it.
func NewReader(r io.Reader, name string) (*Reader, error) {
	c := &Reader{name: name, in: newInput(r)}
	magic, err := c.in.peek(12)
	if err != nil {
		return nil, c.ioError(err)
	}
	switch {
	case len(magic) >= 4 && string(magic[:4]) == "fLaC":
		err = c.openFLAC()
	case len(magic) == 12 && isRIFF(string(magic[:4])) && string(magic[8:12]) == "WAVE":
		err = c.openWAV()
	default:
		err = c.refuse(magic)
	}
	if err != nil {
		return nil, err
	}
	if n, known := c.src.frames(); known && n == 0 {
		c.notes.add(noSamples)
	}
	return c, nil
}

const noSamples = "The capture holds no samples."

// Channels is the number of channels, 1 to MaxChannels.
func (r *Reader) Channels() int { return r.info.Channels }

// SampleRate is in hertz.
func (r *Reader) SampleRate() float64 { return float64(r.info.SampleRate) }

// Info describes the capture.
func (r *Reader) Info() Info { return r.info }

// Frames is the length in frames. It is known when the file's size bears the
// header out, or once the end has been read; until then n is what the header
// claims, 0 if it claims nothing.
func (r *Reader) Frames() (n int64, known bool) {
	if r.err == io.EOF {
		return r.pos, true
	}
	return r.src.frames()
}

// Warnings says what is doubtful about the capture, in full sentences without
// the file's name. More may be added until Read has returned io.EOF.
func (r *Reader) Warnings() []string { return append([]string(nil), r.notes...) }

// Read fills dst[c][:n] with the next n frames of each channel c. It fills dst
// wholly unless the capture ends or fails first; then the next call returns
// n = 0 with io.EOF or the error. It panics unless dst has Channels() slices of
// one length above 0.
func (r *Reader) Read(dst [][]float64) (int, error) {
	checkPlanar(dst, r.info.Channels, "Read")
	if r.closed {
		return 0, fmt.Errorf("reading %s: %w", r.name, os.ErrClosed)
	}
	if r.err != nil {
		return 0, r.err
	}
	n, err := r.src.read(dst)
	r.pos += int64(n)
	if err != nil {
		r.err = err
		if err == io.EOF && r.pos == 0 {
			r.notes.add(noSamples)
		}
		if n == 0 {
			return 0, err
		}
	}
	return n, nil
}

// ReadPacked reads the next frames undecoded where the format allows it, as
// [dsp.PackedStream] says; what Read says of the end and of errors holds here too.
func (r *Reader) ReadPacked(most int, reuse dsp.Packed) (dsp.Packed, error) {
	w, ok := r.src.(*wavSource)
	if !ok {
		b, err := dsp.ReadPlanar(r, most, reuse)
		if b != nil {
			return b, nil // Read says the error again
		}
		return nil, err
	}
	if r.closed {
		return nil, fmt.Errorf("reading %s: %w", r.name, os.ErrClosed)
	}
	if r.err != nil {
		return nil, r.err
	}
	b, err := w.readPacked(most, reuse)
	if err != nil {
		r.err = err
		if err == io.EOF && r.pos == 0 {
			r.notes.add(noSamples)
		}
		return nil, err
	}
	r.pos += int64(b.Frames())
	return b, nil
}

// Close ends reading and closes the file if Open opened it. Further calls do
// nothing.
func (r *Reader) Close() error {
	if r.closed {
		return nil
	}
	r.closed = true
	if r.file != nil {
		return r.file.Close()
	}
	return nil
}

// fault makes an Error about this capture at an offset.
func (r *Reader) fault(kind error, offset int64, what, want, hint string) *Error {
	return &Error{Kind: kind, File: r.name, Offset: offset, What: what, Want: want, Hint: hint}
}

// ioError wraps an error of the disk or pipe, which says nothing about the
// capture's content.
func (r *Reader) ioError(err error) error {
	var e *Error
	if errors.As(err, &e) {
		return err
	}
	return fmt.Errorf("reading %s at byte %d: %w", r.name, r.in.offset(), err)
}

// notes are warnings, each said once.
type notes []string

func (n *notes) add(format string, args ...any) {
	s := fmt.Sprintf(format, args...)
	for _, old := range *n {
		if old == s {
			return
		}
	}
	*n = append(*n, s)
}

func checkPlanar(p [][]float64, channels int, verb string) {
	if len(p) != channels {
		panic(fmt.Sprintf("capture: %s of %d channels into %d", verb, channels, len(p)))
	}
	for _, c := range p {
		if len(c) == 0 || len(c) != len(p[0]) {
			panic("capture: " + verb + " needs slices of one length above 0")
		}
	}
}
