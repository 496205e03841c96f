package live

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"testing/iotest"

	"headstack/capture"
)

// taker keeps what it is given.
type taker struct{ x []float32 }

func (t *taker) Write(x []float32) error { t.x = append(t.x, x...); return nil }

// rawSamples are samples at their extremes and the bytes of each format, by hand.
var rawSamples = []struct {
	name  string
	bytes string
	want  []float32
}{
	{"s16le", "\x00\x80\xff\x7f\x01\x00\x00\xc0", []float32{-1, 32767. / 32768, 1. / 32768, -0.5}},
	{"s24le", "\x00\x00\x80\xff\xff\x7f\x01\x00\x00\x00\x00\xc0", []float32{-1, 8388607. / 8388608, 1. / 8388608, -0.5}},
	{"s32le", "\x00\x00\x00\x80\xff\xff\xff\x7f\x00\x01\x00\x00\x00\x00\x00\xc0", []float32{-1, 1, 1. / 8388608, -0.5}},
	{"f32le", "\x00\x00\x80\x3f\x00\x00\x00\xc0\x01\x00\x00\x00\x00\x00\x80\x80", []float32{1, -2, math.Float32frombits(1), math.Float32frombits(0x80800000)}},
}

// TestFeed: every format, in whole reads and byte by byte, with and without a frame that is there in part.
func TestFeed(t *testing.T) {
	for _, c := range rawSamples {
		f, err := ParseRaw(c.name + ",48000,2")
		if err != nil {
			t.Fatal(err)
		}
		for _, rest := range []string{"", "x", "xyz"} {
			for name, in := range map[string]io.Reader{
				"whole": strings.NewReader(c.bytes + rest), "bytes": iotest.OneByteReader(strings.NewReader(c.bytes + rest)),
				"halves": iotest.HalfReader(strings.NewReader(c.bytes + rest)), "end with data": iotest.DataErrReader(strings.NewReader(c.bytes + rest)),
			} {
				var got taker
				err := Feed(t.Context(), in, f, &got)
				var partial *PartialFrameError
				if rest == "" && err != nil || rest != "" && (!errors.As(err, &partial) || partial.Bytes != len(rest) || partial.Frames != 2) {
					t.Errorf("%s, %s, %q more: %v", c.name, name, rest, err)
				}
				if len(got.x) != len(c.want) {
					t.Fatalf("%s, %s: %d samples", c.name, name, len(got.x))
				}
				for i, v := range got.x {
					if math.Float32bits(v) != math.Float32bits(c.want[i]) {
						t.Errorf("%s, %s: sample %d is %v, want %v", c.name, name, i, v, c.want[i])
					}
				}
			}
		}
	}
}

// TestFeedAgreesWithFiles: raw samples and a WAV file of the same bytes give the same numbers.
func TestFeedAgreesWithFiles(t *testing.T) {
	raw := make([]byte, 3*4*5000)
	for i := range raw {
		raw[i] = byte(i*i*31 + i>>3)
	}
	head := append([]byte("RIFF\xff\xff\xff\xffWAVEfmt \x10\x00\x00\x00\x01\x00\x04\x00\x80\xbb\x00\x00"), "\x00\xca\x08\x00\x0c\x00\x18\x00data\xff\xff\xff\xff"...)
	r, err := capture.NewReader(io.MultiReader(bytes.NewReader(head), bytes.NewReader(raw)), "x")
	if err != nil {
		t.Fatal(err)
	}
	var got taker
	f, _ := ParseRaw("s24le,48000,4")
	if err := Feed(t.Context(), bytes.NewReader(raw), f, &got); err != nil {
		t.Fatal(err)
	}
	if n := checkSamples(t, r, got.x); n != 5000 {
		t.Errorf("%d frames", n)
	}
}

// TestFeedEnds: a context that ends while nothing comes, a reader that fails, a session that fails.
func TestFeedEnds(t *testing.T) {
	f, _ := ParseRaw("f32le,48000,1")
	ctx, stop := context.WithCancel(t.Context())
	in, out := io.Pipe()
	done := make(chan error)
	go func() { done <- Feed(ctx, in, f, &taker{}) }()
	binary.Write(out, binary.LittleEndian, []float32{1, 2, 3})
	stop()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
	out.Close()
	boom := errors.New("boom")
	if err := Feed(t.Context(), iotest.ErrReader(boom), f, &taker{}); !errors.Is(err, boom) {
		t.Errorf("a broken pipe: %v", err)
	}
	s := begin(t, Config{SampleRate: 48000, Channels: 1, Folder: t.TempDir(), Name: "x"})
	s.Close()
	if err := Feed(t.Context(), bytes.NewReader(make([]byte, 400)), f, s); !errors.Is(err, ErrClosed) {
		t.Errorf("a closed session: %v", err)
	}
}

func TestParseRaw(t *testing.T) {
	if f, err := ParseRaw("S24LE, 96000 ,8"); err != nil || f != (RawFormat{capture.PCM, 24, 96000, 8}) {
		t.Errorf("%+v, %v", f, err)
	}
	for _, s := range []string{"", "s24le", "s24le,48000", "s24be,48000,2", "s24le,0,2", "s24le,x,2", "s24le,48000,0", "s24le,48000,257", "s24le,48000,2,1", "s24le,99999999,2"} {
		if f, err := ParseRaw(s); err == nil {
			t.Errorf("%q is read as %+v", s, f)
		}
	}
}
