package capture_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"
	"testing/iotest"

	"headstack/capture"
)

// conform is what every reader of every encoding must do. file is the whole
// capture, which must hold sig to within tol, in the format of info.
func conform(t *testing.T, file []byte, sig [][]float64, tol float64, info capture.Info) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "capture.bin")
	if err := os.WriteFile(path, file, 0o666); err != nil {
		t.Fatal(err)
	}
	openers := map[string]func(t *testing.T) *capture.Reader{
		"file": func(t *testing.T) *capture.Reader { return opened(t)(capture.Open(path)) },
		"memory": func(t *testing.T) *capture.Reader {
			return opened(t)(capture.NewReader(bytes.NewReader(file), "memory"))
		},
		"pipe": func(t *testing.T) *capture.Reader {
			return opened(t)(capture.NewReader(onlyReader{bytes.NewReader(file)}, "pipe"))
		},
		"pipe by halves": func(t *testing.T) *capture.Reader {
			return opened(t)(capture.NewReader(iotest.HalfReader(onlyReader{bytes.NewReader(file)}), "halves"))
		},
		"pipe that ends with its data": func(t *testing.T) *capture.Reader {
			return opened(t)(capture.NewReader(iotest.DataErrReader(onlyReader{bytes.NewReader(file)}), "dataerr"))
		},
	}
	if len(file) < 1<<11 {
		openers["pipe by bytes"] = func(t *testing.T) *capture.Reader {
			return opened(t)(capture.NewReader(iotest.OneByteReader(onlyReader{bytes.NewReader(file)}), "bytes"))
		}
	}
	for name, open := range openers {
		t.Run(name, func(t *testing.T) {
			checkInfo(t, open(t), info)
			for _, block := range []int{1, 7, 997, len(sig[0]) + 5} {
				if block < 100 && len(sig[0]) > 1000 {
					continue
				}
				checkSamples(t, open(t), sig, tol, block)
			}
			checkEnd(t, open(t), len(sig[0]))
			checkClose(t, open(t))
		})
	}
}

func opened(t *testing.T) func(*capture.Reader, error) *capture.Reader {
	return func(r *capture.Reader, err error) *capture.Reader {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { r.Close() })
		return r
	}
}

func checkInfo(t *testing.T, r *capture.Reader, want capture.Info) {
	t.Helper()
	if got := r.Info(); got != want {
		t.Errorf("info %v, want %v", got, want)
	}
	if r.Channels() != want.Channels || r.SampleRate() != float64(want.SampleRate) {
		t.Errorf("%d channels at %v Hz, want %d at %d", r.Channels(), r.SampleRate(), want.Channels, want.SampleRate)
	}
	if w := r.Warnings(); len(w) != 0 {
		t.Errorf("a sound file has warnings: %q", w)
	}
}

func checkSamples(t *testing.T, r *capture.Reader, sig [][]float64, tol float64, block int) {
	t.Helper()
	got, err := readAll(r, block)
	if err != nil {
		t.Fatalf("block %d: %v", block, err)
	}
	if len(got[0]) != len(sig[0]) {
		t.Fatalf("block %d: %d frames, want %d", block, len(got[0]), len(sig[0]))
	}
	compare(t, fmt.Sprintf("block %d", block), got, sig, tol)
	if n, known := r.Frames(); n != int64(len(sig[0])) || !known {
		t.Errorf("block %d: after the end Frames is %d, %v, want %d, true", block, n, known, len(sig[0]))
	}
}

// compare fails at the first sample that differs by more than tol.
func compare(t *testing.T, what string, got, want [][]float64, tol float64) {
	t.Helper()
	for c := range want {
		for i, w := range want[c] {
			if d := math.Abs(got[c][i] - w); !(d <= tol) {
				t.Fatalf("%s: channel %d, frame %d: got %v, want %v within %g", what, c+1, i, got[c][i], w, tol)
			}
		}
	}
}

