package capture_test

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"

	"headstack/capture"
)

// planar makes n frames of silence.
func planar(channels, n int) [][]float64 {
	p := make([][]float64, channels)
	for c := range p {
		p[c] = make([]float64, n)
	}
	return p
}

// testSignal is noise within ±0.99 with both ends of full scale in it: -1 and
// the most positive that 8 bits can hold, so that no encoding has to clip.
func testSignal(channels, n int, seed uint64) [][]float64 {
	rng := rand.New(rand.NewPCG(seed, 77))
	p := planar(channels, n)
	for c := range p {
		for i := range p[c] {
			p[c][i] = 0.99 * (2*rng.Float64() - 1)
		}
		if n > 3 {
			p[c][1], p[c][2], p[c][3] = -1, 1-1.0/128, 0
		}
	}
	return p
}

// encoding is one way to store samples, written here from the specification
// and apart from the package under test.
type encoding struct {
	name     string
	tag      uint16
	bits     int // of the container
	valid    int // in an extensible header; 0: plain header
	encoding capture.Encoding
}

var encodings = []encoding{
	{name: "pcm8", tag: 1, bits: 8, encoding: capture.PCM},
	{name: "pcm16", tag: 1, bits: 16, encoding: capture.PCM},
	{name: "pcm24", tag: 1, bits: 24, encoding: capture.PCM},
	{name: "pcm32", tag: 1, bits: 32, encoding: capture.PCM},
	{name: "float32", tag: 3, bits: 32, encoding: capture.Float},
	{name: "float64", tag: 3, bits: 64, encoding: capture.Float},
	{name: "pcm12 plain", tag: 1, bits: 12, encoding: capture.PCM},
	{name: "pcm20 plain", tag: 1, bits: 20, encoding: capture.PCM},
	{name: "pcm16 extensible", tag: 1, bits: 16, valid: 16, encoding: capture.PCM},
	{name: "pcm20 in 24 extensible", tag: 1, bits: 24, valid: 20, encoding: capture.PCM},
	{name: "pcm24 in 32 extensible", tag: 1, bits: 32, valid: 24, encoding: capture.PCM},
	{name: "float32 extensible", tag: 3, bits: 32, valid: 32, encoding: capture.Float},
	{name: "float64 extensible", tag: 3, bits: 64, valid: 64, encoding: capture.Float},
}

func (e encoding) bytes() int { return (e.bits + 7) / 8 }

func (e encoding) validBits() int {
	if e.valid > 0 {
		return e.valid
	}
	return e.bits
}

// step is the quantisation; half of it is the largest error of rounding.
func (e encoding) step() float64 {
	switch {
	case e.tag == 3 && e.bits == 64:
		return 0
	case e.tag == 3:
		return math.Ldexp(1, -24) // 24 bits of mantissa below 1
	}
	return math.Ldexp(1, 1-e.validBits())
}

// encode stores the samples left-justified in the container, 8 bits unsigned.
func (e encoding) encode(sig [][]float64) []byte {
	var b []byte
	le := binary.LittleEndian
	for i := range sig[0] {
		for c := range sig {
			switch x := sig[c][i]; {
			case e.tag == 3 && e.bits == 64:
				b = le.AppendUint64(b, math.Float64bits(x))
			case e.tag == 3:
				b = le.AppendUint32(b, math.Float32bits(float32(x)))
			default:
				v := int64(math.Round(math.Ldexp(x, e.validBits()-1)))
				v = min(v, 1<<(e.validBits()-1)-1)
				v <<= 8*e.bytes() - e.validBits()
				if e.bytes() == 1 {
					v += 128
				}
				b = append(b, le.AppendUint64(nil, uint64(v))[:e.bytes()]...)
			}
		}
	}
	return b
}

// wav builds a file chunk by chunk.
type wav struct {
	enc            encoding
	channels, rate int
	data           []byte
	id             string  // RIFF when empty
	before, after  []chunk // of fmt; of data
	dataFirst      bool
	tail           []byte // behind the last chunk
}

type chunk struct {
	id   string
	body []byte
}

func (c chunk) append(b []byte) []byte {
	b = append(b, c.id...)
	b = append(binary.LittleEndian.AppendUint32(b, uint32(len(c.body))), c.body...)
	if len(c.body)%2 == 1 {
		b = append(b, 0)
	}
	return b
}

func (w wav) fmtChunk() chunk {
	le := binary.LittleEndian
	align := w.enc.bytes() * w.channels
	tag := w.enc.tag
	if w.enc.valid > 0 {
		tag = 0xfffe
	}
	b := le.AppendUint16(nil, tag)
	b = le.AppendUint16(b, uint16(w.channels))
	b = le.AppendUint32(b, uint32(w.rate))
	b = le.AppendUint32(b, uint32(w.rate*align))
	b = le.AppendUint16(b, uint16(align))
	b = le.AppendUint16(b, uint16(w.enc.bits))
	if w.enc.valid > 0 {
		b = le.AppendUint16(b, 22)
		b = le.AppendUint16(b, uint16(w.enc.valid))
		b = le.AppendUint32(b, 0)
		b = le.AppendUint16(b, w.enc.tag)
		b = append(b, "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"...)
	}
	return chunk{"fmt ", b}
}

