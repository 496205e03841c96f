package capture_test

import (
	"bytes"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"headstack/capture"
)

// FuzzWAV and FuzzFLAC: whatever the bytes, no panic, bounded memory, no more
// frames than the bytes allow, every sample finite, and a pipe gives what a file
// gives.
func FuzzWAV(f *testing.F) {
	seeds(f, ".wav")
	for _, e := range encodings {
		f.Add(wav{enc: e, channels: 3, rate: 48000, data: e.encode(testSignal(3, 9, 1))}.build())
		f.Add(wav{id: "BW64", enc: e, channels: 1, rate: 48000, data: e.encode(testSignal(1, 9, 1))}.build())
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		fuzzed(t, b, func(i capture.Info, size int) int { return size / ((i.Bits + 7) / 8) / i.Channels })
	})
}

func FuzzFLAC(f *testing.F) {
	seeds(f, ".flac")
	for bits := 8; bits <= 24; bits += 4 {
		f.Add(libraryFLAC(f, testSignal(bits/8, 40, 1), bits, 48000))
	}
	// A frame of 65535 frames takes 6 bytes of header, 2 a channel and 2 of CRC.
	f.Fuzz(func(t *testing.T, b []byte) {
		fuzzed(t, b, func(i capture.Info, size int) int { return size / 10 * 65535 })
	})
}

func seeds(f *testing.F, ext string) {
	names, err := filepath.Glob(filepath.Join("testdata", "broken", "*"+ext))
	if err != nil || len(names) == 0 {
		f.Fatalf("no seeds: %v", err)
	}
	for _, n := range names {
		b, err := os.ReadFile(n)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
}

func fuzzed(t *testing.T, b []byte, most func(i capture.Info, size int) int) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	r, err := capture.NewReader(bytes.NewReader(b), "fuzz")
	if err != nil {
		_ = err.Error()
		return
	}
	pipe, pipeErr := capture.NewReader(onlyReader{bytes.NewReader(b)}, "fuzz")
	dst, same := planar(r.Channels(), 512), planar(r.Channels(), 512)
	frames, limit := 0, most(r.Info(), len(b))
	for {
		n, err := r.Read(dst)
		for c := range dst {
			for _, x := range dst[c][:n] {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					t.Fatalf("sample %v", x)
				}
			}
		}
		if frames += n; frames > limit {
			t.Fatalf("%d frames from %d bytes of %v", frames, len(b), r.Info())
		}
		if pipeErr == nil && r.Info() == pipe.Info() && len(r.Warnings()) == 0 && err == nil {
			if m, err := pipe.Read(same); m < n {
				t.Fatalf("a pipe gives %d, %v where a file gives %d", m, err, n)
			}
		}
		if err != nil {
			if n != 0 {
				t.Fatalf("%d frames together with %v", n, err)
			}
			if err != io.EOF {
				_ = err.Error()
			}
			break
		}
	}
	runtime.ReadMemStats(&after)
	if got := after.TotalAlloc - before.TotalAlloc; got > 16<<20 {
		t.Fatalf("%d bytes allocated for %d of %v", got, len(b), r.Info())
	}
}