// checkEnd: each Read is full until the last, then io.EOF with n = 0, for ever.
func checkEnd(t *testing.T, r *capture.Reader, frames int) {
	t.Helper()
	dst, rest := planar(r.Channels(), 10), frames
	for rest > 0 {
		n, err := r.Read(dst)
		if n != min(10, rest) || err != nil {
			t.Fatalf("with %d frames left Read gave %d, %v, want %d, nil", rest, n, err, min(10, rest))
		}
		rest -= n
	}
	for range 3 {
		if n, err := r.Read(dst); n != 0 || err != io.EOF {
			t.Fatalf("at the end Read gave %d, %v, want 0, io.EOF", n, err)
		}
	}
}

func checkClose(t *testing.T, r *capture.Reader) {
	t.Helper()
	for range 2 {
		if err := r.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	}
	if n, err := r.Read(planar(r.Channels(), 1)); n != 0 || !errors.Is(err, os.ErrClosed) {
		t.Errorf("Read after Close gave %d, %v, want 0, os.ErrClosed", n, err)
	}
}

// TestConformanceWAV: each encoding in each container, several shapes.
func TestConformanceWAV(t *testing.T) {
	shapes := []struct{ channels, frames, rate int }{{1, 1, 8000}, {2, 500, 44100}, {31, 77, 352800}, {256, 3, 48000}}
	for _, e := range encodings {
		for _, id := range []string{"RIFF", "RF64", "BW64"} {
			for _, s := range shapes {
				if id != "RIFF" && s.channels != 2 {
					continue
				}
				if e.bits >= 24 && s.channels == 31 {
					s.frames = 4500 // more than a read buffer
				}
				t.Run(fmt.Sprintf("%s/%s/%dx%d", e.name, id, s.channels, s.frames), func(t *testing.T) {
					sig := testSignal(s.channels, s.frames, 1)
					w := wav{id: id, enc: e, channels: s.channels, rate: s.rate, data: e.encode(sig)}
					format := capture.Format(id)
					if id == "RIFF" {
						format = capture.WAV
					}
					conform(t, w.build(), sig, e.step()/2, capture.Info{Format: format, Encoding: e.encoding, Bits: e.validBits(),
						Channels: s.channels, SampleRate: s.rate})
				})
			}
		}
	}
}

// TestConformanceFLAC: made by the library at hand and, in tools_test.go, by the
// reference encoder.
func TestConformanceFLAC(t *testing.T) {
	for _, s := range []struct{ bits, channels, frames, rate int }{
		{8, 1, 1, 8000}, {12, 3, 5000, 44100}, {16, 2, 9000, 48000}, {20, 5, 4096, 88200}, {24, 8, 8192, 96000}, {24, 6, 4097, 192000},
	} {
		t.Run(fmt.Sprintf("%d bit/%dx%d", s.bits, s.channels, s.frames), func(t *testing.T) {
			sig := testSignal(s.channels, s.frames, 2)
			conform(t, libraryFLAC(t, sig, s.bits, s.rate), sig, math.Ldexp(1, -s.bits),
				capture.Info{Format: capture.FLAC, Encoding: capture.PCM, Bits: s.bits, Channels: s.channels, SampleRate: s.rate})
		})
	}
}

// TestConformanceChunks: the same samples with chunks wherever writers put them.
func TestConformanceChunks(t *testing.T) {
	list := chunk{"LIST", []byte("INFOISFT\x06\x00\x00\x00bench\x00")}
	odd := chunk{"note", []byte("odd")}
	junk := chunk{"JUNK", make([]byte, 28)}
	big := chunk{"bext", make([]byte, 300<<10)} // larger than the read buffer
	fact := chunk{"fact", []byte("\x07\x00\x00\x00")}
	e := encodings[2]
	sig := testSignal(3, 333, 9)
	info := capture.Info{Format: capture.WAV, Encoding: capture.PCM, Bits: 24, Channels: 3, SampleRate: 48000}
	for name, w := range map[string]wav{
		"before":       {before: []chunk{junk, list, odd, big, fact}},
		"after":        {after: []chunk{list, odd, big}},
		"both":         {before: []chunk{odd, odd}, after: []chunk{odd, list}},
		"data is odd":  {after: []chunk{list}},
		"second JUNK":  {before: []chunk{junk, junk}, after: []chunk{junk}},
		"stray at end": {tail: []byte("abc")},
	} {
		w.enc, w.channels, w.rate, w.data = e, 3, 48000, e.encode(sig)
		t.Run(name, func(t *testing.T) { conform(t, w.build(), sig, e.step()/2, info) })
	}
}