func (w wav) build() []byte {
	var b []byte
	long := w.id == "RF64" || w.id == "BW64"
	if w.id == "" {
		w.id = "RIFF"
	}
	b = append(b, w.id+"\xff\xff\xff\xffWAVE"...)
	if long {
		b = chunk{"ds64", make([]byte, 28)}.append(b)
	}
	for _, c := range w.before {
		b = c.append(b)
	}
	data := chunk{"data", w.data}
	if w.dataFirst {
		b = data.append(b)
	}
	b = w.fmtChunk().append(b)
	if !w.dataFirst {
		at := len(b)
		b = data.append(b)
		if long {
			copy(b[at+4:], "\xff\xff\xff\xff")
		}
	}
	for _, c := range w.after {
		b = c.append(b)
	}
	if long {
		le := binary.LittleEndian
		le.PutUint64(b[20:], uint64(len(b)-8))
		le.PutUint64(b[28:], uint64(len(w.data)))
		le.PutUint64(b[36:], uint64(len(w.data)/(w.channels*w.enc.bytes())))
	} else {
		binary.LittleEndian.PutUint32(b[4:], uint32(len(b)-8))
	}
	return append(b, w.tail...)
}

// integers are the samples as numbers of so many bits.
func integers(x []float64, bits int) []int32 {
	v := make([]int32, len(x))
	for i := range x {
		v[i] = int32(min(math.Round(math.Ldexp(x[i], bits-1)), math.Ldexp(1, bits-1)-1))
	}
	return v
}

// libraryFLAC encodes with the library github.com/mewkiz/flac.
func libraryFLAC(t testing.TB, sig [][]float64, bits, rate int) []byte {
	t.Helper()
	var out bytes.Buffer
	info := &meta.StreamInfo{BlockSizeMin: 16, BlockSizeMax: 4096, SampleRate: uint32(rate), NChannels: uint8(len(sig)),
		BitsPerSample: uint8(bits), NSamples: uint64(len(sig[0]))}
	enc, err := flac.NewEncoder(&out, info)
	if err != nil {
		t.Fatal(err)
	}
	for at := 0; at < len(sig[0]); at += 4096 {
		n := min(4096, len(sig[0])-at)
		f := &frame.Frame{Header: frame.Header{HasFixedBlockSize: true, BlockSize: uint16(n), SampleRate: uint32(rate),
			Channels: frame.Channels(len(sig) - 1), BitsPerSample: uint8(bits)}}
		for c := range sig {
			f.Subframes = append(f.Subframes, &frame.Subframe{SubHeader: frame.SubHeader{Pred: frame.PredVerbatim},
				Samples: integers(sig[c][at:at+n], bits), NSamples: n})
		}
		if err := enc.WriteFrame(f); err != nil {
			t.Fatal(err)
		}
	}
	if err := enc.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// tool finds a program that the tests compare with. Without it the test is
// skipped, or fails where the environment says that tools must be there.
func tool(t testing.TB, name, debian string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("HEADSTACK_NEED_TOOLS") == "1" {
			t.Fatalf("%s is not installed and HEADSTACK_NEED_TOOLS=1 asks for it; install Debian's %s", name, debian)
		}
		t.Skipf("NOT CHECKED: %s is not installed (Debian's %s), so nothing was compared with it", name, debian)
	}
	return path
}

// run runs a tool and gives its standard output.
func run(t testing.TB, in []byte, name string, args ...string) []byte {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Stdin = bytes.NewReader(in)
	var out, msg bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &msg
	if err := cmd.Run(); err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, msg.Bytes())
	}
	return out.Bytes()
}

// toolFLAC encodes with the reference encoder; bits is a multiple of 8.
func toolFLAC(t testing.TB, sig [][]float64, bits, rate int, args ...string) []byte {
	t.Helper()
	flacTool := tool(t, "flac", "flac")
	var raw []byte
	ints := make([][]int32, len(sig))
	for c := range sig {
		ints[c] = integers(sig[c], bits)
	}
	for i := range sig[0] {
		for c := range sig {
			raw = append(raw, binary.LittleEndian.AppendUint32(nil, uint32(ints[c][i]))[:bits/8]...)
		}
	}
	out := filepath.Join(t.TempDir(), "tool.flac")
	args = append(args, "-s", "-f", "--force-raw-format", "--endian=little", "--sign=signed", "--channels="+strconv.Itoa(len(sig)),
		"--bps="+strconv.Itoa(bits), "--sample-rate="+strconv.Itoa(rate), "-o", out, "-")
	run(t, raw, flacTool, args...)
	b, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// readAll reads to the end in blocks of the given size.
func readAll(r *capture.Reader, block int) ([][]float64, error) {
	got := planar(r.Channels(), 0)
	dst := planar(r.Channels(), block)
	for {
		n, err := r.Read(dst)
		for c := range got {
			got[c] = append(got[c], dst[c][:n]...)
		}
		if err == io.EOF {
			return got, nil
		}
		if err != nil {
			return got, err
		}
	}
}

// onlyReader hides that a source can seek.
type onlyReader struct{ io.Reader }