// TestDataBeforeFormat: a file can be gone back in, a pipe cannot.
func TestDataBeforeFormat(t *testing.T) {
	e := encodings[1]
	sig := testSignal(2, 100<<10, 4)
	file := wav{enc: e, channels: 2, rate: 48000, data: e.encode(sig), dataFirst: true, before: []chunk{{"LIST", []byte("x")}}}.build()
	r := opened(t)(capture.NewReader(bytes.NewReader(file), "file"))
	checkSamples(t, r, sig, e.step()/2, 999)
	_, err := capture.NewReader(onlyReader{bytes.NewReader(file)}, "pipe")
	if e, ok := errors.AsType[*capture.Error](err); !ok || e.Hint == "" || e.Offset != 22 {
		t.Errorf("from a pipe the error is %v, want an *Error at byte 22 with a hint", err)
	}
}

// TestEmpty: no frames is a capture, with a warning.
func TestEmpty(t *testing.T) {
	for name, file := range map[string][]byte{
		"wav":  wav{enc: encodings[1], channels: 2, rate: 48000}.build(),
		"rf64": wav{id: "RF64", enc: encodings[1], channels: 2, rate: 48000}.build(),
		"list": wav{enc: encodings[1], channels: 2, rate: 48000, after: []chunk{{"LIST", []byte("INFO")}}}.build(),
		"flac": libraryFLAC(t, planar(2, 0), 16, 48000),
	} {
		for _, pipe := range []bool{false, true} {
			var in io.Reader = bytes.NewReader(file)
			if pipe {
				in = onlyReader{in}
			}
			r := opened(t)(capture.NewReader(in, name))
			checkEnd(t, r, 0)
			if n, known := r.Frames(); n != 0 || !known {
				t.Errorf("%s, pipe %v: Frames is %d, %v, want 0, true", name, pipe, n, known)
			}
			if w := r.Warnings(); len(w) != 1 {
				t.Errorf("%s, pipe %v: warnings %q, want one that there are no samples", name, pipe, w)
			}
		}
	}
}

// TestReadPanics: a wrong shape is a programmer's mistake.
func TestReadPanics(t *testing.T) {
	file := wav{enc: encodings[1], channels: 2, rate: 48000, data: make([]byte, 40)}.build()
	for name, dst := range map[string][][]float64{
		"one channel": planar(1, 5), "three channels": planar(3, 5), "no frames": planar(2, 0),
		"unequal": {make([]float64, 5), make([]float64, 4)}, "nil": nil,
	} {
		r := opened(t)(capture.NewReader(bytes.NewReader(file), "x"))
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: Read did not panic", name)
				}
			}()
			r.Read(dst)
		}()
	}
}

// TestSourceFails: an error of the disk is passed on, after the frames before it.
func TestSourceFails(t *testing.T) {
	boom := errors.New("boom")
	sig := testSignal(2, 100000, 8)
	for name, file := range map[string][]byte{
		"wav":  wav{enc: encodings[2], channels: 2, rate: 48000, data: encodings[2].encode(sig)}.build(),
		"flac": libraryFLAC(t, sig, 24, 48000),
	} {
		for _, at := range []int{0, 3, 20, 50, 300000} {
			in := io.MultiReader(bytes.NewReader(file[:at]), iotest.ErrReader(boom))
			r, err := capture.NewReader(onlyReader{in}, name)
			if at < 42 { // both headers are longer
				if !errors.Is(err, boom) {
					t.Errorf("%s failing at %d: NewReader gave %v, want boom", name, at, err)
				}
			}
			if err != nil {
				continue
			}
			got, err := readAll(r, 1000)
			if !errors.Is(err, boom) {
				t.Errorf("%s failing at %d: %v, want boom", name, at, err)
			}
			if at == 300000 && len(got[0]) < 40000 {
				t.Errorf("%s failing at %d: %d frames came before it, want over 40000", name, at, len(got[0]))
			}
			compare(t, name, got, [][]float64{sig[0][:len(got[0])], sig[1][:len(got[0])]}, math.Ldexp(1, -24))
		}
	}
}
